"""Two files of the same model beside each other: in what they differ, and who says so since when."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from identify.reference.frame import sides
from identify.reference.learn import Path
from identify.reference.merge import SECTIONS, value_at
from identify.reference.pieces import Record
from identify.reference.sets import Profile
from identify.reference.shapes import apart
from identify.reference.words import path_name, value_text

OUTLINE_OFF = 0.005
"""Outlines nearer than this (rms, fraction of the depth) are the same."""
COLUMNS = ("size", "variant", "colourway")


@dataclass(frozen=True)
class Side:
    """One of two files: its plain values, what it was learned from, and who edits its set."""

    profile: Profile
    values: Mapping[str, Any]
    record: Record
    editor: str

    def by(self, path: Path) -> str:
        """Who says a value, and since when: the contributor of the last photo behind it, or the set's editor."""
        pieces = [
            p
            for p in self.record.pieces
            if path[0] not in SECTIONS or (path[0] in COLUMNS and path[1] in (p.size, p.variant, p.colourway))
        ]
        shots = sorted((s for p in pieces for s in p.photos), key=lambda s: s.added)
        written = self.record.written.values.get(" / ".join(path)) == value_at(self.values, path)
        if shots and written:
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


def differences(here: Side, there: Side) -> list[str]:
    """In what two files of one model differ, a sentence each; what only one of them says is no difference."""
    found = []
    for path in paths_of(there.values):
        one, other = value_at(here.values, path), value_at(there.values, path)
        if one is None or one == other or path == ("schema",):
            continue
        found.append(
            f"{path_name(path)}: {value_text(one)} here ({here.by(path)}), {value_text(other)} there ({there.by(path)})"
        )
    for name, drawing in there.profile.drawings.items():
        own = here.profile.drawings.get(name)
        if own is None:
            continue
        off = apart(sides(own.outline_mm), sides(drawing.outline_mm))
        if off > OUTLINE_OFF:
            found.append(f"the outline {drawing.file}: the two lie {100 * off:.1f} % of the depth apart")
    return found
