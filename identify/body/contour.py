"""Closed contours: where tracing starts, even and curvature-adapted spacing, normals."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from identify.body.smooth import robust_fit
from identify.closeup import Closeup
from identify.geometry import Array, polygon_area, resample_closed

STATIONS = 360
"""Vertices of an outline."""
SHARPEST = 2.7
"""Bends so many times a circle's have the most vertices: more would follow noise at blunt ends, fewer round off pointed
ones."""
WIDE = 2.5
"""Pixels of the close-up beyond which the step from body to ground is no edge."""
STUB, TAPERED = 0.12, 0.85
"""What is thinner than this share of the body sticks out: a wire taken for body, unless its area is clearly less than
that of a strip as broad at its root, as a pointed tail's is."""


def silhouette(seen: Closeup) -> tuple[Array, Array] | None:
    """Where body and ground are equally likely: the contour (n, 2) in pixels of the close-up, clockwise as seen, and
    the width (n,) of the step from the one to the other; None when there is no body."""
    points = _largest_outline(seen.body > 0.5)
    if points is None:
        return None
    if polygon_area(points) < 0:  # y points down: clockwise as seen is positive
        points = points[::-1]
    points = spaced(gaussian_filter1d(resample_closed(points, STATIONS), 1.0, axis=0, mode="wrap"))
    width = np.zeros(STATIONS)
    for reach, rounds in ((3.0, 2), (1.5, 4)):
        n = normals(points)
        offsets = np.arange(-reach, reach + 0.01, 0.25)
        x, y = (points[:, None] + offsets[:, None] * n[:, None]).astype(np.float32).transpose(2, 0, 1)
        p = cv2.remap(seen.body, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        place, width = _crossing(p.astype(float), offsets)
        points = spaced(robust_fit(points, n, place, np.where(width < WIDE, 1.0, 0.3), 9.0, 0.2, rounds)[0])
    return points, width


def _crossing(p: Array, offsets: Array) -> tuple[Array, Array]:
    """Along each row, from inside to outside, the offset where it falls through a half, nearest to 0; and how wide the
    step is."""
    falls = (p[:, :-1] >= 0.5) & (p[:, 1:] < 0.5)
    distance = np.where(falls, np.abs(offsets[:-1] + offsets[1:]) / 2, np.inf)
    k = distance.argmin(1)
    rows = np.arange(len(p))
    high, low = p[rows, k], p[rows, k + 1]
    step = offsets[1] - offsets[0]
    place = offsets[k] + np.where(falls.any(1), (high - 0.5) / np.maximum(high - low, 1e-6), 0.0) * step
    found = falls.any(1)
    unsure = ((p > 0.12) & (p < 0.88)).sum(1) * step
    return np.where(found, place, 0.0), np.where(found, unsure, offsets[-1] - offsets[0])


def _largest_outline(mask: NDArray[np.bool_]) -> Array | None:
    """The border of a mask's largest part after a light opening, on the edges of its pixels rather than their centres;
    None below a dozen pixels."""
    padded = np.pad(mask.astype(np.uint8), 1)
    padded = _without_stubs(padded)
    # the border runs through pixel centres: doubling the picture puts it a quarter of a pixel from the true edge
    double = cv2.resize(padded, None, fx=2, fy=2, interpolation=cv2.INTER_NEAREST)
    found, _ = cv2.findContours(double, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not found:
        return None
    largest = max(found, key=cv2.contourArea)
    if cv2.contourArea(largest) < 4 * 12:
        return None
    points: Array = (largest[:, 0].astype(float) + 0.5) / 2 - 0.5 - 1
    return points


def _without_stubs(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A mask opened by STUB of its half-breadth, and the tapered ends that this takes off put back."""
    radius = round(STUB * float(cv2.distanceTransform(mask, cv2.DIST_L2, 3).max()))
    if not radius:
        return mask
    disk = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    opened = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, disk), np.uint8)
    count, parts, stats, _ = cv2.connectedComponentsWithStats(mask - opened)
    for k in range(1, count):
        x, y, w, h, area = stats[k]
        here = np.s_[y - 1 : y + h + 1, x - 1 : x + w + 1]  # the mask ends before the plane does
        part, away = parts[here] == k, cv2.distanceTransform(1 - opened[here], cv2.DIST_L2, 3)
        root = np.count_nonzero(part & (away < 1.3))  # one pixel of the part along each of the root's
        if area < TAPERED * root * away[part].max():
            opened[here][part] = 1
    return opened


def spaced(points: Array, n: int = STATIONS) -> Array:
    """n points along a closed contour, closer together where it bends, so that small round ends keep their shape."""
    even = resample_closed(points, 2 * n)
    step = np.gradient(np.vstack([even[-3:], even, even[:3]]), axis=0)
    tangent = gaussian_filter1d(step, 3, axis=0)[3:-3]
    angle = np.unwrap(np.arctan2(tangent[:, 1], tangent[:, 0]))
    bend = np.abs(gaussian_filter1d(np.gradient(angle), 4, mode="wrap"))
    density = 1 + 2 * np.minimum(bend / np.pi * n, SHARPEST)  # a circle of the same length bends by pi/n a point
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


def hardware_beside(seen: Closeup, points: Array) -> NDArray[np.bool_]:
    """Where (n,) a ring, a hook or a lip touches or crosses a contour (n, 2) of the close-up."""
    wire = np.maximum(np.maximum(seen.tie, seen.hanger), np.maximum(seen.hook, seen.lip))
    wide = cv2.dilate(wire, np.ones((5, 5), np.uint8))
    x, y = points.astype(np.float32).T
    here = cv2.remap(wide, x[None], y[None], cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)[0]
    beside: NDArray[np.bool_] = here > 0.3
    return beside
