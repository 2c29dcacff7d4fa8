"""The bare ground of a photo: how it is lit, how its texture spreads, and how far each pixel stands off it.

Colours are looked at as log ratios, in which light that falls unevenly adds and a shadow moves a matt ground along one
axis only: luminance.  The ground is the surface that most of the picture's rim and most of the picture agree on.
Method: iteratively re-weighted least squares with Tukey's biweight (Beaton & Tukey 1974), Mahalanobis distances from
the ground's own scatter.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from identify.geometry import Array
from identify.separate.morphology import grown

Plane = NDArray[np.float32]

_MIX = np.array([[1 / 3, 1 / 3, 1 / 3], [1, -1, 0], [0, -1, 1]], np.float32)
_LIGHT = np.array([[0.25, 0.5, 0.25]], np.float32)
_UNMIX = np.linalg.inv(_MIX).astype(np.float32)
_GRID = 48
_ROUNDS = 10

_CHROMA_MAYBE, _BRIGHT_MAYBE = 2.5, 1.0
"""Beyond so many of the ground's own deviations of chroma, or so much of its reach in brightness, a pixel may be no
ground."""

LEAST_CHROMA = 0.01
"""Standard deviation of log chroma that even the plainest ground has between light, shadow and reflections."""
SHADE_CHROMA = 0.025
"""How much more per unit of log luminance in shadow."""


def as_plane(values: ArrayLike) -> Plane:
    """As float32, which OpenCV does not promise."""
    return np.asarray(values, np.float32)


def traits_of(linear: Plane, floor: float) -> Plane:
    """Log luminance and two log chroma ratios of linear RGB (h, w, 3).

    `floor` is added first, so that noise in the dark does not pass for colour.
    """
    logs = np.asarray(cv2.log(linear + np.float32(floor)), np.float32)
    return np.asarray(cv2.transform(logs, _MIX), np.float32)


def linear_of(traits: Plane, floor: float) -> Plane:
    """The inverse of `traits_of`."""
    logs = np.asarray(cv2.transform(traits, _UNMIX), np.float32)
    bare: Plane = np.maximum(np.asarray(cv2.exp(logs), np.float32) - np.float32(floor), np.float32(1e-5))
    return bare


@dataclass(frozen=True, eq=False)
class Ground:
    """The ground of one picture (or one compartment): its traits at every pixel, and its scatter.

    `lit` (h, w, 3): traits of the bare lit ground.  `spread` (3,): robust standard deviations of luminance and of the
    two chroma axes after `turn` (2, 2), which makes them independent.  `bright`, `dark`: how far above and below the
    bare ground's luminance reaches, in logs.  `floor`: of `traits_of`.
    """

    lit: Plane
    spread: Array
    turn: Array
    bright: float
    dark: float
    floor: float

    def stand_off(self, linear: Plane, lit: Plane | None = None) -> Plane:
        """How far pixels stand off the ground: log luminance against the lit ground, and log chroma against the ground
        in as much light as the pixel shows, (h, w, 3).

        `lit`: the ground's traits at these pixels, where it is not the whole picture.
        """
        lit = self.lit if lit is None else lit
        bare = linear_of(lit, self.floor)
        light = cv2.transform(linear, _LIGHT) / np.maximum(cv2.transform(bare, _LIGHT), np.float32(1e-5))
        own = traits_of(linear, self.floor)
        off = own - traits_of(bare * np.asarray(light, np.float32)[..., None], self.floor)
        off[..., 0] = own[..., 0] - lit[..., 0]
        return off

    def chroma_distance(self, difference: Plane) -> Plane:
        """How many standard deviations the chroma of a pixel lies off the ground in that light: (h, w).

        In shadow the scatter grows with depth: what lights a shadow has its own colour, near things theirs.
        """
        scaled = (self.turn / self.spread[1:, None]).astype(np.float32)
        shade = np.float32(SHADE_CHROMA) * np.maximum(-difference[..., 0], 0)
        turned = cv2.transform(difference, np.column_stack([np.zeros(2, np.float32), scaled]))
        square = np.zeros(difference.shape[:2], np.float32)
        for k in range(2):
            own = turned[..., k]
            more = shade * np.float32(1 / self.spread[1 + k])
            square += own * own / (1 + more * more)
        distance: Plane = np.sqrt(square)
        return distance


def fit_ground(traits: Plane, floor: float, usable: NDArray[np.bool_], rim: float = 3.0) -> Ground:
    """Fit the ground of a picture.

    `traits` (h, w, 3); `usable` (h, w): False where something is known to lie (the card).  Pixels at the rim weigh
    `rim` times as much at the start.
    """
    h, w = traits.shape[:2]
    scale = min(1.0, _GRID / max(h, w))
    gw, gh = max(2, round(w * scale)), max(2, round(h * scale))
    small = cv2.resize(traits, (gw, gh), interpolation=cv2.INTER_AREA)
    open_ = cv2.resize(usable.astype(np.float32), (gw, gh), interpolation=cv2.INTER_AREA) > 0.9
    if not open_.any():
        open_[:] = True
    basis = _basis(gh, gw)
    flat = small.reshape(-1, 3).astype(float)
    prior = np.where(open_, 1.0, 0.0)
    edge = max(2, round(0.06 * min(gh, gw)))
    prior[:edge] *= rim
    prior[-edge:] *= rim
    prior[:, :edge] *= rim
    prior[:, -edge:] *= rim
    weights = prior.ravel()
    coefficients, weights = _fit(basis, flat, weights)
    lit = _draw(coefficients, h, w)
    sure = cv2.resize(weights.reshape(gh, gw).astype(np.float32), (w, h), interpolation=cv2.INTER_LINEAR) > 0.3
    sure &= usable
    return _with_scatter(traits, lit, sure, floor)


def refine_ground(traits: Plane, ground: Ground, bare: NDArray[np.bool_], sigma: float) -> Ground:
    """Let the ground follow what is known to be bare, smoothed over `sigma` pixels, and take its scatter anew."""
    h, w = traits.shape[:2]
    step = max(1, int(sigma / 4))
    size = (max(1, w // step), max(1, h // step))
    weight = cv2.resize(bare.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    rest = cv2.resize((traits - ground.lit) * bare[..., None].astype(np.float32), size, interpolation=cv2.INTER_AREA)
    s = sigma / step
    total = cv2.GaussianBlur(weight, (0, 0), s)
    smooth = cv2.GaussianBlur(rest, (0, 0), s) / (total + 0.02)[..., None]
    lit = ground.lit + cv2.resize(smooth, (w, h), interpolation=cv2.INTER_LINEAR)
    return _with_scatter(traits, lit, bare, ground.floor)


def _basis(h: int, w: int) -> Array:
    y, x = np.mgrid[0:h, 0:w]
    u, v = (2 * (x.ravel() + 0.5) / w - 1), (2 * (y.ravel() + 0.5) / h - 1)
    return np.column_stack([np.ones(h * w), u, v, u * u, u * v, v * v])


def _draw(coefficients: Array, h: int, w: int) -> Plane:
    gh, gw = min(h, 48), min(w, 64)
    small = (_basis(gh, gw) @ coefficients).reshape(gh, gw, 3).astype(np.float32)
    return as_plane(cv2.resize(small, (w, h), interpolation=cv2.INTER_LINEAR))


def _fit(basis: Array, values: Array, prior: Array) -> tuple[Array, Array]:
    """Coefficients (6, 3) and final weights (n,) without the prior."""
    weights = prior
    start = np.array([_weighted_median(values[:, k], prior) for k in range(3)])
    rest = values - start
    coefficients = np.zeros((basis.shape[1], 3))
    coefficients[0] = start
    used = prior > 0
    kept = used.astype(float)
    for turn in range(_ROUNDS):
        spread = np.array([1.4826 * _weighted_median(np.abs(rest[:, k]), prior * (kept + 0.05)) for k in range(3)])
        spread = np.maximum(spread, (0.03, 0.01, 0.01))
        away = (rest / spread / (4.5 if turn < 3 else 3.0)) ** 2
        kept = np.clip(1 - away.max(1), 0, 1) ** 2 * used
        weights = kept * (prior if turn < 3 else used)
        if (weights > 0).sum() < 3 * basis.shape[1]:
            break
        # the first rounds look for a tilted plane only: a bowl bends too easily over a large thing
        terms = basis.shape[1] if turn >= 3 else 3
        root = np.sqrt(weights)[:, None]
        solved = np.linalg.lstsq(basis[:, :terms] * root, values * root, rcond=None)[0]
        coefficients = np.zeros_like(coefficients)
        coefficients[:terms] = solved
        rest = values - basis @ coefficients
    return coefficients, kept


def _weighted_median(values: Array, weights: Array) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    if total[-1] <= 0:
        return float(np.median(values))
    return float(values[order[np.searchsorted(total, total[-1] / 2)]])


def _with_scatter(traits: Plane, lit: Plane, bare: NDArray[np.bool_], floor: float) -> Ground:
    places = np.flatnonzero(bare)
    if len(places) < 50:
        places = np.arange(bare.size)
    places = places[:: max(1, len(places) // 20000)]
    rest = (traits.reshape(-1, 3)[places] - lit.reshape(-1, 3)[places]).astype(float)
    spread_l = _robust_spread(rest[:, 0])
    chroma = rest[:, 1:] - np.median(rest[:, 1:], 0)
    near = (np.abs(chroma) < 4 * np.maximum(1.4826 * np.median(np.abs(chroma), 0), 1e-3)).all(1)
    _, turn = np.linalg.eigh(np.cov(chroma[near].T) + 1e-9 * np.eye(2)) if near.sum() > 10 else (None, np.eye(2))
    turned = chroma @ turn
    spread = np.maximum([_robust_spread(turned[:, k]) for k in range(2)], LEAST_CHROMA)
    lum = rest[:, 0]
    middle = float(np.median(lum))
    bright = float(np.clip(np.quantile(lum, 0.995) - middle, max(2.6 * spread_l, 0.03), max(4 * spread_l, 0.03)))
    dark = float(np.clip(middle - np.quantile(lum, 0.02), max(2 * spread_l, 0.03), max(3 * spread_l, 0.03)))
    shifted = lit + np.array([middle, *np.median(rest[:, 1:], 0)], np.float32)
    return Ground(shifted.astype(np.float32), np.array([max(spread_l, 0.01), *spread]), turn.T, bright, dark, floor)


def _robust_spread(values: Array) -> float:
    away = np.abs(values - np.median(values))
    return float(max(1.4826 * np.median(away), np.quantile(away, 0.9) / 1.645))


def settled_ground(linear: Plane, floor: float, usable: NDArray[np.bool_]) -> Ground:
    """The ground of a picture (h, w, 3 linear RGB): fitted to the whole, then twice to what it leaves bare.

    What a first fit takes for bare still holds things that hardly stand off it, and so is too wide.
    """
    traits = traits_of(linear, floor)
    ground = fit_ground(traits, floor, usable)
    for _ in range(2):
        off = as_plane(cv2.GaussianBlur(ground.stand_off(linear), (0, 0), 1.0))
        maybe = (ground.chroma_distance(off) > _CHROMA_MAYBE) | (off[..., 0] / ground.bright > _BRIGHT_MAYBE)
        maybe |= off[..., 0] < -ground.dark
        ground = refine_ground(traits, ground, ~grown(maybe, 3) & usable, 0.05 * max(usable.shape))
    return ground
