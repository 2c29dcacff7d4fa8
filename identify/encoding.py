"""RGB encodings: what the numbers of a picture mean in linear light.

Linear light here always is linear sRGB (IEC 61966-2-1 primaries, D65), unbounded: colours outside the sRGB gamut have
components below 0 or above 1.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

D50 = np.array([0.96422, 1.0, 0.82521])
"""XYZ of the D50 white, 2° observer (ASTM E308)."""
D65 = np.array([0.95047, 1.0, 1.08883])
"""XYZ of the D65 white, 2° observer (ASTM E308)."""
ILLUMINANT_C = np.array([0.98072, 1.0, 1.18225])
"""XYZ of illuminant C, 2° observer, from its x, y = 0.31006, 0.31616 (CIE 15): the light of the Munsell renotation."""

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


@dataclass(frozen=True, eq=False)
class Encoding:
    """How the codes of a picture become linear light.

    `curves` (3, n) float32: linear light of each of the n codes (256 or 65536) in red, green and blue, white at 1.
    `matrix` (3, 3) float32: from the picture's own primaries to linear sRGB, None when they are sRGB's.
    """

    curves: NDArray[np.float32]
    matrix: NDArray[np.float32] | None = None

    def to_srgb(self, light: NDArray[np.float32]) -> NDArray[np.float32]:
        """Linear light (h, w, 3) in the picture's own primaries as linear sRGB."""
        return light if self.matrix is None else np.asarray(cv2.transform(light, self.matrix), np.float32)


@lru_cache(maxsize=2)
def srgb(levels: int = 256) -> Encoding:
    """Plain sRGB, of codes 0..levels - 1."""
    return _with_curve(srgb_decode(np.linspace(0, 1, levels)))


def display_p3(levels: int = 256) -> Encoding:
    """Display P3: the primaries of SMPTE RP 431-2, white D65, the curve of sRGB."""
    to_xyz = primaries_to_xyz([[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]], D65)
    return _with_curve(srgb_decode(np.linspace(0, 1, levels)), _to_srgb_matrix(adaptation(D65, D50) @ to_xyz))


def adobe_rgb(levels: int = 256) -> Encoding:
    """Adobe RGB (1998): gamma 563/256, white D65."""
    to_xyz = primaries_to_xyz([[0.64, 0.33], [0.21, 0.71], [0.15, 0.06]], D65)
    return _with_curve(np.linspace(0, 1, levels) ** (563 / 256), _to_srgb_matrix(adaptation(D65, D50) @ to_xyz))


def from_icc(profile: bytes, levels: int = 256) -> Encoding | None:
    """The encoding of an ICC profile that is made of curves: RGB with a matrix, or grey (ICC.1:2022).

    None for a profile of another kind (tables of colours, printing inks): that needs a colour management module.
    Raises ValueError when the profile is broken.
    """
    try:
        space, connection = profile[16:20], profile[20:24]
        if profile[36:40] != b"acsp":
            raise ValueError("not an ICC profile")
        tags = _icc_tags(profile)
        codes = np.linspace(0, 1, levels)
        if space == b"GRAY" and b"kTRC" in tags:
            return _with_curve(_icc_curve(tags[b"kTRC"], codes))
        needed = {b"rTRC", b"gTRC", b"bTRC", b"rXYZ", b"gXYZ", b"bXYZ"}
        if space != b"RGB " or connection != b"XYZ " or not needed <= tags.keys() or b"A2B0" in tags:
            return None
        to_xyz = np.column_stack(
            [np.array(struct.unpack(">3i", tags[key][8:20])) / 65536 for key in (b"rXYZ", b"gXYZ", b"bXYZ")]
        )
        if abs(np.linalg.det(to_xyz)) < 1e-4:
            raise ValueError("the primaries of the profile do not span a space of colours")
        curves = np.array([_icc_curve(tags[key], codes) for key in (b"rTRC", b"gTRC", b"bTRC")])
        matrix = _to_srgb_matrix(to_xyz)
    except (struct.error, IndexError) as error:
        raise ValueError(f"broken ICC profile: {error}") from error
    return Encoding(_frozen(curves), None if np.allclose(matrix, np.eye(3), atol=2e-3) else _frozen(matrix))


def _icc_tags(profile: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack(">I", profile[128:132])
    if count > 200:
        raise ValueError("broken ICC profile: too many tags")
    tags = {}
    for k in range(count):
        name, start, size = struct.unpack(">4sII", profile[132 + 12 * k : 144 + 12 * k])
        if start + size > len(profile):
            raise ValueError("broken ICC profile: cut short")
        tags[name] = profile[start : start + size]
    return tags


def _icc_curve(tag: bytes, code: Array) -> Array:
    """A curveType or parametricCurveType at codes 0..1."""
    kind = tag[:4]
    if kind == b"curv":
        (count,) = struct.unpack(">I", tag[8:12])
        if count == 0:
            return code
        table = np.array(struct.unpack(f">{count}H", tag[12 : 12 + 2 * count]))
        if count == 1:
            gamma: Array = np.power(code, table[0] / 256)
            return gamma
        sampled: Array = np.interp(code, np.linspace(0, 1, count), table / 65535)
        return sampled
    if kind != b"para":
        raise ValueError("broken ICC profile: unknown kind of curve")
    (form,) = struct.unpack(">H", tag[8:10])
    if form > 4:
        raise ValueError("broken ICC profile: unknown kind of curve")
    n = (1, 3, 4, 5, 7)[form]
    p = [v / 65536 for v in struct.unpack(f">{n}i", tag[12 : 12 + 4 * n])]
    g, a, b = p[0], p[1] if n > 1 else 1.0, p[2] if n > 2 else 0.0
    c = p[3] if n > 3 else 0.0
    if form < 3:
        start = -b / a if form else 0.0
        slope, above, below = 0.0, c, c
    else:
        start, slope = p[4], c
        above, below = (p[5], p[6]) if form == 4 else (0.0, 0.0)
    power = np.maximum(a * code + b, 0.0) ** g + above
    curve: Array = np.clip(np.where(code >= start, power, slope * code + below), 0.0, 1.0)
    return curve


def _to_srgb_matrix(to_xyz_d50: Array) -> Array:
    """From RGB to linear sRGB, such that white stays white in spite of the rounded numbers of a profile."""
    matrix = XYZ_D50_TO_SRGB @ to_xyz_d50
    scaled: Array = matrix / matrix.sum(axis=1, keepdims=True)
    return scaled


def _with_curve(curve: Array, matrix: Array | None = None) -> Encoding:
    return Encoding(_frozen(np.tile(curve, (3, 1))), None if matrix is None else _frozen(matrix))


def _frozen(values: Array) -> NDArray[np.float32]:
    out = values.astype(np.float32)
    out.setflags(write=False)
    return out
