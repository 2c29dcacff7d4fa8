"""Options that commands share, and how their values are read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Annotated, Literal

import typer

from identify.errors import BadOption
from identify.settings import ScaleLine, Settings
from identify.told import parse as parse_told

UnitName = Literal["mm", "inch"]
CARD_PANEL, OUTPUT_PANEL = "Card and scale", "Output"

Photos = Annotated[list[str], typer.Argument(metavar="PHOTO...", help="Photos: JPEG, PNG, TIFF, WebP or HEIC.")]
Refs = Annotated[
    list[str] | None,
    typer.Option("--refs", metavar="SET", help="Folder of a reference set to rank by; may be given several times."),
]
Card = Annotated[
    str | None,
    typer.Option(
        "--card",
        metavar="X,Y,X,Y,X,Y,X,Y",
        help="The card's four corners in pixels, in any order, when it is not found.",
        rich_help_panel=CARD_PANEL,
    ),
]
CardSize = Annotated[
    str,
    typer.Option("--card-size", metavar="WxH", help="The card's size in mm.", rich_help_panel=CARD_PANEL),
]
CardThickness = Annotated[
    float,
    typer.Option("--card-thickness", metavar="MM", help="The card's thickness in mm.", rich_help_panel=CARD_PANEL),
]
CardReflectance = Annotated[
    float,
    typer.Option(
        "--card-reflectance",
        metavar="R",
        help="How much light the card reflects: 0.18 for an 18 % grey card.",
        rich_help_panel=CARD_PANEL,
    ),
]
NoCard = Annotated[
    bool, typer.Option("--no-card", help="There is no card: do not look for one.", rich_help_panel=CARD_PANEL)
]
Scale = Annotated[
    str | None,
    typer.Option(
        "--scale",
        metavar="X1,Y1,X2,Y2,MM",
        help="A known length lying on the table: two points in pixels, and millimetres.",
        rich_help_panel=CARD_PANEL,
    ),
]
Units = Annotated[
    str,
    typer.Option(
        "--units",
        metavar="mm|inch",
        help="Units of what people read (JSON is always mm).",
        rich_help_panel=OUTPUT_PANEL,
    ),
]
SamePiece = Annotated[
    bool,
    typer.Option("--same-piece", help="All photos show one piece: also give one answer from all of them together."),
]
AsJson = Annotated[
    bool, typer.Option("--json", help="Print JSON, one line per photo, and nothing else.", rich_help_panel=OUTPUT_PANEL)
]
AsRows = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")]
Top = Annotated[
    int | None,
    typer.Option(
        "--top",
        metavar="N",
        help="List N candidates (5 for people, all in JSON when not given).",
        rich_help_panel=OUTPUT_PANEL,
    ),
]
ReportDir = Annotated[
    str | None,
    typer.Option(
        "--report",
        metavar="DIR",
        help="Also write a report with pictures: DIR/index.html.",
        rich_help_panel=OUTPUT_PANEL,
    ),
]

Tell = Annotated[
    list[str] | None,
    typer.Option(
        "--told",
        metavar="KEY=VALUE",
        help="What you measured or saw: length_mm=63.5+-0.3, ties=2, material=wood; 2:ties=1 tells of bait 2. May be "
        "given several times.",
    ),
]
Prior = Annotated[
    list[str] | None,
    typer.Option(
        "--prior",
        metavar="MAKER=WEIGHT",
        help="How much likelier a maker is before looking, 1 when not given; may be given several times.",
    ),
]

DEFAULT_SIZE, DEFAULT_THICKNESS, DEFAULT_REFLECTANCE = "85.60x53.98", 0.76, 0.18


def settings_of(
    card: str | None = None,
    card_size: str = DEFAULT_SIZE,
    card_thickness: float = DEFAULT_THICKNESS,
    card_reflectance: float = DEFAULT_REFLECTANCE,
    no_card: bool = False,
    scale: str | None = None,
    told: Sequence[str] | None = None,
) -> Settings:
    """The settings that the options of one command mean.  Raises BadOption."""
    if no_card and card is not None:
        raise BadOption("--card and --no-card do not go together.", "Leave one of them out.")
    if not 0 <= card_thickness <= 10:
        raise BadOption(f"--card-thickness {card_thickness:g} is not possible.", "Give millimetres from 0 to 10.")
    if not 0 < card_reflectance <= 1:
        raise BadOption(
            f"--card-reflectance {card_reflectance:g} is not possible.", "Give a share of 1, such as 0.18 for 18 %."
        )
    width, height = _size(card_size)
    line = _numbers("--scale", scale, 5, "X1,Y1,X2,Y2,MM") if scale is not None else None
    if line is not None and (line[4] <= 0 or math.hypot(line[0] - line[2], line[1] - line[3]) < 1):
        raise BadOption(f"--scale {scale} spans nothing.", "Give two different points and a length above 0 mm.")
    corners = _numbers("--card", card, 8, "X,Y,X,Y,X,Y,X,Y") if card is not None else None
    if corners is not None and _hull_area(corners) < 4:
        raise BadOption(f"--card {card} encloses nothing.", "Give the four corners of the card, in any order.")
    return Settings(
        card_size_mm=(width, height),
        card_thickness_mm=card_thickness,
        card_reflectance=card_reflectance,
        card_corners_px=None
        if corners is None
        else ((corners[0], corners[1]), (corners[2], corners[3]), (corners[4], corners[5]), (corners[6], corners[7])),
        no_card=no_card,
        scale_line=None if line is None else ScaleLine((line[0], line[1]), (line[2], line[3]), line[4]),
        told=parse_told(told or ()),
    )


def units_of(units: str) -> UnitName:
    """ "mm" or "inch".  Raises BadOption."""
    known: dict[str, UnitName] = {"mm": "mm", "inch": "inch", "in": "inch", "inches": "inch"}
    if units.lower() not in known:
        raise BadOption(f"--units {units} is not known.", "Give mm or inch.")
    return known[units.lower()]


def top_of(top: int | None) -> int | None:
    """How many candidates to list.  Raises BadOption."""
    if top is not None and top < 1:
        raise BadOption(f"--top {top} lists nothing.", "Give 1 or more.")
    return top


def _numbers(option: str, text: str, count: int, form: str) -> tuple[float, ...]:
    try:
        values = tuple(float(part) for part in text.replace(";", ",").split(","))
    except ValueError:
        values = ()
    if len(values) != count or not all(math.isfinite(v) for v in values):
        raise BadOption(f"{option} {text} cannot be read.", f"Give {count} numbers with commas between: {form}.")
    return values


def _size(text: str) -> tuple[float, float]:
    parts = text.lower().replace("×", "x").split("x")
    try:
        width, height = (float(part) for part in parts)
    except ValueError:
        width = height = math.nan
    if not (math.isfinite(width) and math.isfinite(height)):
        raise BadOption(f"--card-size {text} cannot be read.", "Give width x height in mm, such as 85.60x53.98.")
    if not (min(width, height) >= 10 and max(width, height) <= 1000):
        raise BadOption(
            f"--card-size {text} is not possible.", "Give millimetres, each side from 10 to 1000, such as 85.60x53.98."
        )
    if max(width, height) > 4 * min(width, height):
        raise BadOption(
            f"--card-size {text} is too narrow to tell tilt and scale from.",
            "Use a card that is at most four times as long as wide.",
        )
    return width, height


def _hull_area(corners: tuple[float, ...]) -> float:
    """Area of the largest triangle of three of the four corners: 0 when all lie on one line."""
    points = list(zip(corners[::2], corners[1::2], strict=True))
    triples = [[p for j, p in enumerate(points) if j != i] for i in range(4)]
    return min(abs((b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])) / 2 for a, b, c in triples)
