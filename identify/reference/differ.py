"""Two files of the same model beside each other: in what they differ, and who says so since when."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from identify.reference.frame import sides
from identify.reference.learn import Path
from identify.reference.merge import SECTIONS, spelled, value_at
from identify.reference.pieces import Record
from identify.reference.sets import Profile
from identify.reference.shapes import apart
from identify.reference.words import path_name, value_text

OUTLINE_OFF = 0.005
"""Outlines nearer than this (rms, fraction of the depth) are the same."""
COLUMNS = ("size", "variant", "colourway")
MEASURED = frozenset(
    {
        *("length_mm", "depth_mm", "tolerance_mm", "depth_tolerance_mm", "outline_tolerance_mm", "at_mm"),
        *("diameter_mm", "back_lab", "belly_lab", "pattern_lab", "zones"),
    }
)
"""Keys of what photos give in figures, which is never the same of two pieces."""


@dataclass(frozen=True)
class Difference:
    """In what two files differ, as a sentence; of which values, or of which drawing (its file here)."""

    text: str
    paths: tuple[Path, ...] = ()
    drawing: str | None = None


@dataclass(frozen=True)
class Side:
    """One of two files: its plain values, what it was learned from, and who edits its set."""

    profile: Profile
    values: Mapping[str, Any]
    record: Record
    editor: str

    def learned(self, path: Path) -> bool:
        """Whether the program wrote a value."""
        return bool(self.record.written.values.get(spelled(path)) == value_at(self.values, path))

    def by(self, path: Path) -> str:
        """Who says a value, and since when: the contributor of the last photo behind it, or the set's editor."""
        pieces = [
            p
            for p in self.record.pieces
            if path[0] not in SECTIONS or (path[0] in COLUMNS and path[1] in (p.size, p.variant, p.colourway))
        ]
        shots = sorted((s for p in pieces for s in p.photos), key=lambda s: s.added)
        if shots and self.learned(path):
            return f"{shots[-1].contributor or self.editor or 'nobody named'}, {shots[-1].added}"
        return f"{self.editor or 'nobody named'}, by hand"


def paths_of(values: Mapping[str, Any]) -> Iterator[Path]:
    """Every value of a model file by path; tables inside tables are taken apart, lists are not."""
    for key, value in values.items():
        if key in SECTIONS and isinstance(value, list):
            for i, entry in enumerate(value):
                code = str(entry.get("code", i + 1))
                yield from ((key, code, *rest) for rest in _keys(entry))
        elif isinstance(value, Mapping):
            yield from ((key, *rest) for rest in _keys(value))
        else:
            yield (key,)


def _keys(table: Mapping[str, Any]) -> Iterator[Path]:
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from ((key, *rest) for rest in _keys(value))
        else:
            yield (key,)


def differences(here: Side, there: Side) -> list[Difference]:
    """In what two files of one model differ; what only one of them says is no difference.  What photos gave on both
    sides of one size, variant or colourway is one difference."""
    groups: dict[Path, list[Path]] = {}
    for path in paths_of(there.values):
        one, other = value_at(here.values, path), value_at(there.values, path)
        if one is None or one == other or path == ("schema",):
            continue
        from_photos = path[-1] in MEASURED and here.learned(path) and there.learned(path)
        groups.setdefault((path[:2] if path[0] in SECTIONS else ("",)) if from_photos else path, []).append(path)
    found = [
        Difference(_told(here, there, paths[0]) if where == paths[0] else _seen(here, there, paths), tuple(paths))
        for where, paths in groups.items()
    ]
    for name, drawing in there.profile.drawings.items():
        own = here.profile.drawings.get(name)
        if own is None:
            continue
        off = apart(sides(own.outline_mm), sides(drawing.outline_mm))
        if off > OUTLINE_OFF:
            text = f"the outline {drawing.file}: the two lie {100 * off:.1f} % of the depth apart"
            found.append(Difference(text, drawing=own.file))
    return found


def _told(here: Side, there: Side, path: Path) -> str:
    one, other = (f"{value_text(value_at(side.values, path))}" for side in (here, there))
    return f"{path_name(path)}: {one} here ({here.by(path)}), {other} there ({there.by(path)})"


def _seen(here: Side, there: Side, paths: Sequence[Path]) -> str:
    """What the photos of either side give: all values of a size in one sentence."""
    first = paths[0]
    depth = 2 if first[0] in SECTIONS else 0
    what = f"{first[0]} {first[1]}, measured" if depth else "measured"
    values = [
        f"{'.'.join(p[depth:])} {value_text(value_at(here.values, p))} and {value_text(value_at(there.values, p))}"
        for p in paths
    ]
    return f"{what} here ({here.by(first)}) and there ({there.by(first)}): {'; '.join(values)}"
