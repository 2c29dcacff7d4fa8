"""What may go into a profile: a photo, or what is told anew of one that is in; in words, why not."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from identify.errors import Contradicts, NotLearned
from identify.reference import agree
from identify.reference.pieces import Facts, Piece, Record, Shot
from identify.reference.profile import Form

if TYPE_CHECKING:
    from identify.reference.enrol import Wish

NAMED = 4
"""So many photos that a profile rests on are named."""


def fitting(
    wish: Wish, shot: Shot, forms: tuple[Form, ...], record: Record, before: Piece | None
) -> tuple[Shot, str | None]:
    """A shot that fits the `forms` of its model and what is told of it, turned to lie as they do, and how it was
    turned.  `before`: the piece that it is another photo of.  Raises NotLearned, Contradicts."""
    facts = wish.facts
    of_size = [f for f in forms if f.size == facts.size]
    same = [f for f in of_size if f.variant == facts.variant]
    shot, turned = agree.straightened(shot, same or of_size or forms)
    if not forms and agree.unsure_which_way(shot):
        raise NotLearned(
            f"In {wish.photo} it cannot be told for sure which end is the nose and which side the back.",
            "The first photo of a model must show it: on its side, eye and line ties in view.",
        )
    if shot.length_mm is None and facts.length_mm is None and not of_size:
        raise NotLearned(
            f"{wish.photo} shows no card, so the length of size {facts.size} is not known.",
            "Lay a card beside the bait, or tell its length with --length-mm.",
        )
    if (
        not of_size
        and "outline-unclear" in shot.doubtful
        and (off := agree.nearest(shot, forms)) is not None
        and off > agree.OUTLINE_OFF
    ):
        raise NotLearned(
            f"In {wish.photo} the outline is unclear, and {100 * off:.0f} % of the depth off that of other sizes.",
            "Photograph it on a ground of another colour; without shadows, if you can.",
        )
    if before is None or facts.length_mm is not None:
        _check_seen(wish, facts, (*(before.photos if before is not None else ()), shot))
    else:
        _check_seen(wish, before, (shot,))
    profile, of_variant = _like(forms, facts)
    if profile is not None and (found := agree.differences(shot, facts, profile, ties_may_differ=not of_variant)):
        raise Contradicts(
            f"{wish.photo} does not fit {wish.name}, size {facts.size}"
            + (f", variant {facts.variant}" if same and facts.variant else "")
            + f": {'; '.join(found)}.",
            _way_out(wish, shot, forms) + _rests_on(record, facts.size),
        )
    return shot, turned


def told_anew(before: Piece, piece: Piece) -> Facts | None:
    """What is told of a piece otherwise than before and can be held against photos; None when nothing is."""
    facts = Facts(size=piece.size, variant=piece.variant, ties=piece.ties if piece.ties != before.ties else None)
    if (piece.length_mm, piece.depth_mm) != (before.length_mm, before.depth_mm):
        return facts.model_copy(update={"length_mm": piece.length_mm, "depth_mm": piece.depth_mm})
    return None if facts.ties is None else facts


def check_told_seen(wish: Wish, anew: Facts, piece: Piece, folder: Path) -> None:
    """Whether what is told anew of a piece that is in goes with its photos.  Raises NotLearned."""
    _check_seen(wish, anew, piece.photos, f"{_take_out(wish, folder)} and ")


def check_told(
    wish: Wish, anew: Facts, piece: Piece, others: Sequence[Piece], forms: tuple[Form, ...], folder: Path
) -> None:
    """Whether what is told anew of a piece that is in goes with the `forms` that the `others` make without it: a slip
    in what was told of it first must not speak against its correction.  Raises Contradicts."""
    profile, of_variant = _like(forms, anew)
    if profile is None or not (found := agree.told_anew(anew, piece.photos, profile, ties_may_differ=not of_variant)):
        return
    rests = [shot.photo for p in others if p.size == piece.size for shot in p.photos]
    wrong = (
        f"The profile rests on {_listed(rests)}: what is wrong among these must be taken out first (--without)."
        if rests
        else "The profile's figure is written by hand: if that is wrong, mend it there."
    )
    raise Contradicts(
        f"What you tell of {wish.photo} now does not fit {wish.name}, size {piece.size}: {'; '.join(found)}.",
        f"Is it the right photo, and this bait's figure? {wrong} If it is another size or variant, "
        f"{_take_out(wish, folder)} and add it as that.",
    )


def _listed(photos: Sequence[str]) -> str:
    more = f" and {len(photos) - NAMED} more" if len(photos) > NAMED else ""
    return ", ".join(photos[:NAMED]) + more


def _take_out(wish: Wish, folder: Path) -> str:
    return f'take it out (baitprint refs add "{folder}" --without "{wish.photo}")'


def _like(forms: Sequence[Form], facts: Facts) -> tuple[Form | None, bool]:
    """The form that a photo must be like, if there is any, and whether it is of the photo's own variant."""
    of_size = [f for f in forms if f.size == facts.size]
    same = [f for f in of_size if f.variant == facts.variant]
    found = same or [f for f in of_size if f.variant is None] or of_size
    return (found[0] if found else None), bool(same)


def _check_seen(wish: Wish, facts: Facts, shots: Sequence[Shot], first: str = "") -> None:
    """`first`: what has to be done before the photo can be added in another way."""
    if found := agree.against_seen(facts, shots):
        raise NotLearned(
            f"What you tell of {wish.photo} is not what is seen: {'; '.join(found)}.",
            "Is it the right photo, and this bait's figure, of the body without rings and lip? If the photo's scale is "
            f"wrong, {first}add it by itself with --card-size (the card is not of credit-card size) or --no-card (the "
            "length that you tell then counts alone).",
        )


def _way_out(wish: Wish, shot: Shot, forms: tuple[Form, ...]) -> str:
    length = shot.length_mm.value if shot.length_mm is not None else wish.facts.length_mm
    others = [f for f in forms if f.size != wish.facts.size]
    out = "If it is another size, name that (--size"
    if length is not None and others:
        near = min(others, key=lambda f: abs(f.length_mm - length))
        out += f" {near.size} is {near.length_mm:.1f} mm; a new name makes a new size"
    else:
        out += " with a new name makes a new size"
    out += "); if something differs on purpose, give it a --variant of its own"
    return out + "; if the line ties were misread, tell them with --ties; else look whether the photo is the right one."


def _rests_on(record: Record, size: str) -> str:
    """Which photo to look at when the profile rests on one only: it may be the wrong one."""
    photos = [shot.photo for piece in record.pieces if piece.size == size for shot in piece.photos]
    return f" The profile rests on {photos[0]} alone: --without takes it out again." if len(photos) == 1 else ""
