"""The command `sort`: progress, what is written besides the piles, and what is said of them."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from identify.answer import read_sets
from identify.box.labels import labels
from identify.box.piles import Piles
from identify.box.sort import Sorter
from identify.box.watch import watch
from identify.box.write import about, piles_json, seen_from, write_links, write_plan
from identify.commands.chosen import asked_refs
from identify.commands.console import DONE, PARTLY, complain, console, put_line
from identify.commands.jobs import NO_REFS
from identify.commands.watching import Screen
from identify.errors import BadOption
from identify.files import put_bytes
from identify.rank.priors import parse as parse_prior
from identify.report.words import Units
from identify.serialise import dumps
from identify.settings import Settings

LABELS = "labels.pdf"


@dataclass(frozen=True)
class Wish:
    """What one call of the command asks for."""

    folder: str
    out: str
    refs: Sequence[str] | None
    prior: Sequence[str] | None
    settings: Settings
    jobs: int | None
    watch: bool
    labels: bool
    links: bool
    copy_plan: str | None
    units: Units
    as_json: bool


def sort_photos(wish: Wish) -> int:
    """Do what is asked; returns the exit code."""
    refs = asked_refs(wish.refs)
    prior = None
    if wish.prior:
        if not refs:
            raise BadOption(
                "--prior weighs makers of a reference set, and none was chosen.", "Name one with --refs SET."
            )
        prior = parse_prior(wish.prior, read_sets(refs).prepared.makers)
    if not refs:
        complain(NO_REFS)
    with Sorter(wish.folder, wish.out, refs, wish.settings, wish.jobs, prior) as sorter:
        _measure(sorter, wish)
        if not sorter.photos and not wish.watch:
            raise BadOption(f"There are no photos in {wish.folder}.", "Name the folder that holds the photos.")
        piles = _write(sorter, wish)
        for failed in piles.not_measured:
            complain(f"{failed.photo}: {failed.error}")
        if wish.as_json:
            put_line(dumps(piles_json(piles, seen_from(sorter.out, sorter.folder))))
        else:
            _show(piles, wish.units)
            put_line(f"Piles: {Path(wish.out) / 'index.html'}")
        if wish.watch:
            _watch(sorter, wish)
    return PARTLY if piles.not_measured else DONE


def _measure(sorter: Sorter, wish: Wish) -> None:
    """Measure what is new, with a bar on a terminal that tells the time left."""
    bar = Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(compact=False),
        console=Console(stderr=True),
        transient=True,
        redirect_stdout=False,
        disable=wish.as_json or not sys.stderr.isatty(),
    )
    with bar:
        task = bar.add_task("looking at the folder", total=None)
        for step in sorter.update():
            bar.update(task, description=Path(step.photo).name, completed=step.done, total=step.total)


def _write(sorter: Sorter, wish: Wish) -> Piles:
    """Write the piles, the index and what else is asked for."""
    piles = sorter.finish()
    sorter.index(piles, wish.units)
    if wish.labels:
        put_bytes(sorter.out / LABELS, labels(piles, sorter.out, sorter.hashes(), wish.units))
    if wish.links:
        write_links(sorter.out, sorter.folder, piles)
    if wish.copy_plan is not None:
        write_plan(Path(wish.copy_plan), piles)
    return piles


def _show(piles: Piles, units: Units) -> None:
    out = console()
    table = Table(box=None, padding=(0, 1), pad_edge=False)
    for head in ("Pile", "What"):
        table.add_column(head)
    for pile in piles.piles:
        table.add_row(pile.name, about(pile, units))
    for pile in piles.unknown:
        table.add_row(Text(pile.name, style="italic"), about(pile, units))
    if piles.piles or piles.unknown:
        out.print(table)
    for look in piles.look_again:
        which = "" if look.bait in (None, 1) else f", bait {look.bait}"
        out.print(Text.assemble(("look again: ", "yellow"), f"{look.photo}{which}: {look.reason}"), soft_wrap=True)
        for text in look.settle:
            out.print(f"  {text}", soft_wrap=True)
    for name in piles.unread_slips:
        out.print(Text.assemble(("slip not read: ", "yellow"), name), soft_wrap=True)
    pieces = sum(p.pieces for p in (*piles.piles, *piles.unknown))
    parts = [
        f"{pieces} pieces in {len(piles.piles) + len(piles.unknown)} piles, {len(piles.unknown)} of no known maker",
        f"{len(piles.look_again)} to look at again",
        f"{len(piles.not_measured)} not measured",
    ]
    out.print("; ".join(parts) + ".", soft_wrap=True)


def _watch(sorter: Sorter, wish: Wish) -> None:
    """Place photos as they arrive, until Ctrl-C."""
    put_line(f"Watching {wish.folder}. Ctrl-C ends it.")
    try:
        with Screen(console()) as screen:
            watch(sorter, screen.arrived, under_way=screen.under_way)
    finally:
        _write(sorter, wish)
