"""Bars: marks of one colour that stand across the flank, one after the other along it, from the back down or from the
belly up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from identify.geometry import Array
from identify.paint.layers import weigh

BANDS = ((0.52, 0.92), (0.08, 0.48))
"""Rows in which bars are looked for: of the back's half and of the belly's."""
ALONG = (0.12, 0.96)
LIGHTNESS_WEIGHT = 0.6
SEEN = 0.4
"""Share of a column's cells that must be usable for it to count."""
TREND_MM = 14.0
"""Paint changes along the body over lengths like this; bars stand closer."""
NARROWEST_MM = 0.6
FEWEST = 3
STEP = 8
LEAST_CONTRAST, LEAST_NOISE = 1.0, 0.3
"""Weighted Lab: of bars at least, and of the paint between them as if at least."""
TALL = 0.5
"""Share of the band's rows that bars fill at least: what fills less is dots in a row."""
FEWEST_STATIONS = 60
_ODDS = (-23.1, 6.4, -7.9, 8.8, 4.0)
"""Log odds that marks in a row are bars: constant; for the logarithm of their number, for how unevenly they stand
(standard deviation over mean distance), for the share of the band's rows that they fill, and for the logarithm of their
contrast over the scatter between them (render: fitted to 702 flanks, 47 of them barred, none of a report split)."""


@dataclass(frozen=True, eq=False)
class Bars:
    """`cells` (h, w) bool of the bars, and how likely bars are what they are."""

    cells: NDArray[np.bool_]
    probability: float


def find_bars(lab: Array, usable: NDArray[np.bool_], profile: Array, s: Array, u: Array, cell_mm: float) -> Bars | None:
    """The likeliest bars of a straightened flank, or None where nothing is likelier bars than not.

    `lab` (h, w, 3); `profile` (h, 3): each row's typical colour; `s` (w,), `u` (h,): from nose to tail and from belly
    to back; `cell_mm`: length of a cell."""
    found = [
        one
        for low, high in BANDS
        if (one := _in_band(lab, usable, profile, s, (u > low) & (u < high), cell_mm)) is not None
    ]
    best = max(found, key=lambda bars: bars.probability, default=None)
    return best if best is not None and best.probability >= 0.5 else None


def _in_band(
    lab: Array, usable: NDArray[np.bool_], profile: Array, s: Array, rows: NDArray[np.bool_], cell_mm: float
) -> Bars | None:
    off = weigh(lab[rows], LIGHTNESS_WEIGHT) - weigh(profile[rows], LIGHTNESS_WEIGHT)[:, None]
    seen = usable[rows] & (s > ALONG[0]) & (s < ALONG[1])
    number = seen.sum(0)
    known = np.flatnonzero(number >= SEEN * rows.sum())
    if len(known) < FEWEST_STATIONS:
        return None
    mean = (off * seen[..., None]).sum(0)[known] / number[known, None]
    first, last = int(known[0]), int(known[-1]) + 1
    every = np.arange(first, last)
    line = np.column_stack([np.interp(every, known, mean[:, k]) for k in range(3)])
    line = _smoothed(line, max(3, int(NARROWEST_MM / cell_mm)))
    line = line - _trend(line, int(TREND_MM / cell_mm))
    direction = np.linalg.svd(line, full_matrices=False)[2][0]
    along = line @ direction
    if abs(np.quantile(along, 0.97)) < abs(np.quantile(along, 0.03)):
        along, direction = -along, -direction
    contrast = float(np.quantile(along, 0.95))
    on = along > contrast / 2
    runs = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(int), [0]]))).reshape(-1, 2)
    runs = runs[(runs[:, 1] - runs[:, 0]) * cell_mm > NARROWEST_MM]
    if len(runs) < FEWEST or contrast < LEAST_CONTRAST:
        return None
    marked = (off @ direction > contrast / 2) & seen
    fills = []
    cells = np.zeros(usable.shape, bool)
    for start, end in runs + first:
        own, there = marked[:, start:end], seen[:, start:end]
        present = there.any(1)
        fills.append(float((2 * own.sum(1) > there.sum(1))[present].mean()) if present.any() else 0.0)
        cells[np.flatnonzero(rows), start:end] = own
    apart = np.diff(runs.mean(1))
    if (filled := float(np.median(fills))) < TALL:
        return None
    constant, many, uneven, tall, clear = _ODDS
    odds = constant + many * np.log(len(runs)) + uneven * float(apart.std() / apart.mean())
    odds += tall * filled + clear * np.log(contrast / max(float(along[~on].std()), LEAST_NOISE))
    return Bars(cells, float(1 / (1 + np.exp(-odds))))


def _smoothed(line: Array, width: int) -> Array:
    """Running mean (n, k) along the first axis."""
    half = width // 2
    padded = np.pad(line, ((half, width - 1 - half), (0, 0)), "reflect")
    return np.asarray(sliding_window_view(padded, width, axis=0).mean(-1))


def _trend(line: Array, reach: int) -> Array:
    """Running median (n, k) over `reach` to both sides, looked at at every few places."""
    n = len(line)
    at = np.arange(0, n, STEP)
    padded = np.pad(line, ((reach, reach), (0, 0)), constant_values=np.nan)
    windows = sliding_window_view(padded, 2 * reach + 1, axis=0)[at]
    middle = np.nanmedian(windows, axis=-1)
    return np.column_stack([np.interp(np.arange(n), at, middle[:, k]) for k in range(line.shape[1])])
