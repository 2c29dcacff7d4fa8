"""Where the body ends, from a model of how a round body's edge looks.

Light on a round body changes fast towards its limb: the surface turns away as the square root of the distance to the
edge, and at grazing angles it mirrors its surroundings.  Half contrast then lies up to two pixels inside the true edge
of a pale body on a dark ground.  So each profile is fitted by a level outside, a ramp outside (soft shadow), and inside
a step and a square root of the distance from the edge, all blurred alike, in linear light, where blur is linear.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from identify.geometry import Array

STEP = 0.5
"""Pixels between samples of a profile."""
HALF = 6.0
"""Pixels that a profile reaches to either side."""
REACH = 3.0
"""Pixels within which the edge is looked for."""
PLACES = np.arange(-REACH, REACH + 0.05, 0.1)
OFFSETS = np.arange(-HALF, HALF + STEP / 2, STEP)
BLURS = (0.6, 0.8, 1.0, 1.2, 1.5, 2.0, 2.7)
"""Standard deviations of blur in pixels that are tried."""


RIDGE = (0.006, 0.3)
"""How unwilling the root and the ramp are to be used, against the squared residuals."""


@lru_cache(maxsize=len(BLURS))
def _bases(blur: float) -> NDArray[np.float32]:
    """For each place of the edge an orthonormal-like basis (m, places, 4): the squared projections of a profile on it
    add up to what the model explains."""
    fine = np.arange(-60, 60.01, 0.05)
    kernel = np.exp(-((np.arange(-5 * blur, 5 * blur + 0.025, 0.05) / blur) ** 2) / 2)
    kernel /= kernel.sum()
    root = np.convolve(np.sqrt(np.clip(fine, 0, None) / HALF), kernel, mode="same")
    ramp = np.convolve(np.clip(-fine, 0, None) / HALF, kernel, mode="same")
    out = np.empty((len(OFFSETS), len(PLACES), 4), np.float32)
    ridge = np.diag([1e-6, 1e-6, RIDGE[0], RIDGE[1]])
    for i, place in enumerate(PLACES):
        inside = place - OFFSETS
        a = np.column_stack(
            [np.ones_like(inside), ndtr(inside / blur), np.interp(inside, fine, root), np.interp(inside, fine, ramp)]
        )
        out[:, i] = a @ np.linalg.cholesky(np.linalg.inv(a.T @ a + ridge))
    return out


def misfit(light: NDArray[np.float32], blur: float) -> NDArray[np.float32]:
    """Squared residuals (n, places) of profiles `light` (n, m, 3) with the edge at each of PLACES."""
    n, m, channels = light.shape
    centred = light - light.mean(1, keepdims=True)
    flat = centred.transpose(0, 2, 1).reshape(-1, m)
    bases = _bases(blur)
    projected = (flat @ bases.reshape(m, -1)).reshape(n, channels, len(PLACES), -1)
    explained = np.einsum("ncpk,ncpk->np", projected, projected)
    left: NDArray[np.float32] = np.maximum((centred**2).sum((1, 2))[:, None] - explained, 0)
    return left


def best_blur(light: NDArray[np.float32]) -> float:
    """The photo's blur: what explains the sharper quarter of the profiles best, out of BLURS.

    The blurrier ones are soft for other reasons: gloss, wires, pattern.
    """
    left = np.stack([misfit(light[::9], blur).min(1) for blur in BLURS])
    each = np.array(BLURS)[left.argmin(0)]
    return float(BLURS[int(np.argmin(np.abs(np.array(BLURS) - np.quantile(each, 0.25))))])


def parabola(values: NDArray[np.float32], column: NDArray[np.int64]) -> tuple[Array, Array]:
    """Minimum near a column of each row: its place in PLACES' pixels, and the second derivative there."""
    k = np.clip(column, 1, values.shape[1] - 2)
    rows = np.arange(len(values))
    a, b, c = (values[rows, k + d].astype(float) for d in (-1, 0, 1))
    curve = a - 2 * b + c
    shift = np.where(curve > 0, 0.5 * (a - c) / np.where(curve > 0, curve, 1), 0.0)
    step = PLACES[1] - PLACES[0]
    return PLACES[k] + np.clip(shift, -1, 1) * step, np.maximum(curve, 0) / step**2
