"""What a thing looks like from its contour alone, and whether a bait can look so.

A bait has a plausible size and proportion and one smooth contour, with rings or hooks on it; things made by ruler,
punch or cutter have straight parallel sides with corners, or are round.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from identify.separate.morphology import Mask

LENGTH_MM = (18.0, 260.0)
DEPTH_MM = (5.0, 90.0)
_RIM = 3
"""Pixels to the picture's edge within which a contour lies on it."""


@dataclass(frozen=True)
class Shape:
    """Describes a core: length and depth (sides of the smallest rectangle around it, px), its area against that
    rectangle's (1 for a rectangle, 0.785 for an ellipse), against its convex hull's, against the best four-cornered
    figure's, how much of the contour lies on the frame, how much of the thing is thin (hooks and rings) against its
    core, and how far two parallel sides run straight, against the length."""

    length: float
    depth: float
    filling: float
    solidity: float
    four_cornered: float
    on_frame: float
    thin: float
    straight: float

    @property
    def aspect(self) -> float:
        """Length over depth."""
        return self.length / max(self.depth, 1e-6)


def describe(core: Mask, thing: Mask, place: tuple[int, int], picture: tuple[int, ...]) -> tuple[Shape, Array]:
    """The shape of a core, and its contour (n, 2) in pixels of the picture.

    The masks are part of the picture from `place` (x, y) on; `picture`: its height and width.
    """
    contours, _ = cv2.findContours(core.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE, offset=place)
    contour = max(contours, key=cv2.contourArea)
    area = cv2.contourArea(contour) + cv2.arcLength(contour, True) / 2
    hull = np.asarray(cv2.convexHull(contour), np.int32)
    (_, _), sides, _ = cv2.minAreaRect(contour)
    length, depth = max(sides) + 1, min(sides) + 1
    hull_area = cv2.contourArea(hull) + cv2.arcLength(hull, True) / 2
    points: Array = contour[:, 0].astype(float)
    x, y = contour[:, 0].T
    far_x, far_y = picture[1] - _RIM, picture[0] - _RIM
    on_frame = float(((x < _RIM) | (y < _RIM) | (x >= far_x) | (y >= far_y)).mean())
    thin = float(np.count_nonzero(thing & ~core) / max(area, 1.0))
    shape = Shape(
        float(length), float(depth), float(area / (length * depth)), float(area / hull_area),
        _four_cornered(hull, hull_area), on_frame, thin, _parallel_sides(hull) / float(length),
    )  # fmt: skip
    return shape, points


def _four_cornered(hull: NDArray[np.int32], area: float) -> float:
    """Area of the hull against that of the smallest figure of few corners that its longest sides make: near 1 for a
    rectangle seen from any angle, 0.8 for an ellipse."""
    perimeter = cv2.arcLength(hull, True)
    for tolerance in (0.02, 0.03, 0.04, 0.06, 0.08, 0.1):
        corners = cv2.approxPolyDP(hull, tolerance * perimeter, True)
        if len(corners) <= 4:
            break
    if len(corners) != 4:
        return 0.0
    inner = cv2.contourArea(corners)
    return float(min(inner, area) / max(inner, area))


def _parallel_sides(hull: NDArray[np.int32]) -> float:
    """Length of the shorter of two straight sides that run parallel, to 5°; 0 when there are none."""
    corners = cv2.approxPolyDP(hull, max(1.5, 0.004 * cv2.arcLength(hull, True)), True)[:, 0].astype(float)
    sides = np.roll(corners, -1, 0) - corners
    lengths = np.hypot(*sides.T)
    best = 0.0
    for i in np.argsort(lengths)[::-1][:4]:
        across = np.abs(sides[:, 0] * sides[i, 1] - sides[:, 1] * sides[i, 0]) / np.maximum(lengths * lengths[i], 1e-9)
        twins = (across < np.sin(np.radians(5))) & ((sides @ sides[i]) < 0)
        if twins.any():
            best = max(best, float(min(lengths[i], lengths[twins].max())))
    return best


def why_not(shape: Shape, px_per_mm: float | None, picture: float, looks_right: bool = False) -> str | None:
    """Why a thing of this shape is no bait, in plain words; None when it may be one.

    `picture`: the geometric mean of the picture's sides in pixels, to judge sizes by without a scale.  `looks_right`:
    it surely looks like a bait's body, so that it may be bent as far as a hook.
    """
    if shape.aspect > 9.0 and shape.length > 0.06 * picture:
        return "too long and slender, like a pencil or a ruler"
    if px_per_mm is not None:
        length, depth = shape.length / px_per_mm, shape.depth / px_per_mm
        if length < LENGTH_MM[0] or depth < DEPTH_MM[0]:
            return "too small for a bait"
        if length > LENGTH_MM[1] or depth > DEPTH_MM[1]:
            return "too large for a bait"
    elif shape.length < 0.06 * picture:
        return "too small for a bait"
    if shape.thin > 1.5:
        return "mostly wire, like a loose hook"
    if shape.aspect < 1.18 and shape.filling < 0.85:
        return "round and flat like a coin"
    straight = shape.filling > 0.93 or shape.four_cornered > 0.95
    cut = shape.on_frame > 0 and shape.straight > 0.5
    if (
        cut
        or (straight and (shape.filling > 0.88 or shape.on_frame > 0))
        or (shape.straight > 0.7 and shape.thin < 0.1)
    ):
        return "straight parallel sides and corners, like a slip or a box"
    if shape.aspect < 1.2:
        return "as wide as it is long"
    if shape.on_frame > 0.2:
        return "cut by the frame"
    if shape.solidity < 0.7 and not looks_right:
        return "no smooth closed contour"
    return None
