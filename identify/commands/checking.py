"""The command `check`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from identify.commands import photos as runner
from identify.commands.console import USAGE, console, put_line
from identify.commands.jobs import references_of
from identify.errors import BadOption
from identify.listing import Check, check_json, check_records, look_up
from identify.listing.check import Which, with_length
from identify.listing.page import MARKS, CheckReport, better_words
from identify.listing.pictures import measure_picture
from identify.records import PhotoRecord
from identify.report import words
from identify.report.words import Units
from identify.serialise import dumps
from identify.settings import Settings

INDENT = (0, 0, 0, 2)


@dataclass(frozen=True)
class Wish:
    """What one call of the command asks for."""

    photos: Sequence[str]
    sold_as: str
    length_mm: str | None
    bait: Which
    refs: Sequence[str] | None
    settings: Settings
    report: str | None
    units: Units
    as_json: bool


def check_offer(wish: Wish) -> int:
    """Do what is asked; returns the exit code."""
    references = references_of(wish.refs)
    if references is None:
        raise BadOption(
            "A check needs a reference set, and none was chosen.",
            "Name one with --refs SET, or choose one for good with `baitprint refs use SET`.",
        )
    stated = look_up(wish.sold_as, references)
    settings = with_length(wish.settings, wish.length_mm)
    report = None if wish.report is None else CheckReport(wish.report)
    records: list[PhotoRecord] = []

    def measure(path: str) -> PhotoRecord:
        return measure_picture(path, settings)[0] if report is None else report.measure(path, settings)

    code = runner.run(runner.expand(wish.photos), measure, records.append, wish.as_json)
    if code == USAGE:
        return code
    found = check_records(records, stated, references, settings, wish.bait)
    if wish.as_json:
        put_line(dumps(check_json(found)))
    else:
        _show(console(), found, wish.units)
    if report is not None:
        place = report.write(found, records, stated, references, wish.units)
        if not wish.as_json:
            put_line(f"Report: {place}")
    return code


def _show(out: Console, found: Check, units: Units) -> None:
    out.print(Text.assemble("Sold as ", (found.sold_as, "bold"), ": ", (MARKS[found.verdict], "bold")), soft_wrap=True)
    out.print(Padding(Text(found.text), INDENT))
    for notice in found.warnings:
        out.print(Padding(Text.assemble(("note: ", "yellow"), notice.text), INDENT))
    for one in found.left_out:
        out.print(Padding(Text.assemble(("left out: ", "yellow"), f"{one.photo}: {one.why_not}"), INDENT))
    for judged in found.baits:
        if len(found.baits) > 1:
            out.print()
            out.print(Text(f"{judged.photos[0]}, bait {judged.numbers[0]}: {MARKS[judged.verdict]}", style="bold"))
        table = Table(box=None, padding=(0, 1), pad_edge=False)
        for head in ("Feature", "Stated", "Measured", "Finding"):
            table.add_column(head, no_wrap=head == "Finding")
        for point in judged.points:
            stated, measured = (words.in_units(text, units) for text in (point.stated, point.measured))
            table.add_row(point.feature, stated, measured, MARKS[point.finding])
        out.print(Padding(table, INDENT))
        if judged.better:
            out.print(
                Padding(Text(f"Fits clearly better: {'; '.join(better_words(c) for c in judged.better)}"), INDENT)
            )
    if found.ask:
        out.print("What to ask:")
    for ask in found.ask:
        out.print(Padding(Text(f"- {words.in_units(ask.text, units)}"), INDENT))
