"""Where text goes: stdout for results, stderr for errors and progress, both in UTF-8; a closed pipe ends quietly."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from functools import wraps
from io import TextIOWrapper
from typing import TYPE_CHECKING, ParamSpec

import typer

from identify.errors import BadOption, BaitprintError, CannotWrite, ReferenceSetError, internal

if TYPE_CHECKING:
    from rich.console import Console

Arguments = ParamSpec("Arguments")
DONE, PARTLY, USAGE, INTERRUPTED = 0, 1, 2, 130
"""Exit codes: all done; some input could not be handled; wrong usage; interrupted."""
NARROWEST, PIPED = 60, 110
"""Columns of tables, at least and where there is no terminal."""


def prepare_streams() -> None:
    """UTF-8 on every console.  A name that is not text is written with escapes, which JSON reads back."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")


def console() -> Console:
    """A console for results, that obeys NO_COLOR and COLUMNS."""
    from rich.console import Console

    class Output(Console):
        def on_broken_pipe(self) -> None:
            raise

    wide = PIPED if not sys.stdout.isatty() and "COLUMNS" not in os.environ else None
    found = Output(highlight=False, emoji=False, markup=False, width=wide)
    return found if found.width >= NARROWEST else Output(highlight=False, emoji=False, markup=False, width=NARROWEST)


def complain(text: str) -> None:
    """One plain message on stderr."""
    print(f"baitprint: {text}", file=sys.stderr, flush=True)


def counted(n: int, what: str) -> str:
    """So many of something, in words."""
    return f"{n} {what}{'' if n == 1 else 's'}"


def put_line(text: str) -> None:
    """One line of results, at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def guarded(command: Callable[Arguments, int]) -> Callable[Arguments, None]:
    """Turn what a command returns or raises into an exit code, in one place."""

    @wraps(command)
    def run(*args: Arguments.args, **kwargs: Arguments.kwargs) -> None:
        try:
            code = command(*args, **kwargs)
            sys.stdout.flush()
        except (BadOption, ReferenceSetError) as fault:
            complain(fault.message)
            code = USAGE
        except BaitprintError as fault:
            complain(fault.message)
            code = PARTLY
        except BrokenPipeError:
            _close_stdout()
            code = DONE  # whoever read the output has seen enough
        except OSError as fault:
            _close_stdout()
            complain(CannotWrite(f"The output cannot be written ({fault.strerror or fault}).", _ROOM).message)
            code = PARTLY
        except KeyboardInterrupt:
            complain("Interrupted.")
            code = INTERRUPTED
        except Exception as fault:
            if os.environ.get("BAITPRINT_DEBUG"):
                raise
            complain(internal(fault))
            code = PARTLY
        raise typer.Exit(code)

    return run


_ROOM = "Free some space or write elsewhere."


def _close_stdout() -> None:
    """Nothing more can be written there; keep Python from trying when it ends."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError, AttributeError):
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
