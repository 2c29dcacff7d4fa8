"""Back and belly on the straightened flank: where each one's paint lies pure, and where one gives way to the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from identify.card.medians import middle
from identify.geometry import Array

MIDDLE = (0.26, 0.80)
"""Stations that neither a head nor a tail of another colour reaches."""
BACK_SEED, BELLY_SEED = (0.80, 0.94), (0.06, 0.24)
LIGHTNESS_WEIGHT = 0.4
"""Lightness changes with shading, hue does not: distances between rows count it less."""
ALIKE = 6.0
"""Weighted distance under which back and belly may be one paint, their difference shading."""
PURE = 0.15
"""Rows this near to either end of the way from belly to back are taken as pure."""
BESIDE = 9.0
"""Rows further than this from the line between the two belong to neither: a stripe, a leaf."""


@dataclass(frozen=True, eq=False)
class Layers:
    """`back`, `belly` (h,) bool: rows of pure paint.  `border`: where one gives way to the other, 0 belly .. 1 back.
    `profile` (h, 3): each row's typical Lab.  `apart`: weighted distance between the two."""

    back: NDArray[np.bool_]
    belly: NDArray[np.bool_]
    border: float
    profile: Array
    apart: float


def weigh(lab: Array, lightness: float = LIGHTNESS_WEIGHT) -> Array:
    """Lab with lightness counted less, for distances."""
    weighed: Array = lab * np.array([lightness, 1.0, 1.0])
    return weighed


def apart(difference: Array) -> Array:
    """Euclidean length (...) of differences (..., 3)."""
    return np.asarray(np.sqrt(np.einsum("...k,...k->...", difference, difference)))


def median_along(rows: Array) -> Array:
    """Median of each row (n, w), NaN left out; every row must hold a number."""
    ordered = np.sort(rows, axis=1)  # NaN last
    n = (~np.isnan(rows)).sum(1)
    pick = np.arange(len(rows))
    middle: Array = (ordered[pick, (n - 1) // 2] + ordered[pick, n // 2]) / 2
    return middle


def row_profile(lab: Array, usable: NDArray[np.bool_], s: Array) -> Array:
    """Median Lab (h, 3) of each row over the middle of the body; rows without cells take their neighbour's."""
    inside = usable & ((s > MIDDLE[0]) & (s < MIDDLE[1]))
    masked = np.where(inside[..., None], lab, np.nan)
    known = inside.sum(1) >= 6
    profile = np.zeros((lab.shape[0], 3))
    if not known.any():
        return profile
    profile[known] = np.column_stack([median_along(masked[known, :, k]) for k in range(3)])
    rows = np.arange(len(profile))
    return np.column_stack([np.interp(rows, rows[known], profile[known, k]) for k in range(3)])


def find_layers(lab: Array, usable: NDArray[np.bool_], s: Array, u: Array, lightness: float) -> Layers:
    """Tell back from belly by the way a row's colour lies on the line from the lowest rows' to the highest rows'.

    `lab` (h, w, 3); `lightness`: how much of a difference in lightness to trust, little before shading is known.
    """
    profile = row_profile(lab, usable, s)
    way = weigh(profile, lightness)
    top = (u > BACK_SEED[0]) & (u < BACK_SEED[1])
    low = (u > BELLY_SEED[0]) & (u < BELLY_SEED[1])
    for _ in range(3):
        a, b = middle(way[low]), middle(way[top])
        between = float(apart(b - a))
        t = (way - a) @ (b - a) / max(between, 1e-6) ** 2
        if between < ALIKE:
            border = 0.5
            return Layers(u > border + 0.06, u < border - 0.06, border, profile, between)
        crossing = int(np.argmax(t[::-1] < 0.5))  # rows from the back until the belly's half of the way
        border = float(u[::-1][crossing])
        on_line = apart(way - a - t[:, None] * (b - a)) < BESIDE
        top = _run((t > 1 - PURE) & on_line, top, u > border)
        low = _run((t < PURE) & on_line, low, u < border)
    return Layers(top, low, border, profile, between)


def _run(pure: NDArray[np.bool_], seed: NDArray[np.bool_], side: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Rows on one side that are pure; the seed where none is."""
    found = pure & side
    return found if found.sum() >= 4 else seed
