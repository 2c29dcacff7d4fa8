"""Medians and quantiles of few numbers without NaN; NumPy's own spends most of its time on other cases."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array


def middle(values: Array) -> Array:
    """Median over the first axis."""
    ranked = np.sort(values, axis=0)
    n = len(values)
    result: Array = (ranked[(n - 1) // 2] + ranked[n // 2]) / 2
    return result


def quantile(values: NDArray[Any], share: float) -> float:
    """The value of (n,) that so large a share lies below, linear between the two nearest (Hyndman and Fan's type 7)."""
    at = share * (len(values) - 1)
    low = int(at)
    high = min(low + 1, len(values) - 1)
    ranked = np.partition(values, (low, high))
    return float(ranked[low] + (at - low) * (ranked[high] - ranked[low]))


def median(values: NDArray[Any]) -> float:
    """Median of (n,)."""
    low, high = (len(values) - 1) // 2, len(values) // 2
    ranked = np.partition(values, (low, high))
    return float(ranked[low] + ranked[high]) / 2
