"""Closed contours: where tracing starts, even and curvature-adapted spacing, normals."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from identify.body.lobes import GroundShare, without_lobes
from identify.body.smooth import robust_fit
from identify.geometry import Array, polygon_area, resample_closed
from identify.stages import Region

STATIONS = 360
"""Vertices of an outline."""


def starting_contour(region: Region, share: GroundShare) -> Array | None:
    """The rough core's outline (n, 2) in pixels of the photo, clockwise as seen, without what sticks out of it, lightly
    smoothed; None when the region holds nothing that has an area.  `share`: how much of a polygon on the region's grid
    looks like ground.
    """
    for mask in (region.core, region.mask):
        points = _largest_outline(mask)
        if points is not None:
            break
    else:
        return None
    if polygon_area(points) < 0:  # y points down: clockwise as seen is positive
        points = points[::-1]
    whole = without_lobes(points, share)
    even = resample_closed(region.to_photo(whole), STATIONS)
    even = spaced(gaussian_filter1d(even, 2.5, axis=0, mode="wrap"))
    nothing, alike = np.zeros(STATIONS), np.ones(STATIONS)
    floor = 0.003 * float(np.ptp(even, axis=0).max())
    return spaced(robust_fit(even, normals(even), nothing, alike, 40.0, floor)[0])


def _largest_outline(mask: NDArray[np.bool_]) -> Array | None:
    """The border of a mask's largest part after a light opening, on the edges of its pixels rather than their centres;
    None below a dozen pixels."""
    padded = np.pad(mask.astype(np.uint8), 1)
    radius = round(0.12 * float(cv2.distanceTransform(padded, cv2.DIST_L2, 3).max()))
    if radius:
        disk = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
        padded = np.asarray(cv2.morphologyEx(padded, cv2.MORPH_OPEN, disk), np.uint8)
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


def hardware_beside(region: Region, points_px: Array, length: float) -> NDArray[np.bool_]:
    """Where (n,) something narrow of the region's mask stands out of a contour: a ring, a hook's shank, a plate.

    Wide stretches are no hardware: there the contour runs too far inside, or the mask has taken in a shadow.
    """
    n = normals(points_px)
    h, w = region.mask.shape
    out = np.zeros((3, len(points_px)), bool)
    for k, share in enumerate((0.015, 0.022, 0.03)):
        x, y = np.round(region.from_photo(points_px + share * length * n)).astype(int).T
        within = (x >= 0) & (y >= 0) & (x < w) & (y < h)
        out[k, within] = region.mask[y[within], x[within]]
    standing = out.sum(0) >= 2
    step = np.hypot(*(np.roll(points_px, -1, 0) - points_px).T)
    result = np.zeros(len(points_px), bool)
    for first, last in _runs(standing):
        run = np.arange(first, last + 1) % len(points_px)
        if step[run].sum() < 0.12 * length:
            reach = max(1, round(0.006 * length / max(float(step[run].mean()), 1e-6)))
            result[np.arange(first - reach, last + reach + 1) % len(points_px)] = True
    return result


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last index of each run of True in a closed sequence (last may exceed n - 1)."""
    n = len(flags)
    if flags.all() or not flags.any():
        return [(0, n - 1)] if flags.all() and n else []
    start = int(np.flatnonzero(~flags)[0])
    turned = np.roll(flags, -start).astype(int)
    edges = np.diff(np.concatenate([[0], turned, [0]]))
    return [
        (int(a) + start, int(b) - 1 + start)
        for a, b in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True)
    ]
