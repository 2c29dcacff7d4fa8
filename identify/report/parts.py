"""What one photo's part of the report is made of: texts and drawings, ready to be set."""

from __future__ import annotations

from dataclasses import dataclass

from identify.report.drawing import Drawing, Overlay


@dataclass(frozen=True)
class Seen:
    """A picture with what is drawn over it, and the same in words."""

    href: str
    window: tuple[int, int, int, int]
    drawing: Drawing
    alt: str


@dataclass(frozen=True)
class Swatch:
    """One colour measured, beside the one expected (None where the set or the candidate says nothing)."""

    zone: str
    measured_hex: str
    measured: str
    expected_hex: str | None
    expected: str
    apart: str


@dataclass(frozen=True)
class Row:
    """A candidate in the table."""

    rank: str
    name: str
    size: str
    colourway: str
    made: str
    probability: str
    share: float
    first: bool


@dataclass(frozen=True)
class Bar:
    """One row of evidence.  `length` is signed, in units of the drawing; `beyond`: the weight exceeds the bar."""

    feature: str
    measured: str
    expected: str
    weight: str
    words: str
    short: str
    length: float
    beyond: bool
    second: str


@dataclass(frozen=True)
class BaitPage:
    title: str
    number: int
    rows: tuple[tuple[str, str], ...]
    notices: tuple[str, ...]
    seen: Seen | None
    swatches: tuple[Swatch, ...]
    candidates: tuple[Row, ...]
    headline: str
    top: str
    bars: tuple[Bar, ...]
    together: str
    overlay: Overlay | None
    overlay_alt: str
    ageing: str
    new_colour: tuple[str, ...]
    ranked: bool
    first: str
    """What has to be said before anything else of the answer."""
    clashes: tuple[str, ...]
    in_part: str
    other_size: str
    runner_up: str
    second: str
    settling: tuple[str, ...]
    nothing_settles: str
    without: tuple[str, ...]
    rests: tuple[str, ...]


@dataclass(frozen=True)
class PhotoPage:
    name: str
    facts: str
    error: str | None
    notices: tuple[str, ...]
    set_aside: tuple[str, ...]
    seen: Seen | None
    baits: tuple[BaitPage, ...]
    sha256: str
    told: str
