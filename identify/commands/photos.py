"""Runs a job over photos in the order given: one line per photo whatever happens to it, the rest done."""

from __future__ import annotations

import glob
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from identify.commands.console import DONE, PARTLY, USAGE, complain, internal
from identify.errors import BadOption, BaitprintError, PhotoMissing
from identify.records import PhotoRecord

INTERNAL = "internal-error"
WRONGLY_ASKED = (PhotoMissing.code, BadOption.code)
"""When every photo ends so, the command was used wrongly."""


def expand(photos: Sequence[str]) -> list[str]:
    """The photos named.  Windows shells leave `*.jpg` to the program; elsewhere a name is a name, brackets and all."""
    if os.name != "nt":
        return list(photos)
    found: list[str] = []
    for name in photos:
        wild = ("*" in name or "?" in name) and not Path(name).exists()
        found += (sorted(glob.glob(name)) if wild else []) or [name]  # noqa: PTH207
    return found


def run(
    photos: Sequence[str],
    job: Callable[[str], PhotoRecord],
    show: Callable[[PhotoRecord], None],
    quiet: bool,
    failed: Callable[[PhotoRecord], None] = lambda record: None,
) -> int:
    """Do the job for each photo and show each result at once; returns the exit code.

    A fault that nobody foresaw costs its own photo only, as does an option that does not suit it: `failed` gets what
    stands for it then.  `quiet`: no progress.
    """
    from identify.answer import unreadable

    codes: list[str | None] = []
    with _progress(len(photos), quiet) as step:
        for path in photos:
            step(path)
            try:
                record = job(path)
            except BaitprintError as fault:
                record = unreadable(path, fault.code, fault.message)
                failed(record)
            except Exception as fault:
                if os.environ.get("BAITPRINT_DEBUG"):
                    raise
                record = unreadable(path, INTERNAL, internal(fault))
                failed(record)
            show(record)
            if record.error is not None:
                complain(f"{path}: {record.error.text}")
            codes.append(record.error.code if record.error else None)
    if all(code in WRONGLY_ASKED for code in codes):
        return USAGE
    return DONE if not any(codes) else PARTLY


@contextmanager
def _progress(total: int, quiet: bool) -> Iterator[Callable[[str], None]]:
    """A bar on stderr, on a terminal and for several photos only."""
    if quiet or total < 2 or not sys.stderr.isatty():
        yield lambda path: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    both = sys.stdout.isatty()  # then results have to go above the bar; a piped stdout is left alone
    with Progress(*columns, console=Console(stderr=True), transient=True, redirect_stdout=both) as bar:
        task = bar.add_task("", total=total)
        done = -1

        def step(path: str) -> None:
            nonlocal done
            done += 1
            bar.update(task, completed=done, description=Path(path).name)

        yield step
