"""The bare ground of a photo: how it is lit where nothing lies on it.

The ground behind a thing is what the ground around it runs on to: a surface of second order, which light on one matt
stuff follows, and what the neighbourhood shows beside that.  Shadows, and what else is not the ground that most of the
picture agrees on, are left out.  Method: iteratively re-weighted least squares with Tukey's biweight (Beaton & Tukey
1974) on the logarithms of light, in which uneven light adds.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array

Plane = NDArray[np.float32]

GRID = 48
"""Cells along the picture's longer side: light changes slowly."""
_FLOOR = 0.06, 0.001
"""Added before logarithms, as a share of the median and absolutely, so that noise in the dark is no colour."""
_MIX = np.array([[1 / 3, 1 / 3, 1 / 3], [1, -1, 0], [0, -1, 1]])
_UNMIX = np.linalg.inv(_MIX)
_ROUNDS, _TILTED_ONLY = 6, 3
"""The first rounds look for a tilted plane only: a bowl bends too easily over a large thing."""
_FAR, _NEAR = 4.5, 3.0
"""Deviations beyond which a cell does not count, in the first and the later rounds."""
_LEAST_SPREAD = np.array([0.03, 0.01, 0.01])
"""Standard deviations of log luminance and log chroma that even the plainest ground has."""
_SURE, _PART = 0.3, 0.1
"""Weight of a cell, and share of it that is bare, from which it tells of its neighbourhood."""
_SMOOTHED = 0.05
"""Reach of what the neighbourhood tells, as a share of the grid's longer side."""
_LEAST_CELLS = 18


def bare_ground(linear: Plane, usable: NDArray[np.bool_]) -> tuple[Plane, int]:
    """Light of the bare ground (gh, gw, 3), linear RGB, on a grid whose cells are k × k pixels, and k.

    `linear` (h, w, 3); `usable` (h, w): False where something lies.
    """
    h, w = usable.shape
    k = math.ceil(max(h, w) / GRID)
    gw, gh = max(1, w // k), max(1, h // k)
    rows, columns = min(gh * k, h), min(gw * k, w)
    open_ = usable[:rows, :columns].astype(np.float32)
    part = np.asarray(cv2.resize(open_, (gw, gh), interpolation=cv2.INTER_AREA), np.float32)
    if np.count_nonzero(part > _PART) < _LEAST_CELLS:  # things all over: the commonest of them is the ground
        open_[:] = part[:] = 1.0
    masked = np.asarray(cv2.multiply(linear[:rows, :columns], cv2.merge([open_] * 3)), np.float32)
    light = cv2.resize(masked, (gw, gh), interpolation=cv2.INTER_AREA).reshape(-1, 3).astype(float)
    share = part.ravel().astype(float)
    known = share > _PART
    light[known] /= share[known, None]
    floor = _FLOOR[0] * float(np.median(light[known])) + _FLOOR[1]
    traits = np.log(light + floor) @ _MIX.T
    basis = _basis(gh, gw)
    coefficients, belongs = _fit(basis[known], traits[known])
    lit = basis @ coefficients
    weight = np.zeros(len(share))
    weight[known] = np.where(belongs > _SURE, share[known], 0.0)
    lit += _nearby(traits - lit, weight, (gh, gw))
    bare = np.maximum(np.exp(lit @ _UNMIX.T) - floor, 1e-5)
    return np.asarray(bare.reshape(gh, gw, 3), np.float32), k


def _basis(h: int, w: int) -> Array:
    y, x = np.mgrid[0:h, 0:w]
    u, v = (2 * (x.ravel() + 0.5) / w - 1), (2 * (y.ravel() + 0.5) / h - 1)
    return np.column_stack([np.ones(h * w), u, v, u * u, u * v, v * v])


def _fit(basis: Array, values: Array) -> tuple[Array, Array]:
    """Coefficients (6, 3) of the surface that most cells (n, 3) lie on, and how far each belongs to it (n,)."""
    coefficients = np.zeros((basis.shape[1], 3))
    coefficients[0] = np.median(values, axis=0)
    kept = np.ones(len(values))
    for turn in range(_ROUNDS):
        rest = values - basis @ coefficients
        spread = np.maximum(1.4826 * np.median(np.abs(rest[kept > 0]), axis=0), _LEAST_SPREAD)
        away = (rest / spread / (_FAR if turn < _TILTED_ONLY else _NEAR)) ** 2
        kept = np.clip(1 - away.max(1), 0, 1) ** 2
        if np.count_nonzero(kept) < _LEAST_CELLS:
            break
        terms = basis[:, : 3 if turn < _TILTED_ONLY else None]
        weighed = terms * kept[:, None]
        coefficients[: terms.shape[1]] = np.linalg.lstsq(weighed.T @ terms, weighed.T @ values, rcond=None)[0]
    return coefficients, kept


def _nearby(rest: Array, weight: Array, shape: tuple[int, int]) -> Array:
    """What the neighbourhood of each cell leaves of the surface, (n, 3); nothing far from all that is bare."""
    sigma = _SMOOTHED * max(shape)
    weighed = (rest * weight[:, None]).reshape(*shape, 3)
    total = cv2.GaussianBlur(weight.reshape(shape), (0, 0), sigma)
    near: Array = cv2.GaussianBlur(weighed, (0, 0), sigma) / (np.asarray(total) + 0.02)[..., None]
    return near.reshape(-1, 3)
