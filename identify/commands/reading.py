"""Reading reference sets from the command line: a bar on a terminal while a large one is read for the first time."""

from __future__ import annotations

import sys
from collections.abc import Iterable

from identify.answer import References, read_sets

LARGE = 300
"""Sets of fewer files are read before anyone could look."""


def read_with_bar(folders: Iterable[str]) -> References:
    """As `read_sets`.  The bar stands on stderr, and only on a terminal."""
    if not sys.stderr.isatty():
        return read_sets(folders)
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    bar = Progress(*columns, console=Console(stderr=True), transient=True, redirect_stdout=False)
    task = bar.add_task("", total=None)

    def show(name: str, done: int, of: int) -> None:
        if of >= LARGE:
            bar.update(task, completed=done, total=of, description=f"Reading {name}")
            bar.start()

    try:
        return read_sets(folders, show)
    finally:
        bar.stop()
