"""Outlines in the bait's own frame: nose left at the origin, back up, x along the maximum Feret diameter.

An outline is described apart from its size and its proportion: the heights of its upper and lower side at even
stations, divided by its depth (`profile`), and those as sums of sine waves (`descriptors`).  Turning nose and tail or
back and belly round only changes signs of the descriptors (`TURNED`).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from identify.geometry import Array, max_feret

STATIONS = 60
THICKNESS_WAVES = 10
CAMBER_WAVES = 6
DESCRIPTORS = THICKNESS_WAVES + CAMBER_WAVES


def to_frame(points: ArrayLike, nose: ArrayLike, tail: ArrayLike, back_is_left: bool, y_down: bool = True) -> Array:
    """Move points (n, 2) into the bait's frame: origin at `nose`, +x towards `tail`, +y towards the back.

    `back_is_left`: the back lies to the left hand of one who walks from nose to tail, as seen.  `y_down`: the points'
    own y axis points down, as in pictures and in SVG.
    """
    start, end = np.asarray(nose, float), np.asarray(tail, float)
    ex = (end - start) / np.hypot(*(end - start))
    left = np.array([ex[1], -ex[0]]) if y_down else np.array([-ex[1], ex[0]])
    ey = left if back_is_left else -left
    framed: Array = (np.asarray(points, float) - start) @ np.column_stack([ex, ey])
    return framed


def frame_of(points: ArrayLike, nose_hint: ArrayLike) -> tuple[Array, Array]:
    """The Feret ends of an outline as (nose, tail), the nose being the one nearer to the hint."""
    a, b = max_feret(points)
    hint = np.asarray(nose_hint, float)
    return (a, b) if np.hypot(*(a - hint)) <= np.hypot(*(b - hint)) else (b, a)


def profile(outline: ArrayLike, n: int = STATIONS) -> Array:
    """Heights (2, n) of the upper and the lower side, divided by the depth, at n stations from nose to tail.

    `outline` (m, 2) is closed and lies in the bait's frame, in any unit.  Station i lies at (i + ½) / n of the extent
    in x, which is the Feret length.  Where the outline crosses a station more than twice, the outermost ones count.
    """
    pts = np.asarray(outline, float)
    heights: Array = profiles(pts, [len(pts)], n)[0]
    return heights


def profiles(points: Array, counts: ArrayLike, n: int = STATIONS) -> Array:
    """As `profile` (k, 2, n), of k outlines whose points stand one after the other, so many of each."""
    ends = np.cumsum(counts)
    starts = np.concatenate([[0], ends[:-1]])
    y = points[:, 1]
    depth = np.maximum.reduceat(y, starts) - np.minimum.reduceat(y, starts)
    heights: Array = _heights(points, ends, (np.arange(n) + 0.5) / n) / depth[:, None, None]
    return heights


def heights_at(outline: ArrayLike, stations: ArrayLike) -> Array:
    """Heights (2, n) of the upper and the lower side of an outline (m, 2) in the bait's frame, in its own unit, at
    stations (n,) told as rising fractions of its extent in x, strictly between 0 and 1."""
    pts = np.asarray(outline, float)
    heights: Array = _heights(pts, np.array([len(pts)]), np.asarray(stations, float))[0]
    return heights


def _heights(points: Array, ends: NDArray[np.int64], at: Array) -> Array:
    """As `heights_at` (k, 2, n), of k outlines whose points stand one after the other up to `ends` (k,)."""
    starts = np.concatenate([[0], ends[:-1]])
    which = np.repeat(np.arange(len(ends)), ends - starts)
    after = np.arange(1, len(points) + 1)
    after[ends - 1] = starts
    x, y0 = points.T
    lowest = np.minimum.reduceat(x, starts)
    x0 = (x - lowest[which]) / (np.maximum.reduceat(x, starts) - lowest)[which]
    x1, y1 = x0[after], y0[after]
    n = len(at)
    # every edge of an outline covers a run of stations: list all pairs of edge and station that meet
    low = np.searchsorted(at, np.minimum(x0, x1))
    counts = np.searchsorted(at, np.maximum(x0, x1)) - low
    edge = np.repeat(np.arange(len(points)), counts)
    station = np.arange(len(edge)) - np.repeat(np.cumsum(counts) - counts, counts) + low[edge]
    share = (at[station] - x0[edge]) / (x1[edge] - x0[edge])
    y = y0[edge] + share * (y1[edge] - y0[edge])
    upper, lower = np.full(len(ends) * n, -np.inf), np.full(len(ends) * n, np.inf)
    place = which[edge] * n + station
    np.maximum.at(upper, place, y)
    np.minimum.at(lower, place, y)
    return np.stack([upper.reshape(-1, n), lower.reshape(-1, n)], axis=1)


@lru_cache(maxsize=8)
def waves(n: int = STATIONS, orders: int = THICKNESS_WAVES) -> Array:
    """Sine waves (orders, n) at the stations of `profile`: wave k has k half periods from nose to tail."""
    at = (np.arange(n) + 0.5) / n
    basis: Array = np.sin(np.pi * np.outer(np.arange(1, orders + 1), at))
    return basis


def descriptors(heights: ArrayLike) -> Array:
    """Sine coefficients (..., DESCRIPTORS) of a `profile` (..., 2, n): first of the thickness (upper minus lower side),
    then of the camber (the mean of both, how the body bends)."""
    both = np.asarray(heights, float)
    upper, lower = both[..., 0, :], both[..., 1, :]
    basis = (waves(both.shape[-1]) * (2 / both.shape[-1])).T
    thickness, camber = (upper - lower) @ basis, (upper + lower) / 2 @ basis[:, :CAMBER_WAVES]
    return np.concatenate([thickness, camber], axis=-1)


def heights_from(found: ArrayLike, n: int = STATIONS) -> Array:
    """The smooth profile (2, n) that `descriptors` describe; what the finer waves held is gone."""
    values, basis = np.asarray(found, float), waves(n)
    thickness = values[:THICKNESS_WAVES] @ basis
    camber = values[THICKNESS_WAVES:] @ basis[:CAMBER_WAVES]
    smooth: Array = np.vstack([camber + thickness / 2, camber - thickness / 2])
    return smooth


def _turned() -> Array:
    order = np.concatenate([np.arange(1, THICKNESS_WAVES + 1), np.arange(1, CAMBER_WAVES + 1)])
    camber = np.arange(DESCRIPTORS) >= THICKNESS_WAVES
    ends, sides = np.where(order % 2 == 0, -1.0, 1.0), np.where(camber, -1.0, 1.0)
    return np.vstack([np.ones(DESCRIPTORS), sides, ends, ends * sides])


TURNED = _turned()
"""Signs (4, DESCRIPTORS) that turn descriptors round: as they are, back and belly, nose and tail, both."""


def _gram() -> Array:
    waves_alone = np.array([heights_from(one).ravel() for one in np.eye(DESCRIPTORS)])
    gram: Array = waves_alone @ waves_alone.T / (2 * STATIONS)
    return gram


_GRAM = _gram()


def rms_height(found: ArrayLike) -> Array:
    """Root mean square height (...) of the smooth profiles that descriptors (..., DESCRIPTORS) describe; of a
    difference of two, how far the outlines lie apart, as a fraction of the depth."""
    values = np.asarray(found, float)
    squared: Array = (values @ _GRAM * values).sum(-1)
    return np.sqrt(squared)
