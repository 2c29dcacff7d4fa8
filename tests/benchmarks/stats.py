"""The statistics that figures are given with."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.stats import rankdata


def wilson(hits: int, n: int, z: float = 1.959964) -> tuple[float, float]:
    """Wilson score interval (95 %) of a share: Wilson, J. Am. Stat. Assoc. 22 (1927) 209."""
    if n == 0:
        return (0.0, 1.0)
    p = hits / n
    centre = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / (1 + z * z / n)
    return (centre - half, centre + half)


def auroc(positive: Sequence[float], negative: Sequence[float]) -> float:
    """Area under the ROC curve by the Mann-Whitney statistic, ties counting half."""
    n, m = len(positive), len(negative)
    if not n or not m:
        return math.nan
    ranks = rankdata(np.concatenate([positive, negative]))
    return float((ranks[:n].sum() - n * (n + 1) / 2) / (n * m))


def calibration_error(probabilities: Sequence[float], correct: Sequence[bool], bins: int = 10) -> float:
    """Expected calibration error over equal bins of the top answer's probability."""
    p, c = np.asarray(probabilities, float), np.asarray(correct, float)
    if not len(p):
        return math.nan
    which = np.minimum((p * bins).astype(int), bins - 1)
    return float(
        sum(
            abs(p[which == b].mean() - c[which == b].mean()) * (which == b).mean()
            for b in range(bins)
            if (which == b).any()
        )
    )
