"""The commands for many baits at once: slips, sort and tray."""

from __future__ import annotations

from typing import Annotated

import typer

from identify.commands.console import guarded, put_line
from identify.errors import BadOption


def add_to(app: typer.Typer) -> None:
    """Register the commands of this file."""
    app.command("slips")(guarded(slips))


def slips(
    out: Annotated[str, typer.Option("--out", metavar="FILE.pdf", help="The PDF to write.")],
    lot: Annotated[
        str | None,
        typer.Option("--lot", metavar="NAME", help="The lot's name, such as mill; today's date if not given."),
    ] = None,
    first: Annotated[int, typer.Option("--first", metavar="N", help="The first number.")] = 1,
    count: Annotated[
        int | None, typer.Option("--count", metavar="N", help="How many; one full page if not given.")
    ] = None,
    tags: Annotated[bool, typer.Option("--tags", help="Small tags to tie on, instead of slips.")] = False,
    paper: Annotated[str, typer.Option("--paper", metavar="a4|letter", help="Size of the paper.")] = "a4",
) -> int:
    """Print numbered slips or tie-on tags to lay beside a bait: all photos with one number are one piece."""
    import datetime
    from pathlib import Path

    from identify.files import put_bytes
    from identify.slips.sheet import sheet

    size = paper.lower()
    if size not in ("a4", "letter"):
        raise BadOption(f"--paper {paper} is not known.", "Give a4 or letter.")
    name = lot if lot is not None else datetime.date.today().isoformat()
    put_bytes(Path(out), sheet(name, first, count, tags, "a4" if size == "a4" else "letter"))
    put_line(
        f"Written: {out}. Print it at its own size (100 %), and lay one number beside each bait, flat, in the photo."
    )
    return 0
