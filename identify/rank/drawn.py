"""How surely a set's outlines are drawn, and what outlines that cannot be told apart say of each other.

An outline learned from a few photos carries their errors.  Makers copied each other's baits: two outlines that lie no
further apart than their own doubt are most likely one shape, of which both are readings.  Held against a photo as they
stand, the errors alone would tell the two makers apart, and surely.  So each is moved towards the others by how likely
they are the same shape: an empirical Bayes estimate over a mixture of shared shapes and of shapes of their own (Efron
and Morris 1973, JASA 68: 117, for one group).  Outlines without doubt stay where they are.
"""

from __future__ import annotations

import numpy as np

from identify.geometry import Array

COPY = 0.3
"""Two makers' baits of one shape differ by so much, in standard deviations of one piece in one photo (bench)."""
LIKE = 3.0
"""Outlines that are like each other, and no more, lie about so far apart in each direction, in the same unit."""
ROWS = 256
"""So many outlines are held against all others at once."""
SAME_DIGITS = 2
"""Outlines that agree to so many decimals are one drawing, as those of a model's sizes are."""


def shared(outline: Array, doubt: Array) -> tuple[Array, Array]:
    """Outlines moved towards those that are most likely the same shape, and the doubt that is left.

    `outline` (n, k) in standard deviations of one piece in one photo, NaN where the set has none; `doubt` (n,): how far
    each may lie off the true one in every direction, in the same unit; 0 where it is drawn rightly."""
    moved, left = outline.copy(), doubt.copy()
    known = np.flatnonzero(~np.isnan(outline[:, 0]))
    if not (doubt[known] > 0).any():
        return moved, left
    rounded = np.column_stack([outline[known], doubt[known]]).round(SAME_DIGITS)
    _, first, of_drawing = np.unique(rounded, axis=0, return_index=True, return_inverse=True)
    at, own = outline[known][first], np.square(doubt[known][first])
    doubtful = np.flatnonzero(own > 0)
    for rows in np.array_split(doubtful, max(1, len(doubtful) // ROWS)):
        weight = _same(at[rows], own[rows], at, own) / (own + COPY**2)
        weight[np.arange(len(rows)), rows] = 1 / own[rows]
        total = weight.sum(1)
        for row, mean, variance in zip(rows, weight @ at / total[:, None], 1 / total, strict=True):
            moved[known[of_drawing == row]], left[known[of_drawing == row]] = mean, np.sqrt(variance)
    return moved, left


def _same(some: Array, doubt: Array, every: Array, others: Array) -> Array:
    """Probability (m, n) that each of some outlines (m, k) is of one shape with each of all (n, k), against being only
    like it; their squared doubts are (m,) and (n,)."""
    k = some.shape[1]
    squared = np.square(some).sum(1)[:, None] + np.square(every).sum(1) - 2 * some @ every.T
    one = doubt[:, None] + others + COPY**2
    like = one + LIKE**2
    log_odds = squared / 2 * (1 / like - 1 / one) + k / 2 * np.log(like / one)
    probability: Array = 1 / (1 + np.exp(np.clip(-log_odds, -500, 500)))
    return probability
