"""What passes between the stages of measuring one photo: frozen values; those that hold pixels compare by identity and
keep their arrays read-only.

    Photo ──card──▶ Calibration ──separate──▶ Region ──closeup──▶ Closeup ──body──▶ Body ──size──▶ Sizing
          ──hardware──▶ Hardware ──orient──▶ Pose ──paint──▶ Paint
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from identify.geometry import Array
from identify.records import Colour, Notice, Pattern, Polygon, Quantity, SetAside, Thickness, Zone
from identify.settings import Point

Window = tuple[int, int, int, int]
"""Part of a picture: x0, y0, x1, y1 in pixels, half open."""


@dataclass(frozen=True, eq=False)
class Region:
    """One thing that may be a bait, with its surroundings.

    Arrays cover `window` of the photo, each of their pixels averaging `shrink` × `shrink` of the photo's.
    `mask` (h, w) bool: the thing, body and hardware, without its shadow.  `ground` (h, w, 3) float32, linear RGB as in
    the photo: the ground as it would look there, lit but without thing and shadow.  `core` (h, w) bool: the body
    without thin parts, roughly.
    """

    window: Window
    shrink: int
    mask: NDArray[np.bool_]
    core: NDArray[np.bool_]
    ground: NDArray[np.float32]
    touches_edge: bool

    @property
    def middle_px(self) -> Array:
        """The middle (2,) of the core, in pixels of the photo."""
        about = cv2.moments(self.core.view(np.uint8), binaryImage=True)
        middle: Array = self.to_photo([[about["m10"] / about["m00"], about["m01"] / about["m00"]]])[0]
        return middle

    @property
    def rim_px(self) -> Array:
        """The convex hull (n, 2) of the core, in pixels of the photo."""
        return self.to_photo(cv2.convexHull(np.argwhere(self.core)[:, ::-1].astype(np.float32))[:, 0])

    def to_photo(self, points: ArrayLike) -> Array:
        """Points (n, 2) of the arrays in pixels of the photo."""
        full: Array = (np.asarray(points, float) + 0.5) * self.shrink - 0.5 + np.array(self.window[:2], float)
        return full

    def from_photo(self, points_px: ArrayLike) -> Array:
        """The inverse of `to_photo`."""
        own: Array = (np.asarray(points_px, float) - np.array(self.window[:2], float) + 0.5) / self.shrink - 0.5
        return own


@dataclass(frozen=True, eq=False)
class Separation:
    """All things of one photo: those that may be baits in reading order, and those set aside with the reason."""

    regions: tuple[Region, ...]
    set_aside: tuple[SetAside, ...]
    warnings: tuple[Notice, ...] = ()


@dataclass(frozen=True, eq=False)
class Body:
    """The body's outline without hardware: closed, sub-pixel, clockwise as seen in the picture.

    `outline_px` (n, 2) in pixels of the photo.  `clear` (n,) bool: False where the edge was bridged (under a wire, in
    shadow, out of the frame).  `u_edge_px`: standard uncertainty of the edge's place that all of it shares;
    `u_ends_px` and `u_flanks_px`: of its extents along and across its Feret diameter (None: two such edges).
    """

    outline_px: Array
    clear: NDArray[np.bool_]
    u_edge_px: float
    warnings: tuple[Notice, ...] = ()
    u_ends_px: float | None = None
    u_flanks_px: float | None = None


@dataclass(frozen=True, eq=False)
class Sizing:
    """Body measured in millimetres (None without a scale) and in proportion.

    `ends_px`: the two ends of the maximum Feret diameter; which is the nose is not yet known.
    `height_mm`: of the bait's mid plane above the card's top face.
    """

    ends_px: tuple[Point, Point]
    length_mm: Quantity | None
    depth_mm: Quantity | None
    depth_to_length: Quantity
    thickness_mm: Thickness | None
    height_mm: float
    px_per_mm: float | None


@dataclass(frozen=True)
class Ring:
    """A wire ring at the body's edge (line tie or hanger; which, is decided with the orientation).

    `root_px`: where it meets the outline.  `probability`: that there is a ring here at all.  `hooked`: a hook hangs in
    it.
    """

    at_px: Point
    root_px: Point
    outer_diameter_px: float
    probability: float
    hooked: bool
    tie_like: float = 0.5
    """Probability that it is a line tie, not a hanger, by its looks alone, given that it is a ring."""


@dataclass(frozen=True)
class HookSeen:
    at_px: Point
    probability: float


@dataclass(frozen=True)
class EyeSeen:
    at_px: Point
    diameter_px: float
    probability: float


@dataclass(frozen=True)
class PlateSeen:
    """A lip or plate that stands out of the body."""

    root_px: Point
    tip_px: Point
    probability: float


@dataclass(frozen=True)
class Hardware:
    """What sits on or hangs from the body, before nose and back are known."""

    rings: tuple[Ring, ...]
    hooks: tuple[HookSeen, ...]
    eyes: tuple[EyeSeen, ...]
    plates: tuple[PlateSeen, ...]
    traces: tuple[tuple[Point, Literal["hole", "stump"]], ...] = ()
    warnings: tuple[Notice, ...] = ()


@dataclass(frozen=True)
class Pose:
    """Which end is the nose and which side the back, and what the rings are, decided jointly.

    `ties` and `hangers` index `Hardware.rings`, ties from nose to tail.  `tie_probabilities` follow TIE_COUNTS.
    """

    nose_px: Point
    tail_px: Point
    back_is_left: bool
    """The back lies to the left hand of one who walks from nose to tail in the picture as displayed."""
    p_nose: float
    p_back: float
    ties: tuple[int, ...]
    hangers: tuple[int, ...]
    eye: int | None
    lip_probability: float
    tie_probabilities: tuple[float, ...]


@dataclass(frozen=True)
class Paint:
    back: Colour | None
    belly: Colour | None
    zones: tuple[Zone, ...]
    pattern: Pattern | None
    hard_to_read: tuple[str, ...]
    warnings: tuple[Notice, ...] = ()


def as_polygon(points: ArrayLike) -> Polygon:
    """An (n, 2) array as a tuple of points."""
    x, y = np.asarray(points, float).reshape(-1, 2).T.tolist()
    return tuple(zip(x, y, strict=True))
