"""Outlines of pieces averaged and compared."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from identify.geometry import Array
from identify.outline import rms_height
from identify.reference.average import robust_sides, tolerance_of
from identify.reference.frame import shape_of
from identify.reference.pieces import Piece, Shot

OUTLINE_SCATTER = 0.012
"""Of a station's height, as a fraction of the depth: less than this is no damage."""
OUTLINE_FLOOR = 0.005
"""No outline is surer than this: pieces differ by so much (render: enrolment photos and the tune split, on which
outlines err in proportion to the doubt of their proportion)."""


ONE_PIECE = 0.011
"""How far the outline of one piece in one photo lies off the true one: rms, as a fraction of the depth (render:
enrolment photos and the tune split)."""


def quality(shot: Shot) -> float:
    """Weight of a photo's outline: how surely its proportion was read tells how surely its edge was."""
    return 1 / ((shot.aspect.u / shot.aspect.value) ** 2 + OUTLINE_FLOOR**2)


def average_sides(pieces: Sequence[Piece]) -> Array:
    """The average outline's sides (2, n) of pieces, each weighed by how well it was seen."""
    outlines, weights = _of_each(pieces)
    return robust_sides(outlines, OUTLINE_SCATTER, weights)


def _of_each(pieces: Sequence[Piece]) -> tuple[list[Array], list[float]]:
    """Each piece's outline from its photos, and how well it was seen."""
    outlines, weights = [], []
    for piece in pieces:
        own = [quality(s) for s in piece.photos]
        outlines.append(robust_sides([np.array(s.outline) for s in piece.photos], OUTLINE_SCATTER, own))
        weights.append(max(own))
    return outlines, weights


def tolerance(pieces: Sequence[Piece], average: Array) -> float:
    """How far a true piece's outline may lie off the average of some: rms, as a fraction of the depth."""
    outlines, weights = _of_each(pieces)
    share = np.array(weights) / sum(weights)
    return tolerance_of([apart(one, average) for one in outlines], share, ONE_PIECE)


def apart(one: Array, other: Array) -> float:
    """How far two outlines' sides lie apart: rms, as a fraction of the depth."""
    return float(rms_height(shape_of(one) - shape_of(other)))
