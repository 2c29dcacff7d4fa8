"""`baitprint refs`: reference sets.  Commands parse and call; what they do stands in the modules they import."""

from __future__ import annotations

from typing import Annotated

import typer

from identify.commands import options
from identify.commands.console import guarded
from identify.commands.options import (
    DEFAULT_REFLECTANCE,
    DEFAULT_SIZE,
    DEFAULT_THICKNESS,
    AsRows,
    Card,
    CardReflectance,
    CardSize,
    CardThickness,
    NoCard,
    Scale,
)

app = typer.Typer(
    help="Reference sets: what is known of makers, models, sizes and colourways.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
Set = Annotated[str, typer.Argument(metavar="SET", help="Folder of a reference set.")]
SHOWS, OTHERWISE = "What the photos show", "Instead of photos"


@app.command("list")
@guarded
def list_sets(
    folder: Annotated[
        str | None, typer.Argument(metavar="[FOLDER]", help="Folder that holds sets; the current one if not given.")
    ] = None,
    as_json: AsRows = False,
) -> int:
    """List the reference sets in a folder, and those chosen with `refs use`."""
    from identify.commands import refs_show

    return refs_show.list_sets(folder, as_json)


@app.command("show")
@guarded
def show_set(
    folder: Set,
    model: Annotated[str | None, typer.Argument(metavar='["MAKER / MODEL"]', help="One model or one maker.")] = None,
    as_json: AsRows = False,
) -> int:
    """Show what a set knows: all of it in a table, or one model with its colourways and what it rests on."""
    from identify.commands import refs_show

    return refs_show.show_set(folder, model, as_json)


@app.command("use")
@guarded
def use_set(
    folder: Annotated[list[str] | None, typer.Argument(metavar="SET", help="Folder of a reference set.")] = None,
    none: Annotated[bool, typer.Option("--none", help="Choose no set any more.")] = False,
) -> int:
    """Choose the set that `identify` asks when no --refs is given."""
    from identify.commands import refs_show

    return refs_show.use_set(folder, none)


@app.command("lint")
@guarded
def lint_sets(
    folders: Annotated[list[str], typer.Argument(metavar="SET...", help="Folders of reference sets.")],
    as_json: AsRows = False,
) -> int:
    """Check reference sets: every fault with its file and line, and what to do."""
    from identify.commands import refs_show

    return refs_show.lint_sets(folders, as_json)


@app.command("new")
@guarded
def new_set(
    folder: Annotated[str, typer.Argument(metavar="SET", help="Folder of the new set.")],
    title: Annotated[str, typer.Option("--title", metavar="T", help="What the set is called.")],
    editor: Annotated[str, typer.Option("--editor", metavar="WHO", help="Who answers for it.")] = "",
    licence: Annotated[str, typer.Option("--licence", metavar="L", help="Under which others may use it.")] = "",
) -> int:
    """Begin a reference set."""
    from identify.commands.refs_add import new_set

    return new_set(folder, title, editor, licence)


def _shows(*names: str, metavar: str, help: str) -> typer.models.OptionInfo:
    found: typer.models.OptionInfo = typer.Option(*names, metavar=metavar, help=help, rich_help_panel=SHOWS)
    return found


@app.command("add")
@guarded
def add_photos(
    folder: Set,
    photos: Annotated[
        list[str] | None, typer.Argument(metavar="[PHOTO...]", help="Photos of known baits, one bait in each.")
    ] = None,
    maker: Annotated[str | None, _shows("--maker", metavar="M", help="Who made it.")] = None,
    model: Annotated[str | None, _shows("--model", metavar="N", help="What it is called.")] = None,
    size: Annotated[str | None, _shows("--size", metavar="S", help="Code of its size.")] = None,
    variant: Annotated[str | None, _shows("--variant", metavar="V", help="Code of its variant.")] = None,
    colourway: Annotated[str | None, _shows("--colourway", metavar="CODE", help="Code of its colourway.")] = None,
    name: Annotated[str | None, _shows("--name", metavar="TEXT", help="Name of the colourway.")] = None,
    made: Annotated[
        str | None,
        _shows("--made", metavar="EDTF", help="Years of the variant, else of the model: 1936~/1957."),
    ] = None,
    ties: Annotated[int | None, _shows("--ties", metavar="K", help="Line ties it was made with.")] = None,
    known_by: Annotated[
        str | None,
        _shows("--known-by", metavar="HOW", help="How that is known: marked, paper, told, collectors or tool."),
    ] = None,
    piece: Annotated[
        str | None,
        _shows("--piece", metavar="ID", help="All photos show this bait; without, each photo is a bait of its own."),
    ] = None,
    length_mm: Annotated[
        str | None, _shows("--length-mm", metavar="L", help="Its length by caliper: goes before the photos'.")
    ] = None,
    depth_mm: Annotated[str | None, _shows("--depth-mm", metavar="D", help="Its depth by caliper.")] = None,
    contributor: Annotated[str | None, _shows("--contributor", metavar="WHO", help="Who contributes this.")] = None,
    table: Annotated[
        str | None,
        typer.Option("--table", metavar="FILE.csv", help="A row for each photo instead.", rich_help_panel=OTHERWISE),
    ] = None,
    pile: Annotated[
        str | None,
        typer.Option(
            "--pile", metavar="DIR", help="A pile of `sort`: DIR, then its NAME as argument.", rich_help_panel=OTHERWISE
        ),
    ] = None,
    without: Annotated[
        str | None,
        typer.Option("--without", metavar="PHOTO", help="Take a photo out again.", rich_help_panel=OTHERWISE),
    ] = None,
    jobs: Annotated[
        int | None, typer.Option("--jobs", metavar="N", min=1, help="Photos measured at once; all cores if not given.")
    ] = None,
    card: Card = None,
    card_size: CardSize = DEFAULT_SIZE,
    card_thickness: CardThickness = DEFAULT_THICKNESS,
    card_reflectance: CardReflectance = DEFAULT_REFLECTANCE,
    no_card: NoCard = False,
    scale: Scale = None,
) -> int:
    """Learn a model's profile from photos of known baits, or sharpen it."""
    settings = options.settings_of(card, card_size, card_thickness, card_reflectance, no_card, scale)
    from identify.commands.refs_add import Asked, add

    asked = Asked(
        photos or (), maker, model, size, variant, colourway, name, made, ties, known_by, piece, contributor,
        length_mm, depth_mm, table, pile, without,
    )  # fmt: skip
    return add(folder, asked, settings, jobs)


@app.command("find")
@guarded
def find_mention(
    folder: Set,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What is written on a box, a label or a list.")],
    as_json: AsRows = False,
) -> int:
    """Find which models, sizes and colourways a written mention may mean, best first."""
    from identify.commands import refs_show

    return refs_show.find_mention(folder, text, as_json)


@app.command("export")
@guarded
def export_set(
    folder: Set,
    target: Annotated[str, typer.Argument(metavar="FILE.zip", help="The file to be written.")],
    photos: Annotated[
        bool, typer.Option("--photos", help="With the photos that it was learned from, without their places.")
    ] = False,
) -> int:
    """Write a set as one file to be given away, with checksums, editor and licence."""
    from identify.commands import refs_exchange

    return refs_exchange.export_set(folder, target, photos)


@app.command("import")
@guarded
def import_set(
    source: Annotated[str, typer.Argument(metavar="FILE.zip", help="A file written by `refs export`.")],
    folder: Annotated[str, typer.Argument(metavar="DIR", help="A new folder, or the set that it is added to.")],
    merge: Annotated[
        bool, typer.Option("--merge", help="Join models that are there already; what is written there stays.")
    ] = False,
) -> int:
    """Unpack a set, or add it to another: whole, or not at all."""
    from identify.commands import refs_exchange

    return refs_exchange.import_set(source, folder, merge)


@app.command("lookalikes")
@guarded
def lookalikes(
    folder: Set,
    out: Annotated[
        str | None, typer.Option("--out", metavar="DIR", help="Also write pictures and a page: DIR/index.html.")
    ] = None,
    as_json: AsRows = False,
) -> int:
    """Tell which models and sizes photos would confuse, how often, and what tells them apart."""
    from identify.commands.refs_alike import show_lookalikes

    return show_lookalikes(folder, out, as_json)


@app.command("guide")
@guarded
def guide(
    folder: Set,
    target: Annotated[str, typer.Option("--out", metavar="FILE.pdf", help="The file to be written.")],
    paper: Annotated[str, typer.Option("--paper", metavar="a4|letter", help="Size of the paper.")] = "a4",
) -> int:
    """Write a field guide to be printed: outlines at life size, colours, years, look-alikes and how to tell them."""
    from identify.commands.refs_guide import write_guide

    return write_guide(folder, target, paper)
