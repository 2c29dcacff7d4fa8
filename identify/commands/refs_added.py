"""What `refs add` says of what it wrote: of the sizes, variants and colourways that photos went into, and no others."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from identify.reference.enrol import Done, Wish
from identify.reference.learn import Path
from identify.reference.merge import SECTIONS, KeptByHand
from identify.reference.pieces import Facts
from identify.reference.words import learned_rows, path_name, value_text

TOLD = ("made", "known_by", "name")
"""Keys of a model file that no photo shows: somebody told them."""


class Added:
    """Photos that changed a set, as they come."""

    def __init__(self) -> None:
        self._wishes: dict[tuple[str, str], list[Wish]] = {}
        self._done: dict[str, Done] = {}

    def __bool__(self) -> bool:
        return bool(self._done)

    def note(self, wish: Wish, done: Done) -> None:
        self._wishes.setdefault((done.file, wish.facts.size), []).append(wish)
        self._done[done.file] = done

    def show(self, out: Console, summary: bool) -> None:
        """Each size with what was written of it and what to look at; `summary`: at the end, which models to look at."""
        remarks: dict[str, list[str]] = {}
        for (file, size), wishes in self._wishes.items():
            learned = self._done[file].learned
            if learned is None:
                continue
            out.print(Text(f"{wishes[0].name}, size {size}", style="bold"), soft_wrap=True)
            for row in learned_rows(learned, size, wishes[-1].facts.colourway):
                _put(out, row)
            said = remarks.setdefault(wishes[0].name, [])
            for remark in _remarks(self._done[file], [wish.facts for wish in wishes]):
                if remark not in said:
                    said.append(remark)
                    _put(out, remark)
        if summary and any(remarks.values()):
            listed = "; ".join(f"{name} ({len(said)})" for name, said in remarks.items() if said)
            out.print(f"Notes above to look at: {listed}.", soft_wrap=True)


def _put(out: Console, text: str) -> None:
    out.print(Padding(text, (0, 0, 0, 2), expand=False))


def _remarks(done: Done, told: Sequence[Facts]) -> Iterator[str]:
    """What to look at, of what the photos told so were added to."""
    assert done.learned is not None
    kept = [one for one in done.kept if one.by_hand != one.learned and any(_touches(one, facts) for facts in told)]
    for doubt in done.learned.doubts:
        by_hand = any(one.path == doubt.about for one in kept)  # then none of what was told counts
        if not by_hand and any(_concerns(doubt.about, facts) for facts in told):
            yield f"note: {doubt.text}"
    for one in kept:
        key = one.path[-1]
        said = [value for facts in told if key in TOLD and (value := getattr(facts, key)) is not None]
        beside = f"told: {said[-1]}" if said else f"{'told' if key in TOLD else 'learned'}: {value_text(one.learned)}"
        yield f"kept as written by hand: {path_name(one.path)} = {value_text(one.by_hand)} ({beside})"


def _concerns(about: Path, facts: Facts) -> bool:
    """Whether a doubt about this concerns what a photo told so was added to."""
    if about[-1] in TOLD and getattr(facts, about[-1]) is None:
        return False
    return len(about) == 1 or about[:2] in _entries(facts)


def _touches(kept: KeptByHand, facts: Facts) -> bool:
    """Whether a value that stayed as written is one that a photo told so had something to say of."""
    if kept.path[0] in SECTIONS:
        return kept.path[:2] in _entries(facts)
    return kept.path[0] not in TOLD or getattr(facts, kept.path[0], None) is not None


def _entries(facts: Facts) -> list[tuple[str, str]]:
    """The tables of a model file that a photo told so is learned into."""
    entries = (("size", facts.size), ("variant", facts.variant), ("colourway", facts.colourway))
    return [(kind, code) for kind, code in entries if code is not None]
