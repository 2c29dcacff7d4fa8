"""What a person can set for one run: one frozen value, passed to every stage and recorded with the result."""

from __future__ import annotations

from dataclasses import dataclass

from identify.told import Told

Point = tuple[float, float]
"""(x, y).  Pixels have their origin at the centre of the top-left pixel of the picture as displayed."""

ID1_MM = (85.60, 53.98)
"""Width and height of an ID-1 card, ISO/IEC 7810."""


@dataclass(frozen=True)
class ScaleLine:
    """A known length lying on the table, between two points of the picture."""

    start_px: Point
    end_px: Point
    length_mm: float


@dataclass(frozen=True)
class Settings:
    """Settings of one run.  All lengths in millimetres, reflectance as a fraction of 1."""

    card_size_mm: tuple[float, float] = ID1_MM
    card_thickness_mm: float = 0.76
    card_reflectance: float = 0.18
    card_corners_px: tuple[Point, Point, Point, Point] | None = None
    """The card's corners told by a person, in any order; None to look for the card."""
    no_card: bool = False
    """Do not look for a card."""
    scale_line: ScaleLine | None = None
    max_megapixels: float = 120.0
    told: tuple[Told, ...] = ()
    """What a person measured or saw on the baits."""
