"""Averages that one bad piece does not spoil, and how much true pieces scatter beside what measuring adds.

Means are M-estimates with the weights of Student's t (Lange, Little and Taylor 1989, JASA 84: 881).  The scatter
between pieces is what restricted likelihood leaves of the scatter seen, less each reading's own uncertainty (Harville
1977, JASA 72: 320), held near what is usual while there are few pieces.  Means of pieces that disagree get wider by
Birge's ratio (Birge 1932, Phys. Rev. 40: 207).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from identify.geometry import Array

DOF = 4.0
ROUNDS = 8
USUAL_SPREAD = 0.5
"""Standard deviation of ln(scatter between pieces) from model to model (bench: half to double is common)."""
OUTLYING = 3.0
"""So many standard deviations off, a reading is taken to be wrong rather than the pieces to scatter more."""
AS_MANY = 4.0
"""What is usual counts as the scatter of so many pieces."""
GRID: Array = np.exp(np.linspace(np.log(0.1), np.log(10.0), 81))


@dataclass(frozen=True)
class Centre:
    """A mean over pieces, its standard uncertainty, and the standard deviation between true pieces."""

    value: float
    u: float
    between: float
    pieces: int

    @property
    def tolerance(self) -> float:
        """How far a true piece may lie from the value: pieces' own scatter, and the doubt in the value."""
        return float(np.hypot(self.u, self.between))


def t_weights(z: ArrayLike) -> Array:
    """Weights of residuals that are in standard deviations."""
    weights: Array = (DOF + 1) / (DOF + np.square(np.asarray(z, float)))
    return weights


def centre(values: Sequence[float], u: Sequence[float], shared: float, usual: float) -> Centre:
    """The mean of pieces' values with their own uncertainties, and their scatter; `shared`: an uncertainty that all of
    them have in common; `usual`: the scatter that is usual between pieces."""
    x, own = np.asarray(values, float), np.square(np.asarray(u, float))
    middle = float(np.median(x))
    sd = np.sqrt(own + usual**2)
    taus = usual * GRID
    for _ in range(ROUNDS):
        wide = own + sd**2 * (np.square(np.maximum(np.abs(x - middle) / sd / OUTLYING, 1.0)) - 1)
        spread = taus[:, None] ** 2 + wide
        precision = 1 / spread
        means = (precision * x).sum(1) / precision.sum(1)
        fit = -0.5 * (
            np.log(spread).sum(1) + np.log(precision.sum(1)) + (precision * np.square(x - means[:, None])).sum(1)
        )
        fit -= 0.5 * np.square(np.log(GRID) / USUAL_SPREAD)
        chance = np.exp(fit - fit.max())
        chance /= chance.sum()
        tau = float(np.exp(chance @ np.log(taus)))
        sd = np.sqrt(own + tau**2)
        weights = t_weights((x - middle) / sd) / sd**2
        middle = float(weights @ x / weights.sum())
    doubt = float(1 / np.sqrt((1 / sd**2).sum()))
    if len(x) > 1:  # pieces that disagree by more than they can: nobody knows which is wrong (Birge's ratio)
        doubt *= max(1.0, float(np.sqrt((np.square((x - middle) / sd)).sum() / (len(x) - 1))))
    return Centre(middle, float(np.hypot(doubt, shared)), tau, len(x))


def robust_mean(values: ArrayLike, floor: float, weights: ArrayLike | None = None) -> Array:
    """Mean (...) over the first axis of values (n, ...), element by element; `floor`: the least scatter believed."""
    x = np.asarray(values, float)
    own = np.ones(len(x)) if weights is None else np.asarray(weights, float)
    own = own.reshape(-1, *[1] * (x.ndim - 1))
    mean = np.asarray(np.median(x, axis=0) if len(x) > 2 else (own * x).sum(0) / own.sum(), float)
    if len(x) > 2:
        scale = np.maximum(1.4826 * np.median(np.abs(x - mean), axis=0), floor)
        for _ in range(ROUNDS):
            w = own * t_weights((x - mean) / scale)
            mean = np.asarray((w * x).sum(0) / w.sum(0), float)
    return mean


def robust_sides(outlines: Sequence[Array], floor: float, weights: Sequence[float] | None = None) -> Array:
    """The average of outlines' sides (2, n).  Each is first shifted and tilted onto the others, since where a blunt
    end's tip lies is a matter of chance; then station by station, so that a piece damaged on one side counts for little
    there and for its worth elsewhere."""
    stack = np.array(outlines, float)
    if len(stack) == 1:
        return np.asarray(stack[0], float)
    at = np.linspace(-1, 1, stack.shape[2])
    powers = np.stack([np.ones_like(at), at, at**2])
    for _ in range(3):
        mean = robust_mean(stack, floor, weights)
        for _ in range(3):
            off = stack - mean
            w = t_weights(off / floor)
            s0, s1, s2 = np.einsum("nik,jk->jn", w, powers)
            t0, t1 = np.einsum("nik,nik,jk->jn", w, off, powers[:2])
            shift, tilt = (s2 * t0 - s1 * t1), (s0 * t1 - s1 * t0)
            stack -= ((shift[:, None] + tilt[:, None] * at) / (s0 * s2 - s1**2)[:, None])[:, None, :]
    return robust_mean(stack, floor, weights)


def tolerance_of(off: ArrayLike, share: ArrayLike, usual: float, averages: int = 1) -> float:
    """How far a true piece may lie off an average: by what measuring left in the average, and by what pieces scatter
    more than measuring does.

    `off` (n,): how far each lies off it; `share` (n,): each one's part in it, 1 in all; `usual`: how far one piece in
    one photo lies off, which counts as the scatter of AS_MANY pieces beside the scatter seen.  Several `averages` of
    one kind, such as the places of two rings, may be told together."""
    z = np.asarray(off, float) / usual
    # a damaged piece tells little of the others
    squared = np.square(z) * t_weights(z / max(1.0, float(np.median(z))))
    scatter = (AS_MANY + float(squared.sum())) / (AS_MANY + len(z) - averages)
    of_average = scatter * float(np.square(np.asarray(share, float)).sum()) / averages
    return usual * float(np.sqrt(of_average + max(scatter - 1.0, 0.0)))


@dataclass(frozen=True)
class Place:
    """A place (2,), the share of the pieces that have something there, and how far each of these lies off it."""

    at: Array
    share: float
    off: tuple[float, ...] = ()


def places(seen: Sequence[Sequence[Array]], radius: float) -> list[Place]:
    """Places at which pieces have rings, the likeliest first.  `seen`: for each piece, for each of its photos, the
    places (m, 2) found; those nearer than `radius` to each other are one."""
    every = [(at, piece, 1 / len(photos)) for piece, photos in enumerate(seen) for found in photos for at in found]
    found: list[Place] = []
    rest = list(every)
    while rest:
        points = np.array([at for at, _, _ in rest])
        weight = np.array([w for _, _, w in rest])
        near = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1)) < radius
        best = int(np.argmax(near @ weight))
        centre_at = robust_mean(points[near[best]], radius / 5)
        taken = np.hypot(*(points - centre_at).T) < radius
        taken[best] = True
        pieces: dict[int, float] = {}
        of_piece: dict[int, list[Array]] = {}
        for hit, (at, piece, w) in zip(taken, rest, strict=True):
            if hit:
                pieces[piece] = min(1.0, pieces.get(piece, 0.0) + w)
                of_piece.setdefault(piece, []).append(at)
        share = sum(pieces.values()) / len(seen)
        place = robust_mean(points[taken], radius / 5)
        off = tuple(float(np.hypot(*(np.mean(own, axis=0) - place))) for own in of_piece.values())
        found.append(Place(place, share, off))
        rest = [one for one, hit in zip(rest, taken, strict=True) if not hit]
    return sorted(found, key=lambda p: -p.share)
