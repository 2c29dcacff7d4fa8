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
    """Against how badly the edge's place is known at the end, in pixels: its square over SOFTEST_PX."""
    bridged: float
    """Against the share of the whole outline that was bridged, to the fourth power, times the extent: where little of
    an outline is seen, even what is seen may be a shadow's or a stripe's edge."""
    moved: float
    """Against how far the end of the outline lies from that of the rough contour it was traced from."""


ENDS = Weights(near=0.04, shared=0.5, soft=9.4, bridged=0.02, moved=1.2)
FLANKS = Weights(near=0.12, shared=0.8, soft=1.2, bridged=1.2, moved=0.0)

SOFTEST_PX = 3.0
"""An edge that is known worse than this is not seen at all: then how much was bridged tells more."""


def extents(outline: Array, rough: Array, clear: NDArray[np.bool_], soft: Array, shared: float) -> tuple[float, float]:
    """Standard uncertainties (pixels) of the outline's extents along its Feret diameter and across it.

    `rough` (m, 2): the contour it was traced from; `soft` (n,): how well each vertex's edge alone is placed, in pixels;
    `clear` (n,): which were not bridged; `shared`: standard uncertainty that all of the outline shares.
    """
    start, end = max_feret(outline)
    along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
    step = np.hypot(*(np.roll(outline, -1, axis=0) - np.roll(outline, 1, axis=0)).T)
    hidden = 1 - float((step * clear).sum() / max(float(step.sum()), 1e-9))
    across = np.array([-along[1], along[0]])
    return (
        _extent(outline @ along, rough @ along, soft, shared, hidden, ENDS),
        _extent(outline @ across, rough @ across, soft, shared, hidden, FLANKS),
    )


def _extent(place: Array, rough: Array, soft: Array, shared: float, hidden: float, weights: Weights) -> float:
    size = float(np.ptp(place))
    capped = np.minimum(soft, SOFTEST_PX)
    parts = [math.sqrt(2) * weights.shared * shared, weights.bridged * hidden**4 * size]
    for side, before in ((place, rough), (-place, -rough)):
        end = side > side.max() - weights.near * size - 1e-9
        parts.append(weights.soft * float(np.median(capped[end])) ** 2 / SOFTEST_PX)
        parts.append(weights.moved * float(side.max() - before.max()))
    return math.hypot(*parts)
