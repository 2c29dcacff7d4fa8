"""The baits of a photo as rows of a table, the same on the terminal and in the report."""

from __future__ import annotations

from dataclasses import dataclass

from identify.records import Bait, PhotoRecord
from identify.report import sheet, words
from identify.report.words import Units

HEADS = ("No.", "What it may be", "Colourway", "Length", "Depth", "Ties", "Hangers", "Hooks", "Note")


def notices(record: PhotoRecord) -> tuple[str, ...]:
    """What is said of the photo as a whole, but that it shows several baits."""
    return tuple(notice.text for notice in record.warnings if notice.code != "several-baits")


@dataclass(frozen=True)
class Row:
    """One bait.  `cells` follow HEADS."""

    number: int
    answer: str
    cells: tuple[str, ...]


def rows(record: PhotoRecord, units: Units) -> tuple[Row, ...]:
    """A row for each bait."""
    return tuple(_row(bait, units) for bait in record.baits)


def _row(bait: Bait, units: Units) -> Row:
    m, found = bait.measurement, bait.identification
    answer = "" if found is None else sheet.headline(found, m)
    top = found.candidates[0] if found is not None and found.candidates else None
    colour = "" if top is None or found is None or top.probability < found.none_of_these else words.colourway(top)
    ties = "–" if m.line_ties is None else "not sure" if m.line_ties.count is None else str(m.line_ties.count)
    sizes = tuple("–" if q is None else words.length(q, units) for q in (m.length_mm, m.depth_mm))
    counts = tuple("–" if c is None else str(c.count) for c in (m.hangers, m.hooks))
    note = " ".join(notice.text for notice in m.warnings)
    return Row(m.number, answer, (str(m.number), answer, colour, *sizes, ties, *counts, note))
