"""How likely a thing is there when the network's picture of its middle peaks so high."""

from __future__ import annotations

import math

CURVES = {"ring": (2.6, 0.0), "eye": (2.1, 0.2), "trace": (1.0, 0.0)}
"""Slope and offset of the log odds, by kind: `python -m tests.benchmarks.fit_hardware`, tune split."""


def likelihood(kind: str, height: float) -> float:
    """The probability that a peak of this height (0 to 1) is right."""
    slope, offset = CURVES[kind]
    p = min(max(height, 1e-6), 1 - 1e-6)
    return 1 / (1 + math.exp(-(slope * math.log(p / (1 - p)) + offset)))
