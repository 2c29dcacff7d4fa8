"""From what was read of all photos to piles: pure, and the same whatever order the photos came in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

from identify.box.group import group, moulds
from identify.box.notes import Answer, Looks, Note, Sheet
from identify.rank import Readings
from identify.records import WARNINGS
from identify.report import words

SURE = 0.7
"""A bait goes to a pile when its likeliest answer, or that it is none of these, has this probability."""
UNLIKE = "its photos disagree"


@dataclass(frozen=True)
class Placed:
    """One bait of one photo in a pile.  `piece`: the number of its slip; None without one.  `bait` None: a photo of the
    piece on which no bait was found, such as its box."""

    photo: str
    bait: int | None
    piece: str | None
    probability: float | None


@dataclass(frozen=True)
class Pile:
    """Baits that belong together.  `maker` None: of no known maker."""

    name: str
    maker: str | None
    model: str | None
    size: str | None
    photos: tuple[Placed, ...]
    looks: Looks

    @property
    def pieces(self) -> int:
        """How many pieces lie in the pile: photos with one slip's number are one piece."""
        numbers = {p.piece for p in self.photos if p.piece is not None}
        return len(numbers) + sum(p.piece is None for p in self.photos)


@dataclass(frozen=True)
class LookAgain:
    """A bait that a person must look at (`bait` None: the photo as a whole), why, and what to count or measure then."""

    photo: str
    bait: int | None
    piece: str | None
    reason: str
    settle: tuple[str, ...] = ()


@dataclass(frozen=True)
class NotMeasured:
    photo: str
    code: str
    error: str


@dataclass(frozen=True)
class Piles:
    """Every bait is in exactly one of `piles`, `unknown` and `look_again`; every photo that could not be measured in
    `not_measured`."""

    piles: tuple[Pile, ...]
    look_again: tuple[LookAgain, ...]
    unknown: tuple[Pile, ...]
    unread_slips: tuple[str, ...]
    not_measured: tuple[NotMeasured, ...]


@dataclass(frozen=True, eq=False)
class Joint:
    """What all photos of one piece say together; `odd`: photos that do not seem to show the same piece, and why."""

    answer: Answer | None
    readings: Readings
    odd: Mapping[str, str]


Join = Callable[[Sequence[str]], Joint]
"""Brings photos (by name) of one piece together."""


@dataclass(frozen=True, eq=False)
class Piece:
    """What is placed as one: the baits of all photos of a slip's number, or one bait without a slip."""

    number: str | None
    notes: tuple[Note, ...]
    answer: Answer | None
    readings: Readings
    besides: tuple[str, ...] = ()
    """Photos of the number on which no bait was found."""


def make_piles(sheets: Iterable[Sheet], join: Join) -> Piles:
    """Sort what was read.  `join` is asked for pieces with several photos."""
    ordered = sorted(sheets, key=lambda s: s.photo)
    again: list[LookAgain] = [
        LookAgain(s.photo, None, s.slip, WARNINGS["no-bait"])
        for s in ordered
        if s.error is None and not s.notes and s.slip is None
    ]
    pieces, odd = _pieces(ordered, join)
    again += odd
    known: dict[tuple[str, str, str | None], list[tuple[Piece, float]]] = {}
    unknown: list[Piece] = []
    for piece in pieces:
        reason = _doubt(piece)
        if reason is not None:
            settle = () if piece.answer is None else piece.answer.settle
            again += [LookAgain(n.photo, n.bait, piece.number, reason, settle) for n in piece.notes]
        elif piece.answer is None or piece.answer.none >= SURE:
            unknown.append(piece)
        else:
            best = piece.answer.choices[0]
            known.setdefault((best.maker, best.model, best.size), []).append((piece, best.probability))
    unlike, alone = _unknown_piles(unknown)
    again += alone
    return Piles(
        piles=tuple(
            _pile(" ".join(filter(None, (f"{key[0]} / {key[1]}", key[2]))), key, known[key])
            for key in sorted(known, key=lambda k: (k[0], k[1], k[2] or ""))
        ),
        look_again=tuple(sorted(again, key=lambda a: (a.photo, a.bait or 0))),
        unknown=unlike,
        unread_slips=tuple(s.photo for s in ordered if {"slip-unread", "slips-several"} & set(s.warnings)),
        not_measured=tuple(NotMeasured(s.photo, s.error["code"], s.error["text"]) for s in ordered if s.error),
    )


def _pieces(sheets: Sequence[Sheet], join: Join) -> tuple[list[Piece], list[LookAgain]]:
    """Pieces in order of their first photo.  A slip beside one bait numbers the piece; beside several, the photo."""
    by_slip: dict[str, list[Sheet]] = {}
    alone: list[Piece] = []
    for sheet in sheets:
        if sheet.slip is not None and len(sheet.notes) <= 1:
            by_slip.setdefault(sheet.slip, []).append(sheet)
            continue
        for note in sheet.notes:
            number = None if sheet.slip is None else f"{sheet.slip}-{note.bait}"
            alone.append(Piece(number, (note,), note.answer, note.readings))
    again: list[LookAgain] = []
    for number, own in by_slip.items():
        notes = tuple(note for sheet in own for note in sheet.notes)
        besides = tuple(sheet.photo for sheet in own if not sheet.notes)
        if len(notes) > 1:
            joint = join([note.photo for note in notes])
            for note in notes:
                if note.photo in joint.odd:
                    reason = f"its slip says {number}, but {joint.odd[note.photo]}: is it the right slip?"
                    again.append(LookAgain(note.photo, note.bait, number, reason))
            kept = tuple(note for note in notes if note.photo not in joint.odd)
            alone.append(Piece(number, kept, joint.answer, joint.readings, besides))
        elif notes:
            alone.append(Piece(number, notes, notes[0].answer, notes[0].readings, besides))
        else:
            again += [LookAgain(sheet.photo, None, number, f"no photo of {number} shows a bait") for sheet in own]
    return sorted(alone, key=lambda p: (p.notes[0].photo, p.notes[0].bait)), again


def _doubt(piece: Piece) -> str | None:
    """Why a person should look at a piece before it goes to a pile."""
    answer = piece.answer
    if answer is None or answer.none >= SURE:
        cut = all("touches-edge" in n.warnings for n in piece.notes)
        return f"{WARNINGS['touches-edge']} It was not grouped." if cut else None
    if answer.choices and answer.choices[0].probability >= SURE:
        return None
    shares = [(c.words, c.probability) for c in answer.choices[:2]] + [("none of these", answer.none)]
    first, second = sorted(shares, key=lambda s: -s[1])[:2] if len(shares) > 1 else (shares[0], ("", 0.0))
    return f"not sure: {first[0]} ({words.percent(first[1])}) or {second[0]} ({words.percent(second[1])})"


def _pile(
    name: str, key: tuple[str | None, str | None, str | None], pieces: Sequence[tuple[Piece, float | None]]
) -> Pile:
    placed = [Placed(n.photo, n.bait, piece.number, p) for piece, p in pieces for n in piece.notes]
    placed += [Placed(photo, None, piece.number, p) for piece, p in pieces for photo in piece.besides]
    looks = [n.looks for piece, _ in pieces for n in piece.notes]
    ties = [look.ties for look in looks if look.ties is not None]
    middle = Looks(
        _middle([look.length_mm for look in looks]),
        _middle([look.depth_mm for look in looks]),
        max(sorted(set(ties)), key=ties.count) if ties else None,
    )
    return Pile(name, *key, tuple(sorted(placed, key=lambda p: (p.photo, p.bait or 0))), middle)


def _middle(values: Sequence[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return median(known) if known else None


def _unknown_piles(pieces: Sequence[Piece]) -> tuple[tuple[Pile, ...], list[LookAgain]]:
    """Like with like, the largest pile first.  One that is like no other and whose outline is unclear may be alone only
    for that: it is to be looked at again."""
    grouped: dict[int, list[Piece]] = {}
    for piece, number in zip(pieces, group(moulds([p.readings for p in pieces])), strict=True):
        grouped.setdefault(number, []).append(piece)
    piles, again = [], []
    for members in grouped.values():
        notes = [note for piece in members for note in piece.notes]
        if len(members) == 1 and all("outline-unclear" in note.warnings for note in notes):
            reason = f"{WARNINGS['outline-unclear']} It was not like any other."
            again += [LookAgain(n.photo, n.bait, members[0].number, reason) for n in notes]
        else:
            shares = [(piece, None if piece.answer is None else piece.answer.none) for piece in members]
            piles.append(_pile("", (None, None, None), shares))
    piles.sort(key=lambda pile: (-pile.pieces, pile.photos[0].photo, pile.photos[0].bait or 0))
    return tuple(replace(pile, name=f"Unknown {i}") for i, pile in enumerate(piles, 1)), again
