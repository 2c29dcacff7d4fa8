"""Rings of all forms of a set as arrays."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array

Indices = NDArray[np.int64]
Single = NDArray[np.float32]
"""Half the width, several times the speed: for arrays over all rings or colourways of a set."""
UNKNOWN = -1
"""Stands for what a set does not say, in arrays of whole numbers."""


@dataclass(frozen=True, eq=False)
class Group:
    """`forms` (g,): indices; `x` and `y` (m, g): the places of their m rings, from nose to tail."""

    forms: Indices
    x: Single
    y: Single


@dataclass(frozen=True, eq=False)
class Rings:
    """Line ties or hangers of n forms: `count` (n,), UNKNOWN where the set does not say; `places` (n, m, 2) as
    fractions of the length, from nose to tail, NaN where not known; `placed` (n,) how many places are known; `doubt`
    (n,) how far those may lie off, as fractions of the length."""

    count: Indices
    places: Single
    placed: Indices
    doubt: Array

    @cached_property
    def groups(self) -> tuple[Group, ...]:
        """Forms with the same number of known places."""
        numbers = np.unique(self.placed[self.placed > 0])
        chosen = {int(made): np.flatnonzero(self.placed == made) for made in numbers}
        return tuple(
            Group(forms, *(np.ascontiguousarray(self.places[forms, :made, axis].T) for axis in (0, 1)))
            for made, forms in chosen.items()
        )
