"""Results as text for a terminal: what was measured, the candidates, and how each measurement speaks."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from identify.answer import References
from identify.records import (
    NONE_OF_THESE,
    NOT_COMPARABLE,
    Bait,
    Candidate,
    Identification,
    Measurement,
    Notice,
    PhotoRecord,
    PieceRecord,
)
from identify.report import sheet, words
from identify.report.rests import rests_on
from identify.report.words import Units

INDENT = (0, 0, 0, 2)
WEIGHT_WIDTH = 26
CHANGES = 4
"""So many features without which the answer would change are named."""


def photo(out: Console, record: PhotoRecord, units: Units, ranked: bool, references: References | None = None) -> None:
    """Everything that one photo gave."""
    out.print(Text(record.photo, style="bold"), soft_wrap=True)
    if record.error is not None:
        out.print(Padding(Text(f"could not be used ({record.error.code}): {record.error.text}"), INDENT))
        return
    out.print(
        f"  {record.width} × {record.height} px, {words.photo_facts(record.card, record.scale, record.slip)}",
        soft_wrap=True,
    )
    _notices(out, record.warnings)
    for reason in words.set_aside(record.set_aside):
        out.print(f"  set aside: {reason}")
    for bait in record.baits:
        _bait(out, bait, units, ranked, references)
    out.print()


def piece(out: Console, record: PieceRecord, units: Units, references: References | None) -> None:
    """The joint answer to several photos of one piece."""
    out.print(Text("All photos together: one piece", style="bold"))
    for text in words.photos_used(record):
        out.print(Padding(Text(text), INDENT))
    _notices(out, record.warnings)
    if record.bait is not None:
        _bait(out, record.bait, units, True, references, "The piece")
    out.print()


def summary(out: Console, answers: Sequence[tuple[str, int, str]]) -> None:
    """One line for each bait: photo, number, answer."""
    table = Table(box=None, padding=(0, 1), pad_edge=False, title="In short", title_justify="left", title_style="bold")
    for head in ("Photo", "Bait", "Answer"):
        table.add_column(head)
    for name, number, answer in answers:
        table.add_row(name, str(number), answer)
    out.print(table)
    out.print()


def _notices(out: Console, notices: Sequence[Notice]) -> None:
    for notice in notices:
        out.print(Padding(Text.assemble(("note: ", "yellow"), notice.text), INDENT))


def _bait(
    out: Console, bait: Bait, units: Units, ranked: bool, references: References | None, name: str | None = None
) -> None:
    m = bait.measurement
    out.print()
    out.print(Text(name or f"Bait {m.number}", style="bold"))
    rows = [row for row in words.measured_rows(m, units) if name is None or row[0] != words.LIES]
    out.print(_table([*rows, *sheet.told_rows(bait, units)]))
    _notices(out, m.warnings)
    _said(out, "told otherwise: ", sheet.clashes(bait, units))
    if ranked and bait.identification is not None:
        _answer(out, bait.identification, m, units)
        for text in rests_on(bait.identification, references):
            out.print(Padding(Text(text), INDENT))


def _table(rows: Sequence[tuple[str, str]]) -> Padding:
    table = Table(box=None, show_header=False, padding=(0, 1), pad_edge=False)
    table.add_column(style="cyan", no_wrap=True)
    table.add_column()
    for name, text in rows:
        table.add_row(name, text)
    return Padding(table, INDENT)


def _said(out: Console, head: str, texts: Sequence[str]) -> None:
    for text in texts:
        out.print(Padding(Text.assemble((head, "yellow"), text), INDENT))


def _answer(out: Console, found: Identification, m: Measurement, units: Units) -> None:
    out.print()
    if first := sheet.outline_first(m):
        _said(out, "first: ", (first,))
    table = Table(box=None, padding=(0, 1), pad_edge=False)
    table.add_column("", justify="right")
    table.add_column("Maker / Model")
    table.add_column("Size")
    table.add_column("Colourway")
    table.add_column("Probability", justify="right", no_wrap=True)
    for i, candidate in enumerate(found.candidates, 1):
        size = " ".join(filter(None, (candidate.size, candidate.variant))) or "open"
        probability = words.percent(candidate.probability)
        name = f"{candidate.maker} / {candidate.model}"
        table.add_row(str(i), name, size, words.colourway(candidate), probability, style="bold" if i == 1 else None)
    rest = max(0.0, 1 - found.none_of_these - found.not_comparable - sum(c.probability for c in found.candidates))
    if rest > 0.0005:
        table.add_row("", "all others of the set", "", "", words.percent(rest))
    beside = {NONE_OF_THESE: found.none_of_these, NOT_COMPARABLE: found.not_comparable}
    most = max(*beside.values(), found.candidates[0].probability if found.candidates else 0.0)
    for name, p in beside.items():
        table.add_row("", name, "", "", words.percent(p), style="bold" if p == most else None)
    out.print(Padding(table, INDENT))
    if part := sheet.in_part(found):
        out.print(Padding(Text(f"So far: {part}."), INDENT))
    if other := sheet.other_size(found):
        out.print(Padding(Text(other), INDENT))
    for text in filter(None, (words.made(found), words.ageing(found))):
        out.print(Padding(Text(text), INDENT))
    for i, text in enumerate(words.new_colour(found)):
        out.print(Padding(Text(text if i == 0 else f"- {text}"), INDENT))
    if found.candidates:
        _evidence(out, found.candidates[0], units)
        _changes(out, found, units)


def _changes(out: Console, found: Identification, units: Units) -> None:
    """What would change the answer."""
    for text in (sheet.runner_up(found), sheet.nothing_settles(found, units)):
        if text:
            out.print(Padding(Text(text), INDENT))
    _said(out, "would settle it: ", sheet.settling(found, units))
    for text in sheet.without(found)[:CHANGES] or tuple(filter(None, (sheet.firm(found),))):
        out.print(Padding(Text(text), INDENT))


def _evidence(out: Console, candidate: Candidate, units: Units) -> None:
    out.print()
    table = Table(box=None, padding=(0, 1), pad_edge=False)
    table.add_column("What speaks for 1", style="cyan")
    table.add_column("Measured")
    table.add_column(f"Expected of {words.name(candidate)}")
    table.add_column("Weight", max_width=WEIGHT_WIDTH)
    for row in candidate.evidence:
        table.add_row(
            words.feature_name(row),
            words.in_units(row.measured, units),
            words.in_units(row.expected, units),
            words.weight_in_short(row.weight),
        )
    out.print(Padding(table, INDENT))
    for text in (words.strongest(candidate), words.together(candidate)):
        out.print(Padding(Text(text), INDENT))
