"""`baitprint refs guide`."""

from __future__ import annotations

from pathlib import Path

from identify import guide
from identify.commands.console import put_line
from identify.reference import read


def write_guide(folder: str, target: str, paper: str) -> int:
    """The command `refs guide`; returns its exit code."""
    pages = guide.write_guide(read(Path(folder)), Path(target), paper.lower())
    put_line(f"{target}: {pages} pages. Print at 100 %, and check with the card on the first page.")
    return 0
