"""How far a traced outline may be out across its two extents, from how sharply the silhouette ends there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from identify.geometry import Array, max_feret


@dataclass(frozen=True)
class Weights:
    """How much each cue adds to the standard uncertainty of one extent, in pixels of the close-up (fitted to the errors
    of rendered scenes, heavy tails taken into account: `python -m tests.benchmarks.fit_doubt`)."""

    near: float
    """Share of the extent within which vertices count as being at its end."""
    least: float
    """However sharp the edge."""
    width: float
    """Against the width of the step from body to ground at the softer of the two ends."""


ENDS = Weights(near=0.04, least=0.2, width=0.25)
FLANKS = Weights(near=0.10, least=0.1, width=0.25)


def extents(outline: Array, width: Array) -> tuple[float, float]:
    """Standard uncertainties of an outline's extents along its Feret diameter and across it, in its own pixels.

    `outline` (n, 2) in pixels of the close-up; `width` (n,): of the step from body to ground at each vertex.
    """
    start, end = max_feret(outline)
    along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
    across = np.array([-along[1], along[0]])
    return _extent(outline @ along, width, ENDS), _extent(outline @ across, width, FLANKS)


def softest_end(place: Array, width: Array, near: float) -> float:
    """The median width at the softer end of an extent; `place` (n,): of each vertex along it."""
    reach = near * float(np.ptp(place)) + 1e-9
    ends = (place < place.min() + reach, place > place.max() - reach)
    return max(float(np.median(width[end])) for end in ends)


def _extent(place: Array, width: Array, weights: Weights) -> float:
    return math.hypot(weights.least, weights.width * softest_end(place, width, weights.near))
