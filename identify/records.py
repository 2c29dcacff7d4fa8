"""The records that leave the program: frozen, of scalars and tuples only, so that one serialiser serves them all.

Field names are the keys of the JSON contract, in its order.  Frames: `_px` points are (x, y) in pixels with the origin
at the centre of the top-left pixel of the picture as displayed; `_mm` points lie in the bait's own frame in its mid
plane, origin at the nose end of the body's maximum Feret diameter, +x towards the tail, +y towards the back.  What was
not measured is None as a whole, with a warning that says why.  `u` is a standard uncertainty (k = 1, JCGM 100).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from identify.settings import Point
from identify.told import Told

Polygon = tuple[Point, ...]
Lab = tuple[float, float, float]
"""CIELAB under D50, 2° observer."""

TIE_COUNTS = ("0", "1", "2", "3", "4", "5+")


@dataclass(frozen=True)
class Notice:
    """A warning: something a person should know about a reading.  `code` is one of WARNINGS."""

    code: str
    text: str

    def __post_init__(self) -> None:
        if self.code not in WARNINGS:
            raise ValueError(f"undeclared warning code {self.code!r}")


@dataclass(frozen=True)
class Part:
    """One part of an uncertainty; parts add up in quadrature."""

    what: str
    u: float


@dataclass(frozen=True)
class Quantity:
    """A measured value with its standard uncertainty and the parts that make it up."""

    value: float
    u: float
    parts: tuple[Part, ...] = ()

    @classmethod
    def of(cls, value: float, **parts: float) -> Quantity:
        """Build from parts named by keyword; underscores become spaces."""
        named = tuple(Part(k.replace("_", " "), abs(v)) for k, v in parts.items())
        return cls(value, math.sqrt(sum(p.u**2 for p in named)), named)


@dataclass(frozen=True)
class Thickness:
    """How thick the bait is (across the picture's depth), and where that comes from."""

    value: float
    u: float
    source: Literal["depth", "told", "photo"] = field(default="depth", metadata={"key": "from"})


@dataclass(frozen=True)
class Colour:
    """The colour of one zone.  `lab_seen` is what the surface shows under the card's calibration, `lab` the paint."""

    lab: Lab
    u: float
    u_lch: tuple[float, float, float]
    lab_seen: Lab
    u_seen: float
    share: float
    hex: str
    munsell: str | None
    name: str


@dataclass(frozen=True)
class Zone:
    kind: Literal["head", "side", "tail", "throat"]
    polygon_px: Polygon
    colour: Colour


@dataclass(frozen=True)
class Trace:
    """What a lost line tie leaves behind."""

    at_mm: Point | None
    kind: Literal["hole", "stump"]


@dataclass(frozen=True)
class LineTies:
    """Line ties that are there now.  `probabilities` follow TIE_COUNTS; `count` is None when too unsure to say."""

    count: int | None
    probabilities: tuple[float, ...] | None = field(metadata={"labels": TIE_COUNTS})
    at_px: Polygon = ()
    at_mm: Polygon | None = None
    traces: tuple[Trace, ...] = ()


@dataclass(frozen=True)
class Hangers:
    count: int
    at_px: Polygon
    at_mm: Polygon | None


@dataclass(frozen=True)
class Hooks:
    """Hooks that are on; a treble is one hook."""

    count: int
    at_px: Polygon


@dataclass(frozen=True)
class Eye:
    at_px: Point
    at_mm: Point | None
    diameter_mm: Quantity | None


@dataclass(frozen=True)
class Lip:
    present: bool
    probability: float


@dataclass(frozen=True)
class View:
    kind: Literal["side", "back", "belly", "end", "unsure"]
    probability: float


@dataclass(frozen=True)
class Pattern:
    kind: Literal["plain", "dots", "bars", "blend", "other"]
    lab: Lab | None
    coverage: float
    certainty: float


@dataclass(frozen=True)
class Ageing:
    """How far all paints of a piece have yellowed and faded, 0 (not) to 1: the share of blue light that the clear coat
    keeps back, and the share of chroma lost.  Only against a listed colourway can that be told."""

    yellowing: Quantity
    fading: Quantity


@dataclass(frozen=True)
class Measurement:
    """Everything read from one bait in one photo."""

    number: int
    outline_px: Polygon
    outline_mm: Polygon | None
    view: View
    nose_px: Point
    tail_px: Point
    nose: Literal["left", "right"]
    back: Literal["up", "down"]
    axis_deg: float
    shows: Literal["left", "right"]
    orientation_certainty: tuple[float, float] = field(metadata={"labels": ("nose", "back")})
    """Probability that nose and tail, and that back and belly, are the right way round."""
    length_mm: Quantity | None
    depth_mm: Quantity | None
    depth_to_length: Quantity
    thickness_mm: Thickness | None
    px_per_mm: float | None
    """At the bait, in its mid plane."""
    line_ties: LineTies | None
    hangers: Hangers | None
    hooks: Hooks | None
    eye: Eye | None
    lip: Lip | None
    back_colour: Colour | None
    belly_colour: Colour | None
    zones: tuple[Zone, ...]
    pattern: Pattern | None
    hard_to_read: tuple[str, ...]
    warnings: tuple[Notice, ...]


@dataclass(frozen=True)
class ColourwayMatch:
    code: str
    name: str
    probability: float
    delta_e_back: float | None
    delta_e_belly: float | None
    listed: bool


@dataclass(frozen=True)
class Evidence:
    """How one measured feature speaks for a candidate: `weight` is log10 of the likelihood ratio against an unlisted
    bait."""

    feature: str
    measured: str
    expected: str
    weight: float
    told: bool = False


@dataclass(frozen=True)
class Without:
    """What the answer would be if one feature had not been measured: the top answer (NONE_OF_THESE, NOT_COMPARABLE, or
    as `Candidate.name`), and its probability."""

    feature: str
    top: str
    probability: float


@dataclass(frozen=True)
class Candidate:
    """One maker, model, size and variant of a reference set, its colourways summed out."""

    maker: str
    model: str
    size: str | None
    variant: str | None
    set: int
    made: str | None
    known_by: str | None
    probability: float
    colourway: ColourwayMatch | None
    evidence: tuple[Evidence, ...]
    without: tuple[Without, ...] = ()
    """Of the first candidate only: what the answer would be without each feature."""

    @property
    def name(self) -> str:
        """MAKER / MODEL, then size and variant as far as they are told apart."""
        return " / ".join(part for part in (self.maker, self.model, self.size, self.variant) if part is not None)


@dataclass(frozen=True)
class MakerShare:
    maker: str
    probability: float


@dataclass(frozen=True)
class ModelShare:
    maker: str
    model: str
    probability: float


@dataclass(frozen=True)
class NewColourReason:
    code: str
    text: str


@dataclass(frozen=True)
class Settling:
    """Something that a person can measure or see and that tells two candidates apart: `key` of `--told`."""

    between: tuple[str, str]
    key: str
    text: str


@dataclass(frozen=True)
class Clash:
    """Something told that the photo does not show so; what was told counts, and both are said."""

    key: str
    told: str
    measured: str
    text: str


@dataclass(frozen=True)
class OtherSize:
    """A listed model whose sizes do not fit while all else does: it, or a copy of it, in a size that the set does not
    have.  Its probability is part of that of none of these."""

    maker: str
    model: str
    probability: float


@dataclass(frozen=True)
class Identification:
    """What a reference set says of one measurement.  The probabilities of all candidates, `none_of_these` (a bait that
    could stand in the set and does not) and `not_comparable` (jointed, of metal or soft: of a kind that the set does
    not have) sum to 1."""

    candidates: tuple[Candidate, ...]
    by_maker: tuple[MakerShare, ...]
    by_model: tuple[ModelShare, ...]
    none_of_these: float
    not_comparable: float
    colourway_new: float | None
    new_colour_reasons: tuple[NewColourReason, ...]
    would_settle: tuple[Settling, ...] = ()
    would_help: Settling | None = None
    """Where nothing that a person could tell settles an open answer: what would tell most, measured with care."""
    other_size: OtherSize | None = None
    """Where that is likely: which model in a size that the set does not have."""
    ageing: Ageing | None = None
    """Under the best listed colourway of the top candidate; None where none is near.  Its key stands with the bait's
    measurements."""


@dataclass(frozen=True)
class Bait:
    """One bait of a photo: what was measured, and, after ranking, what it may be.  `told`: what a person said of it,
    and `clashes`: where the photo shows otherwise; None when nothing was told."""

    measurement: Measurement
    identification: Identification | None = None
    told: tuple[Told, ...] | None = None
    clashes: tuple[Clash, ...] | None = None


@dataclass(frozen=True)
class Card:
    found: bool
    corners_px: Polygon | None
    px_per_mm: float | None
    tilt_deg: float | None
    camera_distance_mm: float | None
    exposure_ev: float | None
    gains: tuple[float, float, float] | None
    why_not: str | None


@dataclass(frozen=True)
class Scale:
    source: Literal["card", "line", "none"] = field(metadata={"key": "from"})
    px_per_mm: float | None
    u: float | None
    """Standard uncertainty of px_per_mm."""


@dataclass(frozen=True)
class SetAside:
    """A thing in the photo that was not measured as a bait, and why."""

    outline_px: Polygon
    reason: str


@dataclass(frozen=True)
class Slip:
    """A numbered slip lying beside the bait."""

    number: str
    corners_px: Polygon


@dataclass(frozen=True)
class RefsUsed:
    title: str
    sha256: str


@dataclass(frozen=True)
class Failure:
    code: str
    text: str


@dataclass(frozen=True)
class PhotoRecord:
    """Everything that one photo gave: the line of JSON of measure, identify and tray."""

    photo: str
    sha256: str | None
    width: int | None
    height: int | None
    version: str
    refs: tuple[RefsUsed, ...] | None
    """None when nothing was ranked."""
    card: Card | None
    scale: Scale | None
    slip: Slip | None
    warnings: tuple[Notice, ...]
    error: Failure | None
    set_aside: tuple[SetAside, ...]
    baits: tuple[Bait, ...]


NONE_OF_THESE, NOT_COMPARABLE = "none of these", "not comparable"
"""What the two answers beside the candidates are called."""


@dataclass(frozen=True)
class PieceShot:
    """One photo of a piece: the number of the bait taken (None if there is none), what it shows, and whether the joint
    answer rests on it; if not, why."""

    photo: str
    bait: int | None
    view: View | None
    used: bool
    why_not: str | None


@dataclass(frozen=True)
class PieceRecord:
    """Several photos of one piece taken together: the last line of `identify --same-piece`.  `bait` is None when no
    photo shows one; its places in pixels are those of a drawing, not of a photo."""

    photos: tuple[str, ...]
    version: str
    refs: tuple[RefsUsed, ...] | None
    shots: tuple[PieceShot, ...]
    warnings: tuple[Notice, ...]
    bait: Bait | None


WARNINGS: dict[str, str] = {
    # photo
    "no-bait": "Nothing in the photo looks like a bait.",
    "several-baits": "More than one bait was found; each is measured.",
    "profile-unreadable": "The photo's colour profile could not be read; sRGB was assumed.",
    # slips
    "slip-unread": "A slip lies in the photo and its code cannot be read, so nothing is numbered by it.",
    "slips-several": "Slips with different numbers lie in the photo, so none of them numbers it.",
    "slip-touches": "A slip lies against this bait or on its hooks, so line ties and depth are less sure.",
    # card and scale
    "no-card": "No grey card was found, so nothing is given in millimetres.",
    "card-doubtful": "More than one thing could be the card, or its sides are unclear.",
    "card-tilted": "The card is seen at a steep angle.",
    "card-uneven": "Light falls unevenly on the card.",
    "card-clipped": "The card is too bright or too dark to set colours by.",
    "card-covered": "Something lies over a corner of the card; its sides were seen well enough all the same.",
    "card-small": "The card is small in the picture.",
    "no-focal-length": "The photo does not say its focal length, so the height of the bait adds more doubt.",
    "cropped": "The photo was cut after it was taken, so its focal length no longer fits.",
    "lens-distortion": "Straight sides look bent: the lens distorts, so lengths away from the card are less sure.",
    "scale-line": "The scale is from a line on the table, not from a card.",
    # bait
    "touches-edge": "The bait is cut by the edge of the photo.",
    "outline-unclear": "Part of the outline is hidden or hardly stands out from the ground.",
    "nose-unsure": "Which end is the nose is not sure.",
    "back-unsure": "Which side is the back is not sure.",
    "ties-unsure": "The number of line ties cannot be told for sure.",
    "resolution-low": "Too few pixels on the bait to count small rings.",
    "not-side-view": "The bait does not seem to lie on its side.",
    "joint-seen": "A gap right across the body lets the ground through: the bait may be jointed.",
    # colour
    "colour-uncorrected": "Colours are not corrected, since there is no card to correct them by.",
    "colour-doubtful": "Glare, shadow or clipped light leaves the colour doubtful.",
    "hard-to-read": "Leaf or clear finish: its colour depends on the light.",
    # told
    "told-unused": "Something was told of a bait, but not which one, or of one that is not there: it was not used.",
    # several photos of one piece
    "piece-differs": "A photo does not seem to show the same piece as the others; it is left out of the joint answer.",
    "piece-unseen": "A photo shows no bait that could be taken; the joint answer rests on the others.",
    # ranking
    "same-model-twice": "The same maker and model stands in two reference sets; the first one counts.",
    "no-refs": "No reference set was chosen, so nothing is ranked.",
    "refs-empty": "The reference set has no models, so the answer can only be none of these.",
    "ageing-open": "Whether the paint has yellowed or faded cannot be told: no listed colour is near, or its finish "
    "depends on the light.",
    "size-open": "Without a scale, sizes are not ranked.",
}
"""Every warning code, with the plain words that explain it."""
