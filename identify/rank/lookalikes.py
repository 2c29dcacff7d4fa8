"""Which forms of a set would be taken for one another, and what tells them apart: by simulation from the ranking's own
likelihoods, at the noise of a good, a fair and a poor photo."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from identify.rank import likelihood, parts
from identify.rank.body import trace
from identify.rank.parts import Part
from identify.rank.prepared import Prepared
from identify.rank.ranking import speech
from identify.rank.readings import Readings
from identify.rank.simulate import GROUPS, Camera, draw_from

CAMERAS: Mapping[str, Camera] = {
    "good": Camera(0.003, 0.005, (3.0, 2.0, 2.0), 250.0, 0.995, 0.995),
    "fair": Camera(0.006, 0.008, (4.0, 2.5, 2.5), 150.0, 0.98, 0.98),
    "poor": Camera(0.02, 0.02, (8.0, 5.0, 5.0), 60.0, 0.85, 0.85),
}
"""A good photo: bait large, straight above, focal length known; a fair one: the usual; a poor one: bait small or far
from the card, no focal length, coloured light (bench, along the uncertainties that photo sets' readings state)."""
DRAWS = 60
"""So many draws of each part of a bait."""
COATS = 2
"""So many times fewer of its colours, which take longest and tell least."""
BAITS = 2000
"""So many baits put together from these."""
SCOUTS = 200
"""So many to see which forms need no further look."""
SHOWN = 0.003
"""Pairs that a photo confuses less often than this are told apart by it."""
LEAST_WEIGHT = 0.05
SKIPPED = (likelihood.MISREAD_BODY,)
"""No feature that a person could look at."""
COLOURS = ("colours", "pattern")
"""What follows from the list of colourways."""


@dataclass(frozen=True)
class Lookalikes:
    """Two forms (indices of the prepared set), and how often a bait of the one is taken for the other, half of the
    baits being of each, for each of the cameras asked.  `feature` tells them best, by a factor of 10 to the power of
    `weight` on average; None when nothing does, or only colours that were met so far (`long_lists`).  `weights`: those
    of every feature that tells anything, by the best photo that still confuses the two."""

    one: int
    other: int
    confused: Mapping[str, float]
    feature: str | None
    weight: float
    weights: tuple[tuple[str, float], ...]


def lookalikes(
    p: Prepared,
    cameras: Mapping[str, Camera] = CAMERAS,
    draws: int = DRAWS,
    seed: int = 0,
    least: float = SHOWN,
) -> tuple[Lookalikes, ...]:
    """All pairs of forms that the poorest camera confuses at `least` so often, the worst first.

    `cameras` from the best to the poorest: what a poor photo tells apart need not be asked of better ones.  How often
    two forms are confused is the mean over baits of the smaller of their two probabilities (the Bayes error), which
    needs far fewer baits than counting mistakes."""
    n, names = len(p.forms), list(cameras)
    near = ~np.eye(n, dtype=bool)
    steady: dict[int, tuple[Part, ...]] = dict.fromkeys(range(n), ())
    bodies: dict[int, Part] = {}
    confused: dict[str, Array] = {}
    weights: dict[str, Array] = {}
    for name in reversed(names):
        camera = cameras[name]
        bodies = {i: parts.body(_rng(seed, i, "body"), p, i, camera, draws) for i in _some(near)}
        if name == names[-1]:
            # whatever else is read tells more, so forms that a part alone tells apart need no further ones
            near = near & (_confused(p, {i: (own,) for i, own in bodies.items()}, camera, near, SCOUTS) >= least / 2)
            for part in (parts.ties, parts.hangers):
                for i in _some(near):
                    steady[i] += (part(_rng(seed, i, part.__name__), p, i, draws),)
                so_far = {i: (bodies[i], *steady[i]) for i in _some(near)}
                near = near & (_confused(p, so_far, camera, near, SCOUTS) >= least / 2)
            for i in _some(near):
                steady[i] += parts.others(p, i)
        own = {
            i: (bodies[i], *steady[i], *_coat(_rng(seed, i, "coat"), p, i, near[i], camera, draws)) for i in _some(near)
        }
        confused[name] = _confused(p, own, camera, near, BAITS)
        told = _told(p, own)
        shown = near & (confused[name] >= least)
        if name == names[-1]:
            listed, weights = shown, told
        else:
            weights = {k: np.where(shown, v, weights.get(k, v)) for k, v in told.items()}
        near = shown
    long = long_lists(p)
    found = [
        _pair(int(i), int(j), {name: float(confused[name][i, j]) for name in names}, weights, bool(long[i] and long[j]))
        for i, j in zip(*np.nonzero(np.triu(listed)), strict=True)
    ]
    return tuple(sorted(found, key=lambda pair: tuple(-v for v in pair.confused.values())))


def _rng(seed: int, i: int, part: str) -> np.random.Generator:
    """The same baits before every camera, whichever other forms there are to be asked."""
    return np.random.default_rng([seed, i, *part.encode()])


def _some(near: NDArray[np.bool_]) -> list[int]:
    """The forms that come near any other."""
    return [int(i) for i in np.flatnonzero(near.any(1))]


def _coat(
    rng: np.random.Generator, p: Prepared, i: int, near: NDArray[np.bool_], camera: Camera, draws: int
) -> tuple[Part, ...]:
    """Colours, where they tell anything: sizes of one model wear the same."""
    lists = p.palette.list_of
    return (parts.coat(rng, p, i, camera, -(-draws // COATS)),) if (lists[near] != lists[i]).any() else ()


def _confused(
    p: Prepared, own: Mapping[int, Sequence[Part]], camera: Camera, near: NDArray[np.bool_], baits: int
) -> Array:
    """How often (n, n) forms that come `near` each other are confused, from what was drawn of each."""
    shares = np.zeros(near.shape)
    for i, drawn_parts in own.items():
        others = np.flatnonzero(near[i])
        ratio = parts.together(np.random.default_rng(i), p, drawn_parts, camera, baits, np.append(others, i))
        shares[i, others] = np.exp(-np.logaddexp(0, np.abs(ratio[:, -1:] - ratio[:, :-1]))).mean(0)
    both: Array = (shares + shares.T) / 2
    return both


def _told(p: Prepared, own: Mapping[int, Sequence[Part]]) -> dict[str, Array]:
    """How much each feature tells (n, n) on average for the form that it is, as a power of ten."""
    told: dict[str, Array] = {}
    for i, drawn_parts in own.items():
        for part in drawn_parts:
            for feature, values in part.features.items():
                rows = told.setdefault(feature, np.zeros((len(p.forms), len(p.forms))))
                rows[i] = (values[i] - values) / np.log(10)
    return told


def long_lists(p: Prepared) -> NDArray[np.bool_]:
    """Whether each form (n,) lists so many colourways that, had they merely been met, no more pieces would wear a
    colour that is not among them than ranking assumes of a list that somebody drew up (`Noise.colour_met`,
    `Noise.colour_unlisted`).

    That two models share no colour of shorter lists says little of the next piece: many of the colours that either was
    sold in were not met yet.  The list's length counts and not its basis, for paints may be read off a single piece."""
    met, many = p.noise.colour_met, p.palette.counts[p.palette.list_of]
    long: NDArray[np.bool_] = met / (met + many) <= p.noise.colour_unlisted
    return long


def _pair(i: int, j: int, shares: Mapping[str, float], weights: Mapping[str, Array], by_colour: bool) -> Lookalikes:
    tells = {f: float(w[i, j] + w[j, i]) / 2 for f, w in weights.items() if f not in SKIPPED}
    ranked = tuple(sorted(((f, w) for f, w in tells.items() if w > LEAST_WEIGHT), key=lambda row: -row[1]))
    best = next(((f, w) for f, w in ranked if by_colour or f not in COLOURS), (None, 0.0))
    return Lookalikes(i, j, shares, best[0], best[1], ranked)


def drawn(rng: np.random.Generator, p: Prepared, i: int, camera: Camera) -> Readings:
    """Readings of one bait of form i; what the set does not say of it is not read."""
    return draw_from(rng, p, dict.fromkeys(GROUPS, i), camera)


def log_ratio(r: Readings, p: Prepared) -> tuple[Array, dict[str, Array]]:
    """Log ratio (n,) of each form against an unlisted bait, its ways round summed out; and each feature's, the bait
    lying as fits each form best."""
    ways = likelihood.ways_to_try(r, p.noise)
    spoken, _ = speech(r, p, ways, trace(r, p, ways))
    shape = (len(ways), len(p.forms))
    rows = {name: np.broadcast_to(values, shape) for name, values in spoken.items()}
    together = likelihood.log_ways(r, p.noise)[ways, None] + sum(spoken.values(), np.zeros(shape))
    best, every = together.argmax(0), np.arange(shape[1])
    top = together[best, every]
    ratio: Array = top + np.log(np.exp(together - top).sum(0))
    return ratio, {name: np.asarray(values[best, every], float) for name, values in rows.items()}
