"""Runs a job over photos in the order given: one line per photo whatever happens to it, the rest done."""

from __future__ import annotations

import glob
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from identify.commands.console import DONE, PARTLY, USAGE, complain
from identify.errors import INTERNAL, BadOption, BaitprintError, PhotoMissing, internal
from identify.records import Failure

if TYPE_CHECKING:
    from rich.progress import Progress


class Handled(Protocol):
    """What a job makes of one photo: a record, advice."""

    @property
    def error(self) -> Failure | None: ...


Result = TypeVar("Result", bound=Handled)
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
    job: Callable[[str], Result],
    show: Callable[[Result], None],
    quiet: bool,
    failed: Callable[[Result], None] = lambda record: None,
    stand_in: Callable[[str, str, str], Any] | None = None,
) -> int:
    """Do the job for each photo and show each result at once; returns the exit code.

    A fault that nobody foresaw costs its own photo only, as does an option that does not suit it: `failed` gets what
    stands for it then, which `stand_in` makes of the photo's path, a code and a text (a record without anything, if not
    given).  `quiet`: no progress.
    """
    codes: list[str | None] = []
    bar = Bar(len(photos), quiet)
    try:
        for done, path in enumerate(photos):
            bar.show(done, path)
            record = _do(path, job, failed, stand_in)
            bar.hide()
            show(record)
            if record.error is not None:
                complain(f"{path}: {record.error.text}")
            codes.append(record.error.code if record.error else None)
    finally:
        bar.hide()
    if all(code in WRONGLY_ASKED for code in codes):
        return USAGE
    return DONE if not any(codes) else PARTLY


def _do(
    path: str,
    job: Callable[[str], Result],
    failed: Callable[[Result], None],
    stand_in: Callable[[str, str, str], Any] | None,
) -> Result:
    from identify.answer import unreadable

    make: Callable[[str, str, str], Any] = stand_in or unreadable
    record: Result
    try:
        return job(path)
    except BaitprintError as fault:
        record = make(path, fault.code, fault.message)
    except Exception as fault:
        if os.environ.get("BAITPRINT_DEBUG"):
            raise
        record = make(path, INTERNAL, internal(fault))
    failed(record)
    return record


class Bar:
    """A bar on stderr, on a terminal and for several photos only; gone whenever results are printed."""

    def __init__(self, total: int, quiet: bool) -> None:
        self._bar: Progress | None = None
        if quiet or total < 2 or not sys.stderr.isatty():
            return
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn())
        console = Console(stderr=True)
        self._bar = Progress(*columns, TimeRemainingColumn(), console=console, transient=True, redirect_stdout=False)
        self._task = self._bar.add_task("", total=total)

    def show(self, done: int, path: str) -> None:
        if self._bar is not None:
            self._bar.update(self._task, completed=done, description=Path(path).name)
            self._bar.start()

    def hide(self) -> None:
        if self._bar is not None:
            self._bar.stop()
