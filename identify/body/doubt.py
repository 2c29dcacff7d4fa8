"""How far a traced outline may be out across its two extents, from cues measured along it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array, max_feret


@dataclass(frozen=True)
class Weights:
    """How much each cue adds to the standard uncertainty of one extent (drawn through the errors of rendered scenes;
    heavy tails taken into account)."""

    near: float
    """Share of the extent within which vertices count as being at its end."""
    shared: float
    """Against the uncertainty in pixels that all of the outline shares."""
    soft: float
    """Against how badly the edge's place is known at the end, in pixels."""
    bridged: float
    """Against the share of the whole outline that was bridged, to the fourth power, times the extent: where little of
    an outline is seen, even what is seen may be a shadow's or a stripe's edge."""


ENDS = Weights(near=0.04, shared=0.0, soft=3.0, bridged=0.1)
FLANKS = Weights(near=0.12, shared=0.82, soft=1.06, bridged=0.54)

SOFTEST_PX = 3.0
"""An edge that is known worse than this is not seen at all: then how much was bridged tells more."""


def extents(outline: Array, clear: NDArray[np.bool_], soft: Array, shared: float) -> tuple[float, float]:
    """Standard uncertainties (pixels) of the outline's extents along its Feret diameter and across it.

    `soft` (n,): how well each vertex's edge alone is placed, in pixels; `clear` (n,): which were not bridged;
    `shared`: standard uncertainty that all of the outline shares.
    """
    start, end = max_feret(outline)
    along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
    step = np.hypot(*(np.roll(outline, -1, axis=0) - np.roll(outline, 1, axis=0)).T)
    hidden = 1 - float((step * clear).sum() / max(float(step.sum()), 1e-9))
    return (
        _extent(outline @ along, soft, shared, hidden, ENDS),
        _extent(outline @ np.array([-along[1], along[0]]), soft, shared, hidden, FLANKS),
    )


def _extent(place: Array, soft: Array, shared: float, hidden: float, weights: Weights) -> float:
    size = float(np.ptp(place))
    capped = np.minimum(soft, SOFTEST_PX)
    ends = [float(np.median(capped[side > side.max() - weights.near * size - 1e-9])) for side in (place, -place)]
    return math.hypot(
        math.sqrt(2) * weights.shared * shared,
        weights.soft * math.hypot(*ends),
        weights.bridged * hidden**4 * size,
    )
