"""Outlines of pieces averaged and compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True, eq=False)
class Seen:
    """One piece's outline from its photos: sides (2, n), and how well they were seen."""

    sides: Array
    weight: float

    @classmethod
    def of(cls, piece: Piece) -> Seen:
        own = [quality(s) for s in piece.photos]
        return cls(robust_sides([np.array(s.outline) for s in piece.photos], OUTLINE_SCATTER, own), max(own))


def average_sides(pieces: Sequence[Seen]) -> Array:
    """The average outline's sides (2, n) of pieces, each weighed by how well it was seen."""
    return robust_sides([one.sides for one in pieces], OUTLINE_SCATTER, [one.weight for one in pieces])


def tolerance(pieces: Sequence[Seen], average: Array) -> float:
    """How far a true piece's outline may lie off the average of some: rms, as a fraction of the depth."""
    weights = np.array([one.weight for one in pieces])
    return tolerance_of([apart(one.sides, average) for one in pieces], weights / weights.sum(), ONE_PIECE)


def apart(one: Array, other: Array) -> float:
    """How far two outlines' sides lie apart: rms, as a fraction of the depth."""
    return float(rms_height(shape_of(one) - shape_of(other)))
