"""RGB encodings: what the numbers of a picture mean in linear light.

Linear light here always is linear sRGB (IEC 61966-2-1 primaries, D65), unbounded: colours outside the sRGB gamut have
components below 0 or above 1.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

D50 = np.array([0.96422, 1.0, 0.82521])
"""XYZ of the D50 white, 2° observer (ASTM E308)."""
D65 = np.array([0.95047, 1.0, 1.08883])
"""XYZ of the D65 white, 2° observer (ASTM E308)."""

_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def adaptation(source: ArrayLike, target: ArrayLike) -> Array:
    """3 × 3 matrix that carries XYZ seen under one white to another (linear Bradford, as in ICC.1:2022 annex E)."""
    gain = (_BRADFORD @ np.asarray(target, float)) / (_BRADFORD @ np.asarray(source, float))
    matrix: Array = np.linalg.inv(_BRADFORD) @ np.diag(gain) @ _BRADFORD
    return matrix


def primaries_to_xyz(primaries_xy: ArrayLike, white: ArrayLike) -> Array:
    """3 × 3 matrix from linear RGB to XYZ for primaries (3, 2) in x, y, such that (1, 1, 1) gives the white's XYZ."""
    x, y = np.asarray(primaries_xy, float).T
    unscaled = np.vstack([x / y, np.ones(3), (1 - x - y) / y])
    matrix: Array = unscaled * np.linalg.solve(unscaled, np.asarray(white, float))
    return matrix


SRGB_TO_XYZ_D50 = adaptation(D65, D50) @ primaries_to_xyz([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]], D65)
"""Linear sRGB to XYZ under D50."""
XYZ_D50_TO_SRGB = np.linalg.inv(SRGB_TO_XYZ_D50)


def srgb_decode(code: ArrayLike) -> Array:
    """Linear light of sRGB values 0..1 (IEC 61966-2-1)."""
    v = np.asarray(code, float)
    linear: Array = np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0.04045) + 0.055) / 1.055) ** 2.4)
    return linear


def srgb_encode(linear: ArrayLike) -> Array:
    """sRGB values of linear light 0..1; what lies outside is clipped (IEC 61966-2-1)."""
    v = np.clip(np.asarray(linear, float), 0.0, 1.0)
    code: Array = np.where(v <= 0.0031308, 12.92 * v, 1.055 * np.maximum(v, 0.0031308) ** (1 / 2.4) - 0.055)
    return code
