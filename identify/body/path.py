"""The cheapest closed path through a strip, by dynamic programming."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from identify.geometry import Array


def closed_path(cost: Array, stiffness: Array | float, reach: int = 2) -> NDArray[np.int64]:
    """Column (n,) for each row of `cost` (n, m), so that the sum of costs plus `stiffness` × step² is least.

    Steps between neighbouring rows are at most `reach` columns; the last row neighbours the first.  Rows are gone
    through one and a half times, so that where the path begins no longer matters to the middle that is kept.
    """
    n, m = cost.shape
    pad = n // 4
    rows = np.arange(-pad, n + pad) % n
    steps = np.arange(-reach, reach + 1)
    penalty = np.broadcast_to(np.asarray(stiffness, float).reshape(-1, 1) * steps**2, (n, len(steps)))
    back = np.zeros((len(rows), m), np.int64)
    total = np.empty((m, len(steps)))
    each = total.ravel()
    padded = np.full(m + 2 * reach, np.inf)
    windows = sliding_window_view(padded, 2 * reach + 1)
    starts = len(steps) * np.arange(m)
    padded[reach:-reach] = cost[rows[0]]
    for i in range(1, len(rows)):
        np.add(windows, penalty[rows[i]], out=total)
        best = total.argmin(1)
        back[i] = best
        np.add(each[starts + best], cost[rows[i]], out=padded[reach:-reach])
    back += np.arange(m) - reach
    column = int(np.argmin(padded[reach:-reach]))
    path = np.empty(len(rows), np.int64)
    for i in range(len(rows) - 1, -1, -1):
        path[i] = column
        column = back[i, column]
    return path[pad : pad + n]
