"""Pieces as they were made and have fared, by what ranking assumes of true pieces, and shots by how good photos are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from identify.rank import ageing
from identify.rank.colourways import unlisted_share
from identify.rank.prepared import Prepared
from identify.reference.profile import Colourway
from tests.scenes.shot import Shot, any_shot
from tests.scenes.solid import Piece, as_listed, resized

DRILLED_MM = 0.3
"""Ties are drilled by hand."""


def any_piece(rng: np.random.Generator, p: Prepared, i: int) -> Piece:
    """A true piece of form i: its own length and depth within the set's tolerances, a line tie or hooks lost now and
    then, a listed colourway or one of another model's, aged as old pieces are."""
    noise = p.noise
    whole = as_listed(p.forms[i])
    deeper = np.sqrt(max(0.0, float(p.aspect_tolerance[i] ** 2 - p.length_tolerance[i] ** 2)))
    piece = resized(whole, *np.exp(rng.normal(0, [float(p.length_tolerance[i]), deeper])).tolist())
    there = rng.random(len(piece.ties_mm)) >= noise.tie_lost
    ties = piece.ties_mm + rng.normal(0, DRILLED_MM, piece.ties_mm.shape) * (1, 0.2)
    hooks = piece.hooks
    if hooks and rng.random() < noise.hook_fewer:
        hooks = int(rng.integers(hooks))
    colourway, age = _colourway(rng, p, i)
    return replace(piece, ties_mm=ties[there], hooks=hooks, colourway=colourway or piece.colourway, ageing=age)


def _colourway(rng: np.random.Generator, p: Prepared, i: int) -> tuple[Colourway | None, tuple[float, float]]:
    chosen, age = p.palette.of(i), (0.0, 0.0)
    if rng.random() < unlisted_share(p.palette, p.noise)[i]:
        chosen = p.palette.of(int(rng.choice(len(p.forms))))
    else:
        amounts = ageing.grid()
        k = int(rng.choice(len(amounts.chance), p=amounts.chance / amounts.chance.sum()))
        age = float(amounts.yellowing[k]), float(amounts.fading[k])
    return (p.palette.colourways[int(rng.choice(chosen))] if len(chosen) else None), age


def shot_of(rng: np.random.Generator, photos: str) -> Shot:
    """A good photo (straight above, bait large), a fair one, or a poor one (small, aslant, coloured light, no focal
    length), as `identify.rank.lookalikes.CAMERAS` describes them."""
    if photos == "good":
        return replace(any_shot(rng, (2400, 1800), 3.0), f35=52.0, turned_deg=0.0)
    if photos == "fair":
        return any_shot(rng)
    shot = any_shot(rng, (800, 600))
    return replace(
        shot,
        fills=float(rng.uniform(0.45, 0.6)),
        tilt_deg=float(rng.uniform(8, 25)),
        exif=False,
        gains=tuple(np.exp(rng.normal(0, [0.25, 0.0, 0.25])).tolist()),
        colours=tuple((2 * np.array(shot.colours)).tolist()),
        ev=float(rng.uniform(-1.0, 0.2)),
        blur_px=float(rng.uniform(0.9, 1.5)),
        noise=float(rng.uniform(2.5, 4.5)),
        jpeg=int(rng.integers(60, 80)),
    )
