"""Robust smoothing of a closed contour from edges measured along its normals."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

from identify.geometry import Array


@lru_cache(maxsize=4)
def _roughness(n: int) -> sparse.csc_matrix:
    """Sum of squared third differences of a closed sequence as a quadratic form (n, n)."""
    d = sparse.eye(n, format="csr")
    shift = sparse.csr_matrix((np.ones(n), (np.arange(n), (np.arange(n) + 1) % n)), shape=(n, n))
    for _ in range(3):
        d = (shift - sparse.eye(n)) @ d
    return (d.T @ d).tocsc()


def fit_closed(points: Array, normals: Array, offsets: Array, weights: Array, wavelength: float) -> Array:
    """Smooth closed contour (n, 2) that meets `points` + `offsets` × `normals` as `weights` (0..1) ask.

    Least squares with a penalty on third differences, which leaves arcs of constant curvature alone; waves shorter than
    `wavelength` vertices are damped by more than half where the weight is 1.  Only the place along the normal is bound,
    the place along the contour hardly.
    """
    n = len(points)
    stiffness = (2 * np.sin(np.pi / wavelength)) ** -6.0
    target = points + offsets[:, None] * normals
    nx, ny = normals.T
    along = 0.02
    blocks = [[nx * nx, nx * ny], [nx * ny, ny * ny]]
    tangential = [[ny * ny, -nx * ny], [-nx * ny, nx * nx]]
    parts = [[sparse.diags(weights * blocks[i][j] + along * tangential[i][j]) for j in range(2)] for i in range(2)]
    rough = stiffness * _roughness(n)
    system = sparse.bmat([[parts[0][0] + rough, parts[0][1]], [parts[1][0], parts[1][1] + rough]], format="csc")
    right = np.concatenate([sum(parts[i][j] @ target[:, j] for j in range(2)) for i in range(2)])
    solved: Array = splu(system).solve(right).reshape(2, n).T
    return solved


def robust_fit(
    points: Array, normals: Array, offsets: Array, weights: Array, wavelength: float, floor: float, rounds: int = 4
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """`fit_closed` with outliers taken out (Tukey's biweight on the residuals along the normal).

    Returns the contour (n, 2), the residuals (n,), and which edges were kept.  `floor`: least scale of residuals in
    the contour's units.
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
        w = weights * (1 - z**2) ** 2
    return fitted, residual, (w > 0.2)
