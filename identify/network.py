"""Small feed-forward networks (ReLU, softmax), their weights read from JSON files of this package.

The weights are fitted by the scripts `tests.benchmarks.fit_…`, named in each file; nothing is trained when the program
runs.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array

Single = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Network:
    """Several networks fitted to the same cases from other starts; their mean is better calibrated than any one.

    `names`: the inputs in their order; classes come out in the order of `classes`.  `members`: of each network the
    (weights, bias) of its layers.
    """

    names: tuple[str, ...]
    classes: tuple[str, ...]
    mean: Single
    spread: Single
    members: tuple[tuple[tuple[Single, Single], ...], ...]

    def probabilities(self, inputs: Array | Single, names: tuple[str, ...]) -> Array:
        """(n, classes) for inputs (n, k).  Raises ValueError when the inputs are not those it was fitted to."""
        if names != self.names:
            raise ValueError("the network was fitted to other inputs: fit it again (tests.benchmarks.fit_…)")
        x = np.clip((inputs - self.mean) / self.spread, -5, 5).astype(np.float32)
        return np.asarray(np.mean([_forward(x, layers) for layers in self.members], 0), float)


def _forward(x: Single, layers: tuple[tuple[Single, Single], ...]) -> Single:
    for weights, bias in layers[:-1]:
        x = np.maximum(x @ weights + bias, 0)
    weights, bias = layers[-1]
    x = x @ weights + bias
    x = np.exp(x - x.max(1, keepdims=True))
    return np.asarray(x / x.sum(1, keepdims=True), np.float32)


@lru_cache(maxsize=8)
def load(package: str, name: str) -> Network:
    """The network in `name`.json of a package."""
    d = json.loads(files(package).joinpath(f"{name}.json").read_text("utf-8"))
    members = tuple(
        tuple((np.array(w, np.float32), np.array(b, np.float32)) for w, b in layers) for layers in d["members"]
    )
    return Network(tuple(d["names"]), tuple(d["classes"]), _single(d["mean"]), _single(d["spread"]), members)


def _single(values: list[float]) -> Single:
    return np.array(values, np.float32)
