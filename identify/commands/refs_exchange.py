"""`baitprint refs export` and `refs import`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from identify.commands.console import DONE, PARTLY, complain, console, counted
from identify.reference import exchange, importing


def export_set(folder: str, target: str, photos: bool) -> int:
    """The command `refs export`; returns its exit code."""
    done = exchange.export(Path(folder), Path(target), photos)
    for text in done.left_out:
        complain(f"{text}: it is not in the file.")
    with_photos = f" and {counted(done.photos, 'photo')} without the places where they were taken" if photos else ""
    console().print(f"{target}: {counted(done.models, 'model')}{with_photos}.", soft_wrap=True)
    return PARTLY if done.left_out else DONE


def import_set(source: str, folder: str, merge: bool) -> int:
    """The command `refs import`; returns its exit code."""
    done = importing.import_set(Path(source), Path(folder), merge)
    out = console()
    for what, names in (("added", done.added), ("joined", done.merged), ("there already", done.same)):
        _say(what, names)
    for text in done.kept:
        out.print(f"kept as it is here: {text}", soft_wrap=True)
    for text in done.anew:
        out.print(f"learned anew from the pieces of both: {text}", soft_wrap=True)
    with_photos = f", {counted(done.photos, 'photo')} with it" if done.photos else ""
    out.print(f'{folder}: "{done.title}" is in{with_photos}.', soft_wrap=True)
    return DONE


def _say(what: str, names: Sequence[str]) -> None:
    for name in names:
        console().print(f"{what}: {name}", soft_wrap=True)
