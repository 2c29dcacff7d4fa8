"""Robust smoothing of a closed contour from edges measured along its normals."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.linalg import solveh_banded

from identify.geometry import Array

ALONG = 0.02
"""How firmly a vertex is held along the contour, against a weight of 1 across it."""
SETTLED = 0.02
"""Weights that change by less than this change the contour no more."""


@lru_cache(maxsize=4)
def _roughness(n: int) -> Array:
    """Sum of squared third differences of a sequence as a quadratic form: its lower bands (4, n)."""
    third = np.array([-1.0, 3.0, -3.0, 1.0])
    bands = np.zeros((4, n))
    for start in range(n - 3):
        for lag in range(4):
            bands[lag, start : start + 4 - lag] += third[: 4 - lag] * third[lag:]
    return bands


def fit_closed(points: Array, normals: Array, offsets: Array, weights: Array, wavelength: float) -> Array:
    """Smooth closed contour (n, 2) that meets `points` + `offsets` × `normals` as `weights` (0..1) ask.

    Least squares with a penalty on third differences, which leaves arcs of constant curvature alone; waves shorter than
    `wavelength` vertices are damped by more than half where the weight is 1.  Only the place along the normal is bound,
    the place along the contour hardly.  (Whittaker 1923 and Eilers 2003, for a closed curve in the plane; solved on the
    contour unrolled one and a half times, whose middle no longer feels the ends.)
    """
    n = len(points)
    pad = n // 4
    around = np.arange(-pad, n + pad) % n
    stiffness = (2 * np.sin(np.pi / wavelength)) ** -6.0
    w, (nx, ny) = weights[around], normals[around].T
    target = (points + offsets[:, None] * normals)[around]
    xx, xy, yy = w * nx**2 + ALONG * ny**2, (w - ALONG) * nx * ny, w * ny**2 + ALONG * nx**2
    total = len(around)
    bands = np.zeros((7, 2 * total))  # x and y of each vertex in turn
    rough = stiffness * _roughness(total)
    for lag in range(4):
        bands[2 * lag, 0::2] = rough[lag]
        bands[2 * lag, 1::2] = rough[lag]
    bands[0, 0::2] += xx
    bands[0, 1::2] += yy
    bands[1, 0::2] = xy
    right = np.column_stack([xx * target[:, 0] + xy * target[:, 1], xy * target[:, 0] + yy * target[:, 1]])
    solved: Array = solveh_banded(bands, right.ravel(), lower=True).reshape(total, 2)
    return solved[pad : pad + n]


def robust_fit(
    points: Array, normals: Array, offsets: Array, weights: Array, wavelength: float, floor: float, rounds: int = 4
) -> tuple[Array, Array]:
    """`fit_closed` with outliers taken out (Tukey's biweight on the residuals along the normal).

    Returns the contour (n, 2) and the residuals (n,).  `floor`: least scale of residuals in the contour's units.
    """
    w = weights.copy()
    fitted = points
    residual = np.zeros(len(points))
    for _ in range(rounds):
        fitted = fit_closed(points, normals, offsets, w, wavelength)
        residual = offsets - ((fitted - points) * normals).sum(1)
        sure = weights > 0.2
        scale = max(1.4826 * float(np.median(np.abs(residual[sure]))) if sure.any() else floor, floor)
        z = np.clip(residual / (4.7 * scale), -1, 1)
        before, w = w, weights * (1 - z**2) ** 2
        if np.abs(w - before).max() < SETTLED:
            break
    return fitted, residual
