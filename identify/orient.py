"""Which end is the nose and which side is the back, and what the rings are, decided jointly.

Nose, back, ties and hangers define each other, so the four ways a bait may lie are scored together: how the body
tapers, where the eye and a lip are, where rings sit and what hangs in them.  The scores are log-likelihoods up to a
weight each; the weights were chosen near those that `python -m tests.benchmarks.fit_orient` finds on the tune split.
Nothing here knows any model: reference sets never enter.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import beta as beta_function

from identify.geometry import Array, resample_closed
from identify.outline import to_frame
from identify.settings import Point
from identify.stages import Body, Hardware, Pose, Ring, Sizing

Framer = Callable[[ArrayLike], Array]

CUES = ("taper", "fullness", "eye end", "eye side", "rings", "lip end", "lip side")
WEIGHTS = (0.4, 0.4, 2.0, 1.2, 1.8, 0.5, 0.4)
"""Near the likeliest on the tune split, where almost any weights orient every bait rightly; how the body tapers counts
little, since there are baits that are fuller behind."""

# Shares of where line ties and hangers sit, and how they spread along the body from nose (0) to tail (1).  Broad on
# purpose: common practice, no published source, checked against the tune split's frequencies.
_TIE_ZONES = {"nose": 0.26, "back": 0.66, "belly": 0.07, "tail": 0.01}
_HANGER_ZONES = {"nose": 0.01, "back": 0.01, "belly": 0.56, "tail": 0.42}
_TIE_ALONG, _CHIN_ALONG, _HANGER_ALONG = (3.0, 7.0), (3.0, 8.0), (2.6, 2.6)
"""Shapes of beta densities."""
_ANYWHERE = 0.03
"""Share of rings that follow no rule."""
_END_SHARE = 0.035
"""A ring whose root lies this near an end of the body (in lengths) sits at the nose or tail."""
_TYPICAL = 0.6
"""Density at an ordinary place of a ring."""
_TIELESS = 0.3
"""How much rarer a bait without any tie is than its rings alone would say: it has lost what it was made with."""
_UNSEEN = 0.015
"""Chance that one more tie is there which was not seen at all."""


@dataclass(frozen=True)
class Hypothesis:
    """One of the four ways a bait may lie.  `cues` follow CUES, each larger the better it fits; `tie` is each ring's
    probability of being a line tie."""

    nose_first: bool
    back_is_left: bool
    cues: tuple[float, ...]
    tie: tuple[float, ...]


def resolve(body: Body, sizing: Sizing, hardware: Hardware) -> Pose:
    """Decide nose, back, ties and hangers; `tie_probabilities` sum over all four ways to lie."""
    four = hypotheses(body, sizing, hardware)
    p = posterior(four)
    best = int(np.argmax(p))
    won = four[best]
    nose, tail = sizing.ends_px if won.nose_first else sizing.ends_px[::-1]
    rings = hardware.rings
    along = [float(to_frame([r.at_px], nose, tail, won.back_is_left)[0, 0]) for r in rings]
    order = sorted(range(len(rings)), key=lambda i: along[i])
    ties = tuple(i for i in order if won.tie[i] > 0.5)
    hangers = tuple(i for i in order if i not in ties and rings[i].probability > 0.5)
    counts = np.sum([q * count_distribution(h.tie) for q, h in zip(p, four, strict=True)], 0)
    counts[0] *= _TIELESS
    counts /= counts.sum()
    eyes = hardware.eyes
    eye = max(range(len(eyes)), key=lambda i: eyes[i].probability) if eyes else None
    return Pose(
        nose,
        tail,
        won.back_is_left,
        float(sum(q for q, h in zip(p, four, strict=True) if h.nose_first == won.nose_first)),
        float(sum(q for q, h in zip(p, four, strict=True) if _same_side(h, won))),
        ties,
        hangers,
        eye if eye is not None and eyes[eye].probability > 0.5 else None,
        1 - math.prod(1 - plate.probability for plate in hardware.plates),
        tuple(float(c) for c in counts),
    )


def posterior(four: tuple[Hypothesis, ...]) -> Array:
    """Probabilities of the four ways to lie."""
    score = np.array([np.dot(WEIGHTS, h.cues) for h in four])
    p = np.exp(score - score.max())
    return np.asarray(p / p.sum(), float)


def _same_side(a: Hypothesis, b: Hypothesis) -> bool:
    """Whether both have the back on the same side in the picture: left of the walk from nose to tail turns over when
    the ends are swapped."""
    return (a.back_is_left == b.back_is_left) == (a.nose_first == b.nose_first)


def hypotheses(body: Body, sizing: Sizing, hardware: Hardware) -> tuple[Hypothesis, ...]:
    """The four ways to lie, with their cues."""
    outline = resample_closed(body.outline_px, 400)
    out = []
    for nose_first in (True, False):
        nose, tail = sizing.ends_px if nose_first else sizing.ends_px[::-1]
        for left in (True, False):
            frame = _framer(nose, tail, left)
            form = _Form.of(frame(outline))
            fits = [_ring_fit(r, form, frame([r.at_px, r.root_px])) for r in hardware.rings]
            cues = (
                form.taper,
                form.fullness,
                *_eye_cues(hardware, form, frame),
                float(sum(f[0] for f in fits)),
                *_lip_cues(hardware, form, frame),
            )
            out.append(Hypothesis(nose_first, left, cues, tuple(f[1] for f in fits)))
    return tuple(out)


def _framer(nose: Point, tail: Point, back_is_left: bool) -> Framer:
    """Takes points of the photo into the bait's frame, in lengths."""
    length = math.dist(nose, tail)
    return lambda points: np.asarray(to_frame(points, nose, tail, back_is_left) / length, float)


@dataclass(frozen=True, eq=False)
class _Form:
    """Upper and lower edge of the body in lengths at stations from nose to tail."""

    x: Array
    top: Array
    bottom: Array

    @classmethod
    def of(cls, framed: Array) -> _Form:
        x = np.linspace(0.01, 0.99, 50)
        top, bottom = np.full(50, -np.inf), np.full(50, np.inf)
        station = np.clip(np.round((framed[:, 0] - 0.01) / 0.02), 0, 49).astype(int)
        np.maximum.at(top, station, framed[:, 1])
        np.minimum.at(bottom, station, framed[:, 1])
        have = np.isfinite(top)
        return cls(x, np.interp(x, x[have], top[have]), np.interp(x, x[have], bottom[have]))

    @property
    def taper(self) -> float:
        """How much fuller the nose end is than the tail end, near the ends (log ratio)."""
        d = self.top - self.bottom
        return float(np.log((d[3:9].mean() + 0.01) / (d[-9:-3].mean() + 0.01)))

    @property
    def fullness(self) -> float:
        """How far the body's mass lies towards the nose, in tenths of the length."""
        d = self.top - self.bottom
        return float(10 * (0.5 - (self.x * d).sum() / d.sum()))

    def height(self, x: float, y: float) -> float:
        """Height between belly (0) and back (1)."""
        top, bottom = np.interp(x, self.x, self.top), np.interp(x, self.x, self.bottom)
        return float((y - bottom) / max(top - bottom, 1e-3))


def _beta(x: float, shape: tuple[float, float]) -> float:
    a, b = shape
    return float(x ** (a - 1) * (1 - x) ** (b - 1) / beta_function(a, b))


def _ring_fit(ring: Ring, form: _Form, framed: Array) -> tuple[float, float]:
    """Log-likelihood of where one ring sits (0 when it says nothing), and the probability that it is a line tie."""
    x, y = framed[1]
    if min(framed[0, 0], x) < _END_SHARE:
        zone = "nose"
    elif max(framed[0, 0], x) > 1 - _END_SHARE:
        zone = "tail"
    else:
        zone = "back" if form.height(float(x), float(y)) > 0.5 else "belly"
    place = float(np.clip(x, 0.01, 0.99))
    ends = zone in ("nose", "tail")
    along_tie = 4.0 if ends else _beta(place, _CHIN_ALONG if zone == "belly" else _TIE_ALONG)
    along_hanger = 4.0 if ends else _beta(place, _HANGER_ALONG)
    tie = _TIE_ZONES[zone] * along_tie * (1 - _ANYWHERE) + _ANYWHERE * 0.25
    hanger = _HANGER_ZONES[zone] * along_hanger * (1 - _ANYWHERE) + _ANYWHERE * 0.25
    looks = float(np.clip(ring.tie_like, 0.01, 0.99))
    as_tie, as_hanger = looks * tie, (1 - looks) * hanger
    # what is no ring lies anywhere: a usual place for a ring speaks for it, an odd one against it
    usual = float(np.clip((as_tie + as_hanger) / _TYPICAL, 1 / 3, 3))
    there = ring.probability * (as_tie + as_hanger) / _TYPICAL
    fit = math.log(1 - ring.probability + there)
    p_ring = ring.probability * usual / (ring.probability * usual + 1 - ring.probability)
    return fit, float(p_ring * as_tie / (as_tie + as_hanger))


def _eye_cues(hardware: Hardware, form: _Form, frame: Framer) -> tuple[float, float]:
    """How much the eyes speak for this end, and for this side."""
    end = side = 0.0
    for e in hardware.eyes:
        x, y = frame([e.at_px])[0]
        weight = e.probability**2
        end += weight * (1.0 if x < 0.5 else -1.0)
        side += weight * float(np.clip(2 * (form.height(float(x), float(y)) - 0.5) / 0.25, -1, 1))
    return end, side


def _lip_cues(hardware: Hardware, form: _Form, frame: Framer) -> tuple[float, float]:
    """How much lips speak for this end, and for this side (a lip points down)."""
    end = side = 0.0
    for plate in hardware.plates:
        root, tip = frame([plate.root_px, plate.tip_px])
        end += plate.probability * (1.0 if root[0] < 0.5 else -1.0)
        side += plate.probability * (1.0 if tip[1] < root[1] else -1.0)
    return end, side


def count_distribution(tie: tuple[float, ...]) -> Array:
    """Probabilities of 0, 1, 2, 3, 4 and 5 or more ties from each ring's own (Poisson binomial distribution)."""
    p = np.zeros(6)
    p[0] = 1.0
    for q in (*tie, _UNSEEN):
        moved = np.concatenate([[0.0], p[:-1]])
        moved[-1] += p[-1]
        p = p * (1 - q) + moved * q
    return p
