"""What several pieces say together of counts, kinds and colours."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from identify.geometry import Array
from identify.records import Lab
from identify.reference import surface
from identify.reference.average import robust_mean
from identify.reference.pieces import Piece, Shot, Tint, ZoneTint

MISREAD = 0.04
"""Probability that a photo's distribution over counts is wrong altogether (as in ranking)."""
LOST = 0.03
"""Probability that a piece lost one of its line ties (bench)."""
SURE = 0.6
LIP_MISREAD, LIP_PRIOR = 0.2, 0.3
LIP_NONE, LIP_THERE = 0.05, 0.95
SAME_COLOUR = 4.0
"""CIEDE2000 between pieces of one colourway that nobody would remark on."""


def tie_count(pieces: Sequence[Piece]) -> tuple[int | None, float]:
    """The number of line ties that pieces were made with, as told or else as voted, and how sure that is.  None when
    the vote is open."""
    told = [piece.ties for piece in pieces if piece.ties is not None]
    if told:
        return told[-1], 1.0
    chance = np.ones(6) / 6
    for piece in pieces:
        read = [np.array(shot.ties) for shot in piece.photos if shot.ties is not None]
        if not read:
            continue
        now = np.prod([(1 - MISREAD) * q / q.sum() + MISREAD / 6 for q in read], axis=0)
        lost = np.arange(6) * LOST
        made = (1 - lost) * now + lost * np.append(0.0, now[:-1])
        chance = chance * made / made.sum()
        chance /= chance.sum()
    best = int(np.argmax(chance))
    return (best if chance[best] > SURE and best < 5 else None), float(chance[best])


def lip(pieces: Sequence[Piece]) -> str | None:
    """`none`, `other` (one of a material that photos do not tell), or None when the vote is open."""
    odds = LIP_PRIOR / (1 - LIP_PRIOR)
    for piece in pieces:
        seen = [shot.lip for shot in piece.photos if shot.lip is not None]
        if seen:
            q = LIP_MISREAD / 2 + (1 - LIP_MISREAD) * float(np.mean(seen))
            odds *= q / (1 - q)
    p = odds / (1 + odds)
    return "none" if p < LIP_NONE else "other" if p > LIP_THERE else None


def pattern(shots: Sequence[Shot]) -> str | None:
    """The pattern with the most certainty behind it."""
    behind: dict[str, float] = {}
    for shot in shots:
        if shot.pattern is not None:
            behind[shot.pattern.kind] = behind.get(shot.pattern.kind, 0.0) + shot.pattern.certainty
    return max(behind, key=lambda kind: behind[kind]) if behind else None


def finish(shots: Sequence[Shot]) -> str | None:
    """`leaf` or `clear` where at least half of the photos flag it."""
    flagged = [shot.hard_to_read for shot in shots if shot.hard_to_read]
    if 2 * len(flagged) < len(shots) or not flagged:
        return None
    kinds = [kind for kinds in flagged for kind in kinds]
    return max(sorted(set(kinds)), key=kinds.count)


def colour(tints: Sequence[Tint | ZoneTint]) -> Lab | None:
    """The mean of colours seen, as one that a surface can have."""
    if not tints:
        return None
    labs: Array = np.array([t.lab for t in tints])
    weights = 1 / (np.square([t.u for t in tints]) + SAME_COLOUR**2)
    lightness, a, b = (float(v) for v in robust_mean(labs, SAME_COLOUR, weights))
    return possible((lightness, a, b))


def possible(lab: Lab) -> Lab:
    """The colour, or the nearest of the same hue that a surface can have: readings may lie just beyond."""
    lightness, a, b = min(max(lab[0], 0.0), 100.0), lab[1], lab[2]
    while surface.impossible((lightness, a, b)) and (abs(a) > 0.05 or abs(b) > 0.05):
        a, b = 0.97 * a, 0.97 * b
    return round(lightness, 1), round(a, 1), round(b, 1)
