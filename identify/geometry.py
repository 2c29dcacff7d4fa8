"""Plane geometry: Feret diameters, homographies, polygons.  Pure functions of arrays."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def apply_homography(matrix: ArrayLike, points: ArrayLike) -> Array:
    """Map (n, 2) points through a 3 × 3 homography."""
    pts = np.atleast_2d(np.asarray(points, float))
    q = np.column_stack([pts, np.ones(len(pts))]) @ np.asarray(matrix, float).T
    flat: Array = q[:, :2] / q[:, 2:]
    return flat


def max_feret(points: ArrayLike) -> tuple[Array, Array]:
    """The two (2,) points that lie furthest apart: the ends of the maximum Feret diameter, what a caliper reads."""
    pts = np.asarray(points, float)
    # the hull is looked for in single precision: about the middle, so that places far off lose nothing
    middle = (pts - pts.mean(0)).astype(np.float32)
    hull = pts[cv2.convexHull(middle[:, None], returnPoints=False).ravel()]
    x, y = hull.T
    dx, dy = np.subtract.outer(x, x), np.subtract.outer(y, y)
    d = np.add(np.square(dx, out=dx), np.square(dy, out=dy), out=dx)
    i, j = np.unravel_index(int(np.argmax(d)), d.shape)
    return hull[i], hull[j]


def extent_across(points: ArrayLike, start: ArrayLike, end: ArrayLike) -> float:
    """Extent of the points at right angles to the line from start to end."""
    axis = np.asarray(end, float) - np.asarray(start, float)
    normal = np.array([-axis[1], axis[0]]) / np.hypot(*axis)
    across = np.asarray(points, float) @ normal
    return float(across.max() - across.min())


def polygon_area(points: ArrayLike) -> float:
    """Signed area of a closed polygon, positive when counter-clockwise with y up (shoelace formula)."""
    x, y = np.asarray(points, float).T
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2)


def resample_closed(points: ArrayLike, n: int) -> Array:
    """n points evenly spaced along a closed polygon, the first one kept."""
    pts = np.asarray(points, float)
    closed = np.vstack([pts, pts[:1]])
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    t = np.linspace(0, s[-1], n, endpoint=False)
    return np.column_stack([np.interp(t, s, closed[:, k]) for k in range(2)])
