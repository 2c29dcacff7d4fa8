"""One figure of the benchmark, with its n and, for shares, its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.benchmarks.stats import wilson


@dataclass(frozen=True)
class Figure:
    """`interval` is the 95 % Wilson interval of a share; `aim` says what it should reach."""

    name: str
    value: float
    unit: str
    n: int
    interval: tuple[float, float] | None
    aim: str

    def __str__(self) -> str:
        shown = f"{self.value:.1f}" if self.unit == "%" and self.interval else f"{self.value:.3g}"
        text = f"{shown} {self.unit}".strip()
        if self.interval:
            text += f" ({self.interval[0] * 100:.0f} to {self.interval[1] * 100:.0f})"
        return text


def share(name: str, hits: Sequence[Any], aim: str) -> Figure:
    """How many of `hits` are true, in per cent."""
    n, k = len(hits), sum(bool(h) for h in hits)
    return Figure(name, 100 * k / n if n else float("nan"), "%", n, wilson(k, n), aim)


def middle(name: str, values: Any, unit: str, aim: str) -> Figure:
    """The median of some values."""
    array = np.asarray(values, float)
    return Figure(name, float(np.median(array)) if len(array) else float("nan"), unit, len(array), None, aim)
