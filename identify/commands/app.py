"""The commands that read photos, and those that tell about the program."""

from __future__ import annotations

from typing import Annotated

import typer

from identify import __version__
from identify.commands import boxes, offers, options, refs
from identify.commands.console import console, guarded, put_line
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
    SamePiece,
    Scale,
    Tell,
    Top,
    Units,
)

LISTED = 5
"""Candidates that people see when they do not ask for more."""

app = typer.Typer(
    name="baitprint",
    help="Identifies unmarked vintage fishing baits from photographs, and shows the evidence.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    rich_markup_mode=None,
)
app.add_typer(refs.app, name="refs")
boxes.add_to(app)
offers.add_to(app)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(__version__)
        raise typer.Exit


@app.callback()
def root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and leave.")
    ] = False,
) -> None:
    pass


@app.command()
@guarded
def demo(
    out: Annotated[str, typer.Option("--out", metavar="DIR", help="Folder for the report.")] = "baitprint-demo",
) -> int:
    """Run the main job on the demo photos with the demo reference set, and write a report."""
    from identify.commands.demo import run_demo

    return run_demo(out)


@app.command()
@guarded
def measure(
    photos: Photos,
    told: Tell = None,
    card: Card = None,
    card_size: CardSize = DEFAULT_SIZE,
    card_thickness: CardThickness = DEFAULT_THICKNESS,
    card_reflectance: CardReflectance = DEFAULT_REFLECTANCE,
    no_card: NoCard = False,
    scale: Scale = None,
    units: Units = "mm",
    as_json: AsJson = False,
) -> int:
    """Measure the baits in each photo."""
    settings = options.settings_of(card, card_size, card_thickness, card_reflectance, no_card, scale, told)
    unit = options.units_of(units)
    from identify.commands.jobs import measure_photos

    return measure_photos(photos, settings, unit, as_json)


@app.command()
@guarded
def identify(
    photos: Photos,
    refs: Refs = None,
    told: Tell = None,
    prior: Prior = None,
    same_piece: SamePiece = False,
    top: Top = None,
    report: ReportDir = None,
    card: Card = None,
    card_size: CardSize = DEFAULT_SIZE,
    card_thickness: CardThickness = DEFAULT_THICKNESS,
    card_reflectance: CardReflectance = DEFAULT_REFLECTANCE,
    no_card: NoCard = False,
    scale: Scale = None,
    units: Units = "mm",
    as_json: AsJson = False,
) -> int:
    """Measure the baits in each photo and rank makers, models, sizes and colourways: the main job."""
    settings = options.settings_of(card, card_size, card_thickness, card_reflectance, no_card, scale, told)
    unit, wanted = options.units_of(units), options.top_of(top)
    from identify.commands.jobs import identify_photos

    return identify_photos(photos, refs, settings, wanted, report, unit, as_json, prior, same_piece)


@app.command()
@guarded
def advice(
    photos: Photos,
    card: Card = None,
    card_size: CardSize = DEFAULT_SIZE,
    card_thickness: CardThickness = DEFAULT_THICKNESS,
    card_reflectance: CardReflectance = DEFAULT_REFLECTANCE,
    no_card: NoCard = False,
    scale: Scale = None,
    units: Units = "mm",
    as_json: AsJson = False,
) -> int:
    """Say of each photo whether it is good enough, for what, and what to do better."""
    settings = options.settings_of(card, card_size, card_thickness, card_reflectance, no_card, scale)
    unit = options.units_of(units)
    from identify.commands.advice import advise_photos

    return advise_photos(photos, settings, unit, as_json)


@app.command()
@guarded
def about(as_json: AsRows = False) -> int:
    """Print versions and settings: what a bug report needs."""
    from identify.commands.about import about_rows
    from identify.serialise import dumps, to_json

    found = about_rows()
    if as_json:
        put_line(dumps({"schema": "baitprint/about/1", **to_json(found)}))
        return 0
    out = console()
    for key, value in found.items():
        if isinstance(value, dict):
            out.print(f"{key}:")
            for name, text in value.items():
                out.print(f"  {name} {text}", soft_wrap=True)
        else:
            shown = "\n  ".join(value) if isinstance(value, tuple) else value
            out.print(f"{key}: {shown or 'none'}", soft_wrap=True)
    return 0
