"""Outlines of pieces averaged and compared."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from identify.geometry import Array
from identify.outline import rms_height
from identify.reference.average import robust_sides
from identify.reference.frame import shape_of
from identify.reference.pieces import Piece

OUTLINE_SCATTER = 0.012
"""Of a station's height, as a fraction of the depth: less than this is no damage."""


def average_sides(pieces: Sequence[Piece]) -> Array:
    """The average outline's sides (2, n) of pieces; doubtful photos weigh half."""
    outlines, weights = [], []
    for piece in pieces:
        own = [np.array(s.outline) for s in piece.photos]
        weights.append(0.5 if all("outline-unclear" in s.doubtful for s in piece.photos) else 1.0)
        outlines.append(
            robust_sides(own, OUTLINE_SCATTER, [0.5 if "outline-unclear" in s.doubtful else 1.0 for s in piece.photos])
        )
    return robust_sides(outlines, OUTLINE_SCATTER, weights)


def apart(one: Array, other: Array) -> float:
    """How far two outlines' sides lie apart: rms, as a fraction of the depth."""
    return float(rms_height(shape_of(one) - shape_of(other)))
