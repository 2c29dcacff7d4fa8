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

from identify.geometry import Array


@dataclass(frozen=True, eq=False)
class Network:
    """Several networks fitted to the same cases from other starts; their mean is better calibrated than any one.

    `names`: the inputs in their order; classes come out in the order of `classes`.  `members`: of each network the
    (weights, bias) of its layers.
    """

    names: tuple[str, ...]
    classes: tuple[str, ...]
    mean: Array
    spread: Array
    members: tuple[tuple[tuple[Array, Array], ...], ...]

    def probabilities(self, inputs: Array, names: tuple[str, ...]) -> Array:
        """(n, classes) for inputs (n, k).  Raises ValueError when the inputs are not those it was fitted to."""
        if names != self.names:
            raise ValueError("the network was fitted to other inputs: fit it again (tests.benchmarks.fit_…)")
        x = np.clip((inputs - self.mean) / self.spread, -5, 5)
        return np.asarray(np.mean([_forward(x, layers) for layers in self.members], 0), float)


def _forward(x: Array, layers: tuple[tuple[Array, Array], ...]) -> Array:
    for weights, bias in layers[:-1]:
        x = np.maximum(x @ weights + bias, 0)
    weights, bias = layers[-1]
    x = x @ weights + bias
    x = np.exp(x - x.max(1, keepdims=True))
    return np.asarray(x / x.sum(1, keepdims=True), float)


@lru_cache(maxsize=8)
def load(package: str, name: str) -> Network:
    """The network in `name`.json of a package."""
    d = json.loads(files(package).joinpath(f"{name}.json").read_text("utf-8"))
    members = tuple(tuple((np.array(w, float), np.array(b, float)) for w, b in layers) for layers in d["members"])
    return Network(tuple(d["names"]), tuple(d["classes"]), np.array(d["mean"]), np.array(d["spread"]), members)
