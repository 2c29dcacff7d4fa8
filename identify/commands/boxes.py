"""The commands for many baits at once: slips, sort and tray."""

from __future__ import annotations

from typing import Annotated

import typer

from identify.commands import options
from identify.commands.console import guarded, put_line
from identify.commands.options import (
    DEFAULT_REFLECTANCE,
    DEFAULT_SIZE,
    DEFAULT_THICKNESS,
    AsJson,
    AsRows,
    Card,
    CardReflectance,
    CardSize,
    CardThickness,
    NoCard,
    Photos,
    Prior,
    Refs,
    ReportDir,
    Scale,
    Tell,
    Units,
)
from identify.errors import BadOption


def add_to(app: typer.Typer) -> None:
    """Register the commands of this file."""
    app.command("slips")(guarded(slips))
    app.command("sort")(guarded(sort))
    app.command("tray")(guarded(tray))


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


def sort(
    folder: Annotated[str, typer.Argument(metavar="FOLDER", help="The folder of photos, with the folders in it.")],
    out: Annotated[str, typer.Option("--out", metavar="DIR", help="Folder for the piles; photos stay where they are.")],
    refs: Refs = None,
    prior: Prior = None,
    jobs: Annotated[
        int | None,
        typer.Option("--jobs", metavar="N", help="Photos measured at a time; one for each core if not given."),
    ] = None,
    watch: Annotated[
        bool, typer.Option("--watch", help="Then wait for new photos and place each as it arrives.")
    ] = False,
    labels: Annotated[bool, typer.Option("--labels", help="Also write DIR/labels.pdf, a label for each pile.")] = False,
    links: Annotated[
        bool, typer.Option("--links", help="Also lay links to the photos by pile below DIR/piles.")
    ] = False,
    copy_plan: Annotated[
        str | None,
        typer.Option("--copy-plan", metavar="FILE.csv", help="Also write a table of which photo to copy where."),
    ] = None,
    card: Card = None,
    card_size: CardSize = DEFAULT_SIZE,
    card_thickness: CardThickness = DEFAULT_THICKNESS,
    card_reflectance: CardReflectance = DEFAULT_REFLECTANCE,
    no_card: NoCard = False,
    scale: Scale = None,
    units: Units = "mm",
    as_json: AsRows = False,
) -> int:
    """Sort a folder of photos into piles, like with like; after a stop the next call goes on from there."""
    settings = options.settings_of(card, card_size, card_thickness, card_reflectance, no_card, scale)
    unit = options.units_of(units)
    from pathlib import Path

    if not Path(folder).is_dir():  # said at once, before all that sorting needs is loaded
        raise BadOption(f"There is no folder {folder}.", "Name the folder that holds the photos.")
    if watch and as_json:
        raise BadOption(
            "--watch and --json do not go together.", "Leave one of them out; DIR/piles.json is written too."
        )
    from identify.commands.sorting import Wish, sort_photos

    return sort_photos(Wish(folder, out, refs, prior, settings, jobs, watch, labels, links, copy_plan, unit, as_json))


def tray(
    photos: Photos,
    refs: Refs = None,
    told: Tell = None,
    prior: Prior = None,
    report: ReportDir = None,
    drafts: Annotated[
        str | None,
        typer.Option(
            "--drafts",
            metavar="FILE.jsonl",
            help="Add a draft record of each bait to this file; of a photo that is in it already nothing is added.",
        ),
    ] = None,
    card: Card = None,
    card_size: CardSize = DEFAULT_SIZE,
    card_thickness: CardThickness = DEFAULT_THICKNESS,
    card_reflectance: CardReflectance = DEFAULT_REFLECTANCE,
    no_card: NoCard = False,
    scale: Scale = None,
    units: Units = "mm",
    as_json: AsJson = False,
) -> int:
    """Measure and rank photos of many baits: numbered, in a table, and as draft records."""
    settings = options.settings_of(card, card_size, card_thickness, card_reflectance, no_card, scale, told)
    unit = options.units_of(units)
    from identify.commands.trays import Wish, tray_photos

    return tray_photos(Wish(photos, refs, prior, settings, report, drafts, unit, as_json))
