"""How length, proportion and outline of a body speak for each form, and what happens when it was traced wrongly."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from identify.geometry import Array
from identify.outline import TURNED
from identify.rank.densities import log_t, multi_t_constant
from identify.rank.noise import Noise
from identify.rank.prepared import Prepared
from identify.rank.readings import Readings
from identify.rank.rings import Indices, Single
from identify.rank.telling import told_features

BODY = ("length", "depth to length", "outline")


def outline(r: Readings, p: Prepared, ways: Indices) -> Array | None:
    """Residual shape (w, n): the descriptors together, one heavy tail for all of them, since what spoils an outline
    spoils it as a whole."""
    return None if r.outline is None else _Outlines(r.outline, r, p, ways).log_ratio(1.0)


class _Outlines:
    """The squared distance of one outline from each form's, each way round, in standard deviations of one piece in one
    photo.  A misread outline scatters so many times wider and no otherwise."""

    def __init__(self, found: Array, r: Readings, p: Prepared, ways: Indices) -> None:
        self.dof = p.noise.tail
        sd = p.axes.with_edge(p.noise, r.depth_px)
        self.k, self.log_scale = len(sd), float(np.log(sd).sum())
        turned = (TURNED[ways] * found) @ p.axes.vectors / sd
        # |a - b|² = a² + b² - 2ab, two matrix products for all forms
        own = np.square(turned).sum(1)[:, None]
        squared = own + p.outline_squared @ sd**-2 - 2 * (turned / sd) @ p.outline.T
        self.unknown = np.isnan(squared[0])
        self.squared: Single = np.maximum(squared, 0).astype(np.float32)
        wide = (found - p.background.outline_mean) @ p.background.outline_whitener
        constant = multi_t_constant(self.k, self.dof)
        self.broad = constant - p.background.outline_log_scale - self._falls(np.array(wide @ wide))

    def _falls(self, squared: Array | Single) -> Array | Single:
        fall: Array = (self.dof + self.k) / 2 * np.log(1 + squared / self.dof)  # log1p is several times slower
        return fall

    def log_ratio(self, wider: float) -> Array:
        """Log ratio (w, n) against an unlisted bait; 0 where the set has no outline."""
        falls = self._falls(self.squared / np.float32(wider**2))
        constant = multi_t_constant(self.k, self.dof) - self.log_scale - self.k * math.log(wider)
        ratio: Array = float(constant - self.broad) - falls.astype(float)
        ratio[:, self.unknown] = 0.0
        return ratio


def misread_body(r: Readings, p: Prepared, ways: Indices, spoken: Mapping[str, Array]) -> Array | None:
    """What is added (w, n) to length, proportion and outline, already in `spoken`, by the chance that the body was
    traced wrongly: then all three fail together.  What a person told does not."""
    by_hand = told_features(r)
    own = [spoken[name] for name in BODY if name in spoken and name not in by_hand]
    if not own:
        return None
    together: Array = np.sum(own, axis=0)
    shape = None if r.outline is None else _Outlines(r.outline, r, p, ways)
    terms = [together + math.log(1 - misread_chance(r, p.noise))]
    for misread in p.noise.misread_bodies:
        chance = misread.chance_warned if r.body_doubtful else misread.chance
        failed = np.full(len(p.forms), math.log(chance))
        for quantity, at, (mean, sd), spread in (
            (r.length_mm, p.ln_length, p.background.ln_length, misread.length),
            (r.aspect, p.ln_aspect, p.background.ln_aspect, misread.aspect),
        ):
            if quantity is not None and not (quantity is r.length_mm and "length" in by_hand):
                value = math.log(quantity.value)
                apart = log_t(value - at, spread, p.noise.tail) - log_t(value - mean, sd, p.noise.tail)
                failed += np.nan_to_num(apart, nan=0.0)
        terms.append(failed + (0.0 if shape is None else shape.log_ratio(misread.outline)))
    return log_sum(terms) - together


def log_sum(terms: list[Array]) -> Array:
    """Logarithm of the sum of exponentials of arrays."""
    top = terms[0]
    for term in terms[1:]:
        top = np.maximum(top, term)
    total = sum(np.exp((term - top).astype(np.float32)) for term in terms)
    summed: Array = top + np.log(total)
    return summed


def misread_chance(r: Readings, noise: Noise) -> float:
    """Probability that the body was traced wrongly in one way or another."""
    return sum(m.chance_warned if r.body_doubtful else m.chance for m in noise.misread_bodies)
