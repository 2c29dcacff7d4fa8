"""The density of baits that no set lists: broad, learned from the set and from what lies beyond it.

Each feature has a broad density of its own.  Moments of the set's models are shrunk towards figures of the bench that
count as `PSEUDO` models, so that a set of one model, or of look-alikes only, stays open to others.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from identify.geometry import Array
from identify.rank.covariance import bodies
from identify.rank.noise import Noise
from identify.rank.rings import Indices, Rings

PSEUDO = 10.0
BEYOND = 1.15
"""Widens what the set shows: the models that are not in it are not all like those that are."""
COUNTS = 6
GRID = (-0.15, 1.15, -0.4, 0.4)
"""Where rings may sit: x from, x to, y from, y to, as fractions of the length."""
CELL = 0.01
NEAR, FAR = 0.015, 0.06
"""An unlisted bait's rings and eye sit where a listed one's do, near by, or anywhere: one third each.  Many kinds share
places, such as a hanger at the tail; those tell little."""
EYE_PLACE = ((0.11, 0.05), (0.04, 0.04))
"""Mean and sd of eyes of baits in general, as fractions of the length (bench)."""


@dataclass(frozen=True, eq=False)
class Background:
    """Means and standard deviations of unlisted baits, and shares (6,) of ring counts 0 to 5 and more.

    Outlines less `outline_mean` times `outline_whitener` (k, k) are white; `outline_log_scale` the logarithm of the
    covariance's volume.  `tie_grid`, `hanger_grid`, `eye_grid`: log density of a
    place per unit area (length = 1) on cells of GRID.
    """

    ln_length: tuple[float, float]
    ln_aspect: tuple[float, float]
    outline_mean: Array
    outline_whitener: Array
    outline_log_scale: float
    tie_counts: Array
    hanger_counts: Array
    tie_grid: Array
    hanger_grid: Array
    eye_grid: Array


def shrunk(values: Array, share: Array, models: int, mean: Array, covariance: Array) -> tuple[Array, Array]:
    """Mean (k,) and covariance (k, k) of values (n, k) that weigh `share` and count as `models`, shrunk towards a
    prior's."""
    known = ~np.isnan(values).any(1)
    weight = share[known] * models
    total = PSEUDO + weight.sum()
    centre = (PSEUDO * mean + weight @ values[known]) / total
    gap, off = values[known] - centre, mean - centre
    spread = PSEUDO * (covariance + np.outer(off, off)) + (gap * weight[:, None]).T @ gap
    return centre, BEYOND**2 * spread / total


def _line(values: Array, share: Array, models: int, broad: tuple[float, float]) -> tuple[float, float]:
    """`shrunk` of single values (n,), as mean and sd."""
    mean, spread = shrunk(values[:, None], share, models, np.array(broad[:1]), np.array([[broad[1] ** 2]]))
    return float(mean[0]), float(np.sqrt(spread[0, 0]))


def _counts(count: Indices, share: Array, models: int, broad: tuple[float, ...]) -> Array:
    known = count >= 0
    seen = np.bincount(np.minimum(count[known], COUNTS - 1).astype(int), share[known], COUNTS) * models
    mixed: Array = (seen + PSEUDO * np.array(broad)) / (seen.sum() + PSEUDO)
    return mixed


def _centres() -> tuple[Array, Array]:
    x0, x1, y0, y1 = GRID
    x, y = (np.arange(round((b - a) / CELL)) * CELL + a + CELL / 2 for a, b in ((x0, x1), (y0, y1)))
    return np.meshgrid(x, y, indexing="ij")


def _anywhere() -> Array:
    x0, x1, y0, y1 = GRID
    return np.full(_centres()[0].shape, 1 / ((x1 - x0) * (y1 - y0)))


def _eyes_anywhere() -> Array:
    (mx, my), (sx, sy) = EYE_PLACE
    x, y = _centres()
    density = np.exp(-0.5 * (((x - mx) / sx) ** 2 + ((y - my) / sy) ** 2)) / (2 * np.pi * sx * sy)
    mixed: Array = 0.8 * density + 0.2 * _anywhere()
    return mixed


def _blurred(density: Array, sd: float) -> Array:
    """Gaussian blur to four standard deviations, the edge going on as it ends."""
    size = 2 * round(4 * sd) + 1
    return np.asarray(cv2.GaussianBlur(density, (size, size), sd, borderType=cv2.BORDER_REPLICATE), float)


def _grid(places: Array, share: Array, anywhere: Array) -> Array:
    """Log density of places (n, m, 2) of forms that weigh `share` (n,)."""
    at = places.reshape(-1, 2)
    known = ~np.isnan(at[:, 0])
    mixed: Array = anywhere
    if known.any():
        weight = np.repeat(share, places.shape[1])[known]
        x0, x1, y0, y1 = GRID
        inside = np.clip(at[known], [x0, y0], [x1, y1])
        frame = ((x0, x1), (y0, y1))
        seen, _, _ = np.histogram2d(inside[:, 0], inside[:, 1], bins=anywhere.shape, range=frame, weights=weight)
        seen /= seen.sum() * CELL**2
        mixed = (anywhere + _blurred(seen, NEAR / CELL) + _blurred(seen, FAR / CELL)) / 3
    density: Array = np.log(mixed)
    return density


def grid_log_density(grid: Array, places: Array) -> Array:
    """Log density (m,) of rings at places (m, 2); beyond the grid its nearest cell."""
    i = np.clip(((places[:, 0] - GRID[0]) / CELL).astype(int), 0, grid.shape[0] - 1)
    j = np.clip(((places[:, 1] - GRID[2]) / CELL).astype(int), 0, grid.shape[1] - 1)
    density: Array = grid[i, j]
    return density


def background(
    noise: Noise,
    share: Array,
    models: int,
    ln_length: Array,
    ln_aspect: Array,
    outline: Array,
    ties: Rings,
    hangers: Rings,
    eye_place: Array,
) -> Background:
    """Learn the background of a set; `share` (n,) is each form's part, `models` how many models there are."""
    mean, covariance = shrunk(outline, share, models, *bodies())
    factor = np.linalg.cholesky(covariance)
    return Background(
        ln_length=_line(ln_length, share, models, noise.length_broad),
        ln_aspect=_line(ln_aspect, share, models, noise.aspect_broad),
        outline_mean=mean,
        outline_whitener=np.linalg.inv(factor).T,
        outline_log_scale=float(np.log(np.diag(factor)).sum()),
        tie_counts=_counts(ties.count, share, models, noise.tie_broad),
        hanger_counts=_counts(hangers.count, share, models, noise.hanger_broad),
        tie_grid=_grid(ties.places.astype(float), share, _anywhere()),
        hanger_grid=_grid(hangers.places.astype(float), share, _anywhere()),
        eye_grid=_grid(eye_place[:, None], share, _eyes_anywhere()),
    )
