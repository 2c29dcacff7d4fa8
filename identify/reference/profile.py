"""What a reference set says, as frozen values: the file's own shape (Profile) and what ranking needs (Form)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from identify.records import Lab, Polygon
from identify.settings import Point


@dataclass(frozen=True)
class RingPlaces:
    """How many line ties or hangers, and where (ring centres in the bait's frame, mm; None when not known).

    `tolerance_mm`: how far those places may lie off, beyond what is usual between pieces."""

    count: int
    at_mm: Polygon | None = None
    known_by: str | None = None
    tolerance_mm: float | None = None


@dataclass(frozen=True)
class EyeProfile:
    """As `RingPlaces`; the tolerance is that of the diameter too."""

    at_mm: Point | None
    diameter_mm: float | None
    kind: str | None
    tolerance_mm: float | None = None


@dataclass(frozen=True)
class ZoneColour:
    kind: Literal["head", "side", "tail", "throat"]
    lab: Lab


@dataclass(frozen=True)
class Colourway:
    code: str
    name: str
    back_lab: Lab | None
    belly_lab: Lab | None
    basis: Literal["paint", "photo"] = "paint"
    pattern: Literal["plain", "dots", "bars", "blend", "other"] | None = None
    pattern_lab: Lab | None = None
    zones: tuple[ZoneColour, ...] = ()
    finish: Literal["paint", "leaf", "clear"] | None = None
    sizes: tuple[str, ...] = ()
    made: str | None = None
    known_by: str | None = None
    source: str | None = None


@dataclass(frozen=True)
class Form:
    """One maker, model, size and variant with every value resolved (variant before size before file).

    `outline_mm`: side outline in the bait's own frame at this size, None when not known; `outline_tolerance_mm`: how
    far that may lie off a true piece's (rms height), beyond what is usual between pieces.  Other tolerances are
    standard deviations between true pieces.  None means the set does not say: it speaks neither for nor against.
    `known_by`: the weakest link of maker and model, line ties and hangers.
    """

    set: int
    maker: str
    model: str
    size: str
    variant: str | None
    made: str | None
    known_by: str | None
    length_mm: float
    tolerance_mm: float | None
    depth_mm: float | None
    depth_tolerance_mm: float | None
    thickness_mm: float | None
    weight_g: float | None
    outline_mm: Polygon | None
    line_ties: RingPlaces | None
    hangers: RingPlaces | None
    eye: EyeProfile | None
    hooks: int | None
    lip: Literal["none", "metal", "plastic", "other"] | None
    tie_kind: str | None
    hanger_kind: str | None
    material: str | None
    parts: int | None
    colourways: tuple[Colourway, ...]
    outline_tolerance_mm: float | None = None
