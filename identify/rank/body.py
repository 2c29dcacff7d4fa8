"""How length, proportion and outline of a body speak for each form, and what happens when it was traced wrongly."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from identify.geometry import Array
from identify.outline import TURNED
from identify.rank.densities import log_t, multi_t_constant, said, spread
from identify.rank.noise import Misread, Noise
from identify.rank.prepared import Prepared
from identify.rank.readings import Readings
from identify.rank.rings import Indices, Single
from identify.rank.telling import told_features
from identify.records import Quantity

BODY = ("length", "depth to length", "outline")


@dataclass(frozen=True, eq=False)
class Traced:
    """What a body says if it was traced rightly, `own`: log ratios (w, n), or (1, n) where they are the same whichever
    way round, of length, depth to length, depth (when told) and outline.

    `failed`: for each way in which a body is traced wrongly the logarithm of its chance, and what is said then by those
    features that fail together; `sound`: the logarithm of the chance that it was not."""

    own: Mapping[str, Array]
    sound: float
    failed: tuple[tuple[float, Mapping[str, Array]], ...]

    def lying(self, best: Indices) -> Traced:
        """The same (1, n) with the bait lying as suits each form, `best` (n,) of the ways."""
        at = np.arange(len(best))

        def lie(of: Mapping[str, Array]) -> dict[str, Array]:
            return {name: v if len(v) == 1 else v[best, at][None] for name, v in of.items()}

        return Traced(lie(self.own), self.sound, tuple((chance, lie(say)) for chance, say in self.failed))

    def misread(self, kept: Mapping[str, Array] | None = None) -> Array | None:
        """What is added (..., w, n) to length, proportion and outline by the chance that they fail together.  What a
        person told does not fail; None when all was told.  `kept` (..., 1, 1): 0 for features that are left out."""
        names = tuple(self.failed[0][1])
        if not names:
            return None

        def total(of: Mapping[str, Array]) -> Array:
            values = [of[name] if kept is None else of[name] * kept[name] for name in names]
            return sum(values[1:], values[0])

        together = total(self.own)
        terms = [together + self.sound, *(total(features) + chance for chance, features in self.failed)]
        top = terms[0]
        for term in terms[1:]:
            top = np.maximum(top, term)
        added: Array = top + np.log(sum(np.exp((term - top).astype(np.float32)) for term in terms)) - together
        return added


def trace(r: Readings, p: Prepared, ways: Indices, shape: Outlines | None = None) -> Traced:
    """What the body says, traced rightly and wrongly, for the `ways` (w,) round; `shape`: its outline, if that was held
    against the forms' already."""
    if shape is None and r.outline is not None:
        shape = Outlines(r.outline, r, p, ways)
    alike = {"length": length(r, p), "depth to length": aspect(r, p), "depth": depth(r, p)}
    own = {name: values[None] for name, values in alike.items() if values is not None}
    if shape is not None:
        own["outline"] = shape.log_ratio(1.0)
    read = {
        "length": (r.length_mm, p.ln_length, p.background.ln_length),
        "depth to length": (r.aspect, p.ln_aspect, p.background.ln_aspect),
    }
    fail = [name for name in BODY if name in own and name not in told_features(r)]
    failed = []
    for misread in p.noise.misread_bodies:
        widths = {"length": misread.length, "depth to length": misread.aspect}
        say = {name: _scattered(*read[name], widths[name], p.noise.tail)[None] for name in fail if name in widths}
        if shape is not None:
            say["outline"] = shape.log_ratio(misread.outline)
        failed.append((math.log(_chance(misread, r)), say))
    return Traced(own, math.log(1 - misread_chance(r, p.noise)), tuple(failed))


def _relative(q: Quantity, floor: float = 0.0) -> tuple[float, float]:
    return math.log(q.value), max(q.u / q.value, floor)


def length(r: Readings, p: Prepared) -> Array | None:
    """Size (n,): ln of the length."""
    of = p.ln_length, p.length_tolerance, p.background.ln_length
    return _read(r.length_mm, p.noise.length_floor, *of, p.noise.tail)


def aspect(r: Readings, p: Prepared) -> Array | None:
    """Proportion (n,): ln of depth to length."""
    of = p.ln_aspect, p.aspect_tolerance, p.background.ln_aspect
    return _read(r.aspect, p.noise.aspect_floor, *of, p.noise.tail)


def _read(
    q: Quantity | None, floor: float, at: Array, tolerance: Array, broad: tuple[float, float], dof: float
) -> Array | None:
    """Log ratio (n,) of a quantity, by its logarithm, against an unlisted bait of the `broad` mean and sd."""
    if q is None:
        return None
    value, u = _relative(q, floor)
    mean, sd = broad
    against = log_t(value - mean, math.hypot(sd, u), dof)
    return said(log_t(value - at, spread(u, tolerance), dof) - against)


def depth(r: Readings, p: Prepared) -> Array | None:
    """Depth (n,), when told: in place of the photo's depth to length where a length is known."""
    if r.told_of("depth_mm") is None or r.depth_mm is None:
        return None
    at, u = _relative(r.depth_mm, p.noise.length_floor)
    mean, sd = p.background.ln_aspect
    long, long_sd = p.background.ln_length if r.length_mm is None else _relative(r.length_mm)
    if r.length_mm is None and r.aspect is not None:
        mean, sd = _relative(r.aspect)
    broad = log_t(at - long - mean, math.hypot(sd, long_sd, u), p.noise.tail)
    tolerance = np.sqrt(np.maximum(np.square(p.aspect_tolerance) - np.square(p.length_tolerance), 0))
    return said(log_t(at - p.ln_length - p.ln_aspect, spread(u, tolerance), p.noise.tail) - broad)


def _scattered(q: Quantity | None, at: Array, broad: tuple[float, float], sd: float, dof: float) -> Array:
    """Log ratio (n,) of a quantity that scatters so widely about a form's own."""
    assert q is not None, "only what was read can fail"
    value = math.log(q.value)
    return said(log_t(value - at, sd, dof) - log_t(value - broad[0], broad[1], dof))


class Outlines:
    """The squared distance of one outline from each form's, each way round, in standard deviations of one piece in one
    photo.  A misread outline scatters so many times wider and no otherwise; one that the set drew from few photos adds
    its own doubt."""

    def __init__(self, found: Array, r: Readings, p: Prepared, ways: Indices) -> None:
        self.dof = p.noise.tail
        sd = p.axes.with_edge(p.noise, r.depth_px)
        self.k, self.log_scale = len(sd), float(np.log(sd).sum())
        turned = (TURNED[ways] * found) @ p.axes.vectors / sd
        # |a - b|² = a² + b² - 2ab, two matrix products for all forms
        own = np.square(turned).sum(1)[:, None]
        squared = own + p.outline_squared @ sd**-2 - 2 * (turned / sd) @ p.outline.T
        self.unknown = np.isnan(squared[0])
        self.doubt = np.square(p.outline_doubt) if p.outline_doubt.any() else None
        self.squared: Single = np.maximum(squared, 0).astype(np.float32)
        wide = (found - p.background.outline_mean) @ p.background.outline_whitener
        constant = multi_t_constant(self.k, self.dof)
        self.broad = constant - p.background.outline_log_scale - self._falls(np.array(wide @ wide))
        self._ratios: dict[float, Array] = {}

    def _falls(self, squared: Array | Single) -> Array | Single:
        fall: Array = (self.dof + self.k) / 2 * np.log(1 + squared / self.dof)  # log1p is several times slower
        return fall

    def log_ratio(self, wider: float) -> Array:
        """Log ratio (w, n) against an unlisted bait; 0 where the set has no outline."""
        if wider not in self._ratios:
            variance = wider**2 if self.doubt is None else wider**2 + self.doubt
            falls = self._falls(self.squared / np.float32(variance))
            constant = multi_t_constant(self.k, self.dof) - self.log_scale - self.k / 2 * np.log(variance)
            ratio: Array = constant - float(self.broad) - falls.astype(float)
            ratio[:, self.unknown] = 0.0
            self._ratios[wider] = ratio
        return self._ratios[wider]


def _chance(misread: Misread, r: Readings) -> float:
    return misread.chance_warned if r.body_doubtful else misread.chance


def misread_chance(r: Readings, noise: Noise) -> float:
    """Probability that the body was traced wrongly in one way or another."""
    return sum(_chance(m, r) for m in noise.misread_bodies)
