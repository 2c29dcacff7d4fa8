"""The command for offers: pictures held against what they are sold as."""

from __future__ import annotations

from typing import Annotated, Literal

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
    Photos,
    Refs,
    ReportDir,
    Scale,
    Tell,
    Units,
)
from identify.errors import BadOption


def add_to(app: typer.Typer) -> None:
    """Register the command of this file."""
    app.command("check")(guarded(check))


def check(
    photos: Photos,
    sold_as: Annotated[
        str,
        typer.Option(
            "--sold-as",
            metavar='"MAKER / MODEL[ / SIZE[ / COLOURWAY]]"',
            help="What the bait is sold as; a lone - leaves the size open.",
        ),
    ],
    length_mm: Annotated[
        str | None,
        typer.Option(
            "--length-mm", metavar="L", help="The body's length as the seller tells it: 63, 63+-0.5, 2-1/2in."
        ),
    ] = None,
    bait: Annotated[
        str | None,
        typer.Option("--bait", metavar="N|all", help="Which bait of a picture with several; all: each by itself."),
    ] = None,
    refs: Refs = None,
    told: Tell = None,
    report: ReportDir = None,
    card: Card = None,
    card_size: CardSize = DEFAULT_SIZE,
    card_thickness: CardThickness = DEFAULT_THICKNESS,
    card_reflectance: CardReflectance = DEFAULT_REFLECTANCE,
    no_card: NoCard = False,
    scale: Scale = None,
    units: Units = "mm",
    as_json: AsRows = False,
) -> int:
    """Hold the pictures of one offer against what they are sold as; works without a card."""
    settings = options.settings_of(card, card_size, card_thickness, card_reflectance, no_card, scale, told)
    unit = options.units_of(units)
    from identify.commands.checking import Wish, check_offer

    return check_offer(Wish(photos, sold_as, length_mm, which(bait), refs, settings, report, unit, as_json))


def which(bait: str | None) -> int | Literal["all"] | None:
    """A bait's number, "all", or None.  Raises BadOption."""
    if bait is None or bait.lower() == "all":
        return None if bait is None else "all"
    if not bait.isdecimal() or int(bait) < 1:
        raise BadOption(f"--bait {bait} is no number of a bait.", "Give a number from 1, or all.")
    return int(bait)
