"""`baitprint refs guide`."""

from __future__ import annotations

from pathlib import Path
from textwrap import shorten

from identify import guide
from identify.commands.console import DONE, put_line
from identify.guide.letters import LEFT_OUT
from identify.reference import read

NAMED, LONGEST = 6, 50
"""So many texts that cannot be printed whole are named, and so many letters of each."""


def write_guide(folder: str, target: str, paper: str) -> int:
    """The command `refs guide`; returns its exit code."""
    done = guide.write_guide(read(Path(folder)), Path(target), paper.lower())
    put_line(f"{target}: {done.pages} pages. Print at 100 %, and check with the card on the first page.")
    if done.lacking:
        more = f" and {len(done.lacking) - NAMED} more" if len(done.lacking) > NAMED else ""
        names = ", ".join(f'"{shorten(text, LONGEST, placeholder=" …")}"' for text in done.lacking[:NAMED])
        put_line(f"The guide's font does not have all letters of {names}{more}: {LEFT_OUT} stands for them.")
    return DONE
