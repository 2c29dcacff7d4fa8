"""Closed contours: where tracing starts, even and curvature-adapted spacing, normals."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from identify.geometry import Array, polygon_area, resample_closed
from identify.stages import Region

STATIONS = 360
"""Vertices of an outline."""


def starting_contour(region: Region) -> Array | None:
    """The rough core's outline (n, 2) in pixels of the photo, clockwise as seen, lightly smoothed; None when the region
    holds nothing that has an area."""
    for mask in (region.core, region.mask):
        points = _largest_outline(mask)
        if points is not None:
            break
    else:
        return None
    full = region.to_photo(points)
    if polygon_area(full) < 0:  # y points down: clockwise as seen is positive
        full = full[::-1]
    even = resample_closed(full, STATIONS)
    smooth: Array = gaussian_filter1d(even, 2.5, axis=0, mode="wrap")
    return spaced(smooth)


def _largest_outline(mask: NDArray[np.bool_]) -> Array | None:
    """The border of a mask's largest part, on the edges of its pixels rather than their centres."""
    # the border runs through pixel centres: doubling the picture puts it a quarter of a pixel from the true edge
    double = cv2.resize(np.pad(mask.astype(np.uint8), 1), None, fx=2, fy=2, interpolation=cv2.INTER_NEAREST)
    found, _ = cv2.findContours(double, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not found:
        return None
    largest = max(found, key=cv2.contourArea)
    if cv2.contourArea(largest) < 4 * 12:
        return None
    points: Array = (largest[:, 0].astype(float) + 0.5) / 2 - 0.5 - 1
    return points


def spaced(points: Array, n: int = STATIONS) -> Array:
    """n points along a closed contour, closer together where it bends, so that small round ends keep their shape."""
    even = resample_closed(points, 2 * n)
    step = np.gradient(np.vstack([even[-3:], even, even[:3]]), axis=0)
    tangent = gaussian_filter1d(step, 3, axis=0)[3:-3]
    angle = np.unwrap(np.arctan2(tangent[:, 1], tangent[:, 0]))
    bend = np.abs(gaussian_filter1d(np.gradient(angle), 4, mode="wrap"))
    density = 1 + 2 * np.minimum(bend / np.pi * n, 2.0)  # a circle of the same length bends by pi/n a point
    density = gaussian_filter1d(density, 6, mode="wrap")
    s = np.concatenate([[0.0], np.cumsum(density)])
    closed = np.vstack([even, even[:1]])
    t = np.linspace(0, s[-1], n, endpoint=False)
    return np.column_stack([np.interp(t, s, closed[:, k]) for k in range(2)])


def normals(points: Array) -> Array:
    """Unit normals (n, 2) that point out of a contour that runs clockwise as seen."""
    tangent = gaussian_filter1d(np.roll(points, -1, 0) - np.roll(points, 1, 0), 1.5, axis=0, mode="wrap")
    unit = tangent / np.maximum(np.hypot(*tangent.T)[:, None], 1e-9)
    return np.column_stack([unit[:, 1], -unit[:, 0]])
