"""Colour as people write it: CIELAB (D50, 2° observer), CIEDE2000, Munsell notations and ISCC-NBS names.

The Munsell and ISCC-NBS tables are carried by the package (`tables/SOURCE.md` says where they come from) and read when
first needed.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from identify.encoding import (
    D50,
    ILLUMINANT_C,
    SRGB_TO_XYZ_D50,
    XYZ_D50_TO_SRGB,
    Array,
    adaptation,
    srgb_encode,
)

_DELTA = 6 / 29


def linear_to_lab(rgb: ArrayLike) -> Array:
    """CIELAB (D50, 2°) of linear sRGB (..., 3), by way of XYZ and Bradford adaptation (CIE 15:2004)."""
    return _xyz_to_lab(np.asarray(rgb, float) @ SRGB_TO_XYZ_D50.T, D50)


def lab_to_linear(lab: ArrayLike) -> Array:
    """The inverse of `linear_to_lab`; colours outside the sRGB gamut give components below 0 or above 1."""
    linear: Array = _lab_to_xyz(lab, D50) @ XYZ_D50_TO_SRGB.T
    return linear


def _xyz_to_lab(xyz: Array, white: Array) -> Array:
    t = xyz / white
    f = np.where(t > _DELTA**3, _cube_root(np.maximum(t, _DELTA**3)), t / (3 * _DELTA**2) + 4 / 29)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def _cube_root(t: Array) -> Array:
    """Of positive numbers (...): OpenCV's is five times as fast as NumPy's, and as exact."""
    flat = np.ascontiguousarray(t).reshape(-1, 1)
    return np.asarray(cv2.pow(flat, 1 / 3) if flat.size else flat, float).reshape(t.shape)


def _lab_to_xyz(lab: ArrayLike, white: Array) -> Array:
    lightness, a, b = np.moveaxis(np.asarray(lab, float), -1, 0)
    y = (lightness + 16) / 116
    f = np.stack([y + a / 500, y, y - b / 200], axis=-1)
    xyz: Array = np.where(f > _DELTA, f**3, 3 * _DELTA**2 * (f - 4 / 29)) * white
    return xyz


def delta_e(
    lab1: ArrayLike, lab2: ArrayLike, ignore_lightness: bool = False, weights: tuple[float, float, float] = (1, 1, 1)
) -> Array:
    """CIEDE2000 colour difference of (..., 3) arrays that broadcast against each other (Sharma, Wu, Dalal 2005).

    `weights`: the parametric factors kL, kC, kH.  `ignore_lightness`: with ΔL' = 0, the difference in hue and chroma
    alone.
    """
    l1, a1, b1 = np.moveaxis(np.asarray(lab1, float), -1, 0)
    l2, a2, b2 = np.moveaxis(np.asarray(lab2, float), -1, 0)
    mean7 = _seventh((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2)
    stretch = 1.5 - 0.5 * np.sqrt(mean7 / (mean7 + 25.0**7))
    c1, c2 = np.hypot(stretch * a1, b1), np.hypot(stretch * a2, b2)
    h1, h2 = np.arctan2(b1, stretch * a1) % (2 * np.pi), np.arctan2(b2, stretch * a2) % (2 * np.pi)
    grey = c1 * c2 == 0
    apart = h2 - h1
    turn = np.where(apart > np.pi, -2 * np.pi, np.where(apart < -np.pi, 2 * np.pi, 0.0))
    dh = 2 * np.sqrt(c1 * c2) * np.sin((apart + turn) / 2)
    total = h1 + h2
    wrapped = np.where(total < 2 * np.pi, total + 2 * np.pi, total - 2 * np.pi)
    hue = np.where(grey, total, np.where(turn == 0, total, wrapped) / 2)
    chroma, lightness = (c1 + c2) / 2, (l1 + l2) / 2
    t = (
        1
        - 0.17 * np.cos(hue - np.radians(30))
        + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + np.radians(6))
        - 0.20 * np.cos(4 * hue - np.radians(63))
    )
    s_l = 1 + 0.015 * (lightness - 50) ** 2 / np.sqrt(20 + (lightness - 50) ** 2)
    s_c = 1 + 0.045 * chroma
    s_h = 1 + 0.015 * chroma * t
    chroma7 = _seventh(chroma)
    theta = np.radians(60) * np.exp(-(((np.degrees(hue) - 275) / 25) ** 2))
    rotation = -2 * np.sqrt(chroma7 / (chroma7 + 25.0**7)) * np.sin(theta)
    k_l, k_c, k_h = weights
    in_l = 0.0 if ignore_lightness else (l2 - l1) / (k_l * s_l)
    in_c, in_h = (c2 - c1) / (k_c * s_c), dh / (k_h * s_h)
    # The rotation term can carry the sum of two tiny squares a rounding error below 0.
    difference: Array = np.sqrt(np.maximum(in_l**2 + in_c**2 + in_h**2 + rotation * in_c * in_h, 0.0))
    return difference


def _seventh(v: Array) -> Array:
    cube: Array = v * v * v  # numpy's own power is ten times slower
    return cube * cube * v


def hex_of(lab: ArrayLike) -> str:
    """A colour (3,) as #rrggbb in sRGB; what the gamut does not hold is clipped channel by channel."""
    r, g, b = (round(float(v) * 255) for v in srgb_encode(lab_to_linear(lab)))
    return f"#{r:02x}{g:02x}{b:02x}"


def munsell(lab: ArrayLike) -> str | None:
    """Munsell notation of a colour (3,), as "7.9B 3.8/2.9" or, for greys, "N 5.5/".

    The renotation of Newhall, Nickerson and Judd (1943), its value scale by ASTM D1535.  Above value 9 chroma keeps the
    scale of value 9.  None for what no Munsell colour can be: not finite, darker than black, lighter than white, or
    more than two chroma steps beyond the strongest colour tabulated at that hue and value.
    """
    under_c = _xyz_to_lab(_lab_to_xyz(lab, D50) @ adaptation(D50, ILLUMINANT_C).T, ILLUMINANT_C)
    lightness, a, b = (float(v) for v in under_c)
    if not (math.isfinite(a) and math.isfinite(b) and 0.0 <= lightness <= 100.5):
        return None
    space = _munsell_space()
    value = min(float(np.interp(lightness, space.lightness, space.value_scale)), 10.0)
    found = space.find(value, a, b)
    if found is None:
        return None
    hue, chroma = found
    if chroma < 0.05:
        return f"N {value:.1f}/"
    steps = round(hue * 25 + 25) % 1000  # tenths of a hue step, counted from 10RP = 0R
    family, tenths = divmod(steps, 100)
    if tenths == 0:
        family, tenths = (family - 1) % 10, 100
    return f"{tenths / 10:.1f}{_FAMILIES[family]} {value:.1f}/{chroma:.1f}"


def iscc_nbs(lab: ArrayLike) -> str:
    """The ISCC-NBS name whose centroid is nearest to a colour (3,) by CIEDE2000 (Kelly 1958)."""
    names, centroids = _iscc_nbs_table()
    return names[int(np.argmin(delta_e(lab, centroids)))]


def lab_of_munsell(hue: str, value: float, chroma: float) -> tuple[float, float, float]:
    """CIELAB (D50, 2°) of a Munsell notation such as ("7.9B", 3.8, 2.9), by the same table as `munsell`."""
    tenths, family = float(hue.rstrip("BGPRY")), hue.lstrip("0123456789.")
    space = _munsell_space()
    a, b = _on_plane(space.plane(value), (tenths + 10 * _FAMILIES.index(family)) / 2.5 - 1, chroma)[0]
    under_c = np.array([np.interp(value, space.value_scale, space.lightness), a, b])
    lab = _xyz_to_lab(_lab_to_xyz(under_c, ILLUMINANT_C) @ adaptation(ILLUMINANT_C, D50).T, D50)
    return float(lab[0]), float(lab[1]), float(lab[2])


_FAMILIES = ("R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP")


@dataclass(frozen=True, eq=False)
class _MunsellSpace:
    """The renotation: a* and b* under illuminant C on a lattice of hue (40 steps of 2.5, the first 2.5R), value and
    chroma (by 2).

    `ab` (40, values, chromas, 2), chroma 0 first; beyond the strongest tabulated chroma the last step is carried on.
    `strongest` (40, values): that chroma.
    """

    values: Array
    ab: Array
    strongest: Array
    value_scale: Array
    lightness: Array

    def plane(self, value: float) -> Array:
        """a* and b* (40, chromas, 2) at one value, linear between the tabulated values."""
        k = min(max(int(np.searchsorted(self.values, value)) - 1, 0), len(self.values) - 2)
        t = min(max((value - self.values[k]) / (self.values[k + 1] - self.values[k]), 0.0), 1.0)
        between: Array = self.ab[:, k] * (1 - t) + self.ab[:, k + 1] * t
        return between

    def find(self, value: float, a: float, b: float) -> tuple[float, float] | None:
        """Hue (lattice steps) and chroma that give (a*, b*) at a value, by Newton's method; None beyond the table."""
        if math.hypot(a, b) < 1e-3:
            return 0.0, 0.0
        plane = self.plane(value)
        ring = plane[:, 2]
        hue = float(np.argmax(np.cos(np.arctan2(ring[:, 1], ring[:, 0]) - math.atan2(b, a))))
        chroma = 4 * math.hypot(a, b) / math.hypot(*ring[int(hue)])
        for _ in range(40):
            (a0, b0), (a_hue, b_hue), (a_chroma, b_chroma) = _on_plane(plane, hue, chroma).tolist()
            da, db = a - a0, b - b0
            if max(abs(da), abs(db)) < 1e-4:
                break
            determinant = a_hue * b_chroma - a_chroma * b_hue
            hue += min(max((da * b_chroma - a_chroma * db) / determinant, -1.0), 1.0)
            chroma = max(chroma + (a_hue * db - da * b_hue) / determinant, 1e-3)
        k = int(np.abs(self.values - value).argmin())
        limit = float(self.strongest[round(hue) % 40, max(k - 1, 0) : k + 2].max()) + 2
        return (hue, chroma) if chroma <= limit else None


def _on_plane(plane: Array, hue: float, chroma: float) -> Array:
    """(a*, b*) at a hue in lattice steps (wraps) and a chroma, then the slopes by hue and by chroma: (3, 2)."""
    i, u = math.floor(hue), hue - math.floor(hue)
    j = min(int(chroma / 2), plane.shape[1] - 2)
    w = chroma / 2 - j
    one, next_one = plane[i % 40, j : j + 2], plane[(i + 1) % 40, j : j + 2]
    at_one, at_next = one[0] * (1 - w) + one[1] * w, next_one[0] * (1 - w) + next_one[1] * w
    step = ((one[1] - one[0]) * (1 - u) + (next_one[1] - next_one[0]) * u) / 2
    return np.stack([at_one * (1 - u) + at_next * u, at_next - at_one, step])


@lru_cache(maxsize=1)
def _munsell_space() -> _MunsellSpace:
    rows = _table("munsell_renotation_lab_c.csv")
    series = {
        (float(row[0]), row[1]): np.array([float(v) for v in row[2:] if v]).reshape(-1, 2) for row in rows[1:] if row
    }
    values = sorted({value for value, _ in series})
    hues = [f"{tenths:g}{family}" for family in _FAMILIES for tenths in (2.5, 5.0, 7.5, 10.0)]
    chromas = 1 + max(len(s) for s in series.values())
    ab = np.zeros((40, len(values), chromas, 2))
    strongest = np.zeros((40, len(values)))
    for i, hue in enumerate(hues):
        for k, value in enumerate(values):
            known = series[value, hue]
            n, last = len(known) + 1, known[-1] - (known[-2] if len(known) > 1 else 0.0)
            ab[i, k, 1:n] = known
            ab[i, k, n:] = known[-1] + np.arange(1, chromas - n + 1)[:, None] * last
            strongest[i, k] = 2 * (n - 1)
    scale = np.linspace(0, 10, 501)
    # ASTM D1535: luminous reflectance in per cent from value
    y = np.polyval([0.00081939, -0.020484, 0.23352, -0.22533, 1.1914, 0], scale) / 100
    lightness = np.where(y > _DELTA**3, 116 * np.cbrt(y) - 16, y * (29 / 3) ** 3)
    return _MunsellSpace(np.array(values), ab, strongest, scale, lightness)


@lru_cache(maxsize=1)
def _iscc_nbs_table() -> tuple[tuple[str, ...], NDArray[np.float64]]:
    rows = _table("iscc_nbs_centroids.csv")[1:]
    return tuple(row[1] for row in rows), np.array([[float(v) for v in row[3:6]] for row in rows])


def _table(name: str) -> list[list[str]]:
    text = resources.files("identify").joinpath("tables", name).read_text(encoding="utf-8")
    return list(csv.reader(text.splitlines()))
