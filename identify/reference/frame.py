"""The unit frame in which outlines and places of different pieces are compared: x as a fraction of the length from the
nose, y as a fraction of the depth, up to the back."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike

from identify.geometry import Array, extent_across
from identify.outline import descriptors, frame_of, heights_at, to_frame, waves

POINTS = 90
STATIONS: Array = (1 - np.cos(np.pi * (np.arange(POINTS) + 0.5) / POINTS)) / 2
"""Denser towards the ends, where a blunt nose rises steeply."""
THINNEST = 0.004
"""Of the depth: sides that met would make an outline that touches itself."""
_EVEN: Array = (np.arange(waves().shape[1]) + 0.5) / waves().shape[1]
TURN_NAMES = ("as read", "back and belly swapped", "nose and tail swapped", "turned round")


def sides(outline: ArrayLike) -> Array:
    """Upper and lower side (2, POINTS) of a closed outline (n, 2) in the bait's frame."""
    points = np.asarray(outline, float)
    heights: Array = heights_at(points, STATIONS) / np.ptp(points[:, 1])
    return heights


def closed(heights: ArrayLike, length_mm: float, depth_mm: float) -> Array:
    """The closed outline (n, 2) in the bait's frame of two sides, brought to exactly this length and depth."""
    upper, lower = np.asarray(heights, float)
    middle, half = (upper + lower) / 2, np.maximum((upper - lower) / 2, THINNEST / 2)
    upper, lower = middle + half, middle - half
    ends = np.array([[0.0, (upper[0] + lower[0]) / 2], [1.0, (upper[-1] + lower[-1]) / 2]])
    points = np.vstack(
        [ends[:1], np.column_stack([STATIONS, upper]), ends[1:], np.column_stack([STATIONS, lower])[::-1]]
    ) * (length_mm, depth_mm)
    for _ in range(3):  # stretching turns the longest diameter a little
        nose, tail = frame_of(points, points[0])
        points = to_frame(points, nose, tail, back_is_left=True, y_down=False)
        depth = extent_across(points, (0.0, 0.0), (1.0, 0.0))
        points = points * (length_mm / float(np.hypot(*(tail - nose))), depth_mm / depth)
    return points


def shape_of(heights: ArrayLike) -> Array:
    """The descriptors (`identify.outline`) of two sides."""
    both = np.asarray(heights, float)
    return descriptors(np.vstack([np.interp(_EVEN, STATIONS, side) for side in both]))


def turned(heights: ArrayLike, way: int) -> Array:
    """Two sides turned round: 1 back for belly, 2 nose for tail, 3 both."""
    both = np.asarray(heights, float)
    if way & 1:
        both = -both[::-1]
    return both[:, ::-1] if way & 2 else both


def turned_places(places: ArrayLike, way: int) -> Array:
    """Places (m, 2) turned round as `turned` does."""
    at = np.asarray(places, float).reshape(-1, 2)
    x = 1 - at[:, 0] if way & 2 else at[:, 0]
    return np.column_stack([x, -at[:, 1] if way & 1 else at[:, 1]])


def from_nose(x: Iterable[float], unit: str, digits: int = 1) -> str:
    """Places along the body, in words; a ring in front of the nose has a negative one."""
    rounded = [round(float(v), digits) for v in x]
    words = [f"{abs(v):.{digits}f}" + (f" {unit} before" if v < 0 else "") for v in rounded]
    listed = f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else words[0]
    return f"{listed} the nose" if words[-1].endswith("before") else f"{listed} {unit} from the nose"
