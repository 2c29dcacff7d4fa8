"""Length and proportion of one piece from its photos, or as somebody measured them."""

from __future__ import annotations

import math

import numpy as np

from identify.reference.pieces import Piece

TOLD_U_MM = 0.2
"""Standard uncertainty of a length told without one: a ruler's."""


def piece_length(piece: Piece) -> tuple[float, float, float] | None:
    """ln of a piece's length, its own relative uncertainty, and the part shared with other pieces."""
    if piece.length_mm is not None:
        return math.log(piece.length_mm), TOLD_U_MM / piece.length_mm, 0.0
    read = [s.length_mm for s in piece.photos if s.length_mm is not None]
    if not read:
        return None
    value = np.array([q.value for q in read])
    own = np.sqrt(np.maximum(np.square([q.u for q in read]) - np.square([q.shared for q in read]), 1e-12)) / value
    weight = 1 / own**2
    return (
        float(weight @ np.log(value) / weight.sum()),
        float(1 / np.sqrt(weight.sum())),
        float(np.mean([q.shared / q.value for q in read])),
    )


def piece_aspect(piece: Piece) -> tuple[float, float]:
    """ln of a piece's depth to length, and its relative uncertainty."""
    if piece.length_mm is not None and piece.depth_mm is not None:
        return (
            math.log(piece.depth_mm / piece.length_mm),
            math.hypot(TOLD_U_MM / piece.length_mm, TOLD_U_MM / piece.depth_mm),
        )
    value = np.array([s.aspect.value for s in piece.photos])
    weight = np.square(value / np.array([s.aspect.u for s in piece.photos]))
    return float(weight @ np.log(value) / weight.sum()), float(1 / np.sqrt(weight.sum()))
