"""The command `tray`."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from identify.answer import rank_photo
from identify.commands import photos as runner
from identify.commands.app import LISTED
from identify.commands.console import complain, console, counted, put_line
from identify.commands.jobs import NO_REFS, references_of
from identify.commands.watching import Screen
from identify.measure import measure_file
from identify.records import PhotoRecord
from identify.report import words
from identify.report.words import Units
from identify.serialise import dumps, photo_json
from identify.settings import Settings
from identify.tray import TrayReport, add_drafts, drafts
from identify.tray.rows import HEADS, notices, rows


@dataclass(frozen=True)
class Wish:
    """What one call of the command asks for."""

    photos: Sequence[str]
    refs: Sequence[str] | None
    prior: Sequence[str] | None
    settings: Settings
    report: str | None
    drafts: str | None
    units: Units
    as_json: bool


def tray_photos(wish: Wish) -> int:
    """Do what is asked; returns the exit code."""
    references = references_of(wish.refs, wish.prior)
    if references is None:
        complain(NO_REFS)
    listed = None if wish.as_json else LISTED
    report = None if wish.report is None else TrayReport(wish.report, references, wish.units)
    added = 0

    shown = Screen(Console(stderr=True)) if len(wish.photos) == 1 and not wish.as_json else None
    """Baits of a single photo; of several photos a bar tells how many are done."""

    def do(path: str) -> PhotoRecord:
        def progress(done: int, of: int) -> None:
            if shown is not None:
                shown.under_way({Path(path).name: (done, of)})

        with shown or nullcontext():
            progress(0, 0)
            if report is not None:
                return report.add(path, wish.settings, listed, progress)
            return rank_photo(measure_file(path, wish.settings, progress), references, listed)

    def show(record: PhotoRecord) -> None:
        nonlocal added
        if wish.drafts is not None:
            added += add_drafts(wish.drafts, drafts(record, references))
        if wish.as_json:
            put_line(dumps(photo_json(record)))
        else:
            _show(console(), record, wish.units)

    failed = report.add_failed if report is not None else (lambda record: None)
    code = runner.run(runner.expand(wish.photos), do, show, wish.as_json, failed)
    if report is not None:
        place = report.write()
        if not wish.as_json:
            put_line(f"Report: {place}")
    if wish.drafts is not None and not wish.as_json:
        put_line(f"Drafts: {added} added to {wish.drafts}.")
    return code


def _show(out: Console, record: PhotoRecord, units: Units) -> None:
    out.print(Text(record.photo, style="bold"), soft_wrap=True)
    if record.error is not None:
        out.print(f"  could not be used ({record.error.code}): {record.error.text}", soft_wrap=True)
        return
    n = len(record.baits)
    out.print(f"  {counted(n, 'bait')}, {words.photo_facts(record.card, record.scale, record.slip)}")
    for text in notices(record):
        out.print(Text.assemble("  ", ("note: ", "yellow"), text), soft_wrap=True)
    for reason in words.set_aside(record.set_aside):
        out.print(f"  set aside: {reason}", soft_wrap=True)
    table = Table(box=None, padding=(0, 1), pad_edge=False)
    for head in HEADS[:-1]:
        table.add_column(head, no_wrap=head in ("No.", "Length", "Depth"))
    notes = []
    for row in rows(record, units):
        table.add_row(*row.cells[:-1])
        if row.cells[-1]:
            notes.append(f"  {row.number}: {row.cells[-1]}")
    out.print(table)
    for note in notes:
        out.print(note, soft_wrap=True)
    out.print()
