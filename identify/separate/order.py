"""The order in which a person would read the baits of a photo: rows from the top, each from the left.

Baits laid out by hand stand in rows that waver and slope, or in none.  The rows are those that leave the least: what
each bait lies above or below its row's middle, squared, and a price for each row, in all ways to cut the baits' order
from top to bottom into rows (dynamic programming, exact), for each slope that rows may have (as a page's slope is found
from the profile of its lines).  A slope is believed only where the rows are far tidier with it than without.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from identify.geometry import Array

STEEPEST, STEP = 16, 1
"""Slopes that rows may have, in degrees."""
PRICE = 0.6
"""Of one more row, in squared row heights: two baits by themselves are two rows when a little more than one apart."""
OF_PITCH = 0.7
"""A row's height is that of its baits, or this share of the distance to what lies below, which is more with hooks."""
OF_LENGTH = 0.5
"""Where next to nothing lies below anything: this share of the usual bait's longer side."""
TIDIER = 0.75
"""With a slope, rows of many baits must leave at most this share of what they leave without; of n baits 1/n less, since
a few lie on some slope by chance."""
FEWEST = 5
"""So many baits are needed to see a slope."""


@dataclass(frozen=True)
class _Rows:
    """Rows from the top, each the numbers of its baits, and what they leave in squared row heights."""

    rows: tuple[tuple[int, ...], ...]
    left_over: float


def reading_order(outlines: Sequence[ArrayLike]) -> list[int]:
    """The places of outlines (n, 2), in pixels of the picture as shown, in the order in which they are read.

    The order is the same whatever order the outlines come in, and at whatever size of the picture.  In a row a bait
    that lies wholly above another, the one over the other, is read before it.
    """
    points = [np.asarray(outline, float).reshape(-1, 2) for outline in outlines]
    if len(points) < 2:
        return list(range(len(points)))
    best = _rows(_boxes(points, 0))
    slope = 0
    if len(points) >= FEWEST:
        found = {s: _rows(_boxes(points, s)) for s in range(-STEEPEST, STEEPEST + 1, STEP)}
        tidiest = min(found, key=lambda s: (found[s].left_over, abs(s), s))
        if found[tidiest].left_over <= (TIDIER - 1 / len(points)) * best.left_over:
            best, slope = found[tidiest], tidiest
    boxes = _boxes(points, slope)
    return [i for row in best.rows for i in _along(row, boxes)]


def _boxes(points: Sequence[Array], slope: float) -> Array:
    """(n, 4): left, top, right, bottom of each outline once rows that slope so have been laid level."""
    c, s = np.cos(np.radians(slope)), np.sin(np.radians(slope))
    turned = [p @ np.array([[c, -s], [s, c]]) for p in points]
    return np.array([[*p.min(0), *p.max(0)] for p in turned])


def _rows(boxes: Array) -> _Rows:
    """The rows that leave the least, of all ways to cut the order from top to bottom."""
    left, top, _, bottom = boxes.T
    middle = (top + bottom) / 2
    order = np.lexsort((left, middle))
    y = middle[order] / _height(boxes)
    n = len(y)
    sums, squares = np.concatenate([[0], np.cumsum(y)]), np.concatenate([[0], np.cumsum(y * y)])
    least, begin = np.zeros(n + 1), np.zeros(n + 1, int)
    for end in range(1, n + 1):
        of = end - np.arange(end)
        spread = squares[end] - squares[:end] - np.square(sums[end] - sums[:end]) / of
        total = least[:end] + np.maximum(spread, 0) + PRICE
        begin[end] = int(np.argmin(total))
        least[end] = total[begin[end]]
    rows: list[tuple[int, ...]] = []
    end = n
    while end:
        rows.append(tuple(int(i) for i in order[begin[end] : end]))
        end = int(begin[end])
    return _Rows(tuple(reversed(rows)), float(least[n]))


def _height(boxes: Array) -> float:
    """Height of a row in pixels: of the usual bait, or by how far apart they lie one below the other."""
    left, top, right, bottom = boxes.T
    middle = (top + bottom) / 2
    over = (np.minimum(right[:, None], right) > np.maximum(left[:, None], left)) & ~np.eye(len(boxes), dtype=bool)
    apart = np.where(over, np.abs(middle[:, None] - middle), np.inf).min(1)
    below = apart[np.isfinite(apart)]
    if 3 * len(below) > len(boxes):
        row = OF_PITCH * float(np.median(below))
    else:
        row = OF_LENGTH * float(np.median(np.maximum(right - left, bottom - top)))
    return max(float(np.median(bottom - top)), row, 1e-9)


def _along(row: Sequence[int], boxes: Array) -> list[int]:
    """A row from the left; what lies wholly above another, the one over the other, comes first."""
    waiting = sorted(row, key=lambda i: (boxes[i, 0] + boxes[i, 2], boxes[i, 1], i))
    ordered = []
    while waiting:
        first = next(i for i in waiting if not any(_over(boxes[j], boxes[i]) for j in waiting if j != i))
        waiting.remove(first)
        ordered.append(first)
    return ordered


def _over(a: Array, b: Array) -> bool:
    """Whether a lies wholly above b, the one over the other."""
    return bool(a[3] <= b[1] and min(a[2], b[2]) > max(a[0], b[0]))
