"""The card's sides to a fraction of a pixel.

Each side is cut into segments; the light across a segment, averaged along it, is an edge spread function.  A card has a
thickness: on sides turned to the camera's foot its side face shows as a narrow band of other brightness between the top
and the ground.  So the profile is modelled as top, band of known width, ground, blurred by a Gaussian, and the place of
the top's edge is what is sought (slanted-edge method of ISO 12233, with a band).  A robust line through the segments'
edges is the side; sides meet in the corners of the full rectangle, whatever the roundness of the tips.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from identify.card.medians import median, middle
from identify.card.propose import line_through, meet
from identify.card.strips import SEGMENTS, Sampler, Strip, read_strip
from identify.geometry import Array

BLURS_PX = tuple(0.5 * 1.15**k for k in range(16))
STARTS = (3, 9)
"""Of them, where the search for the best begins."""
SHADOWS_PX = (
    (1.0, 0.0),
    (1.75, 0.0),
    (2.75, 0.0),
    (4.0, 0.0),
    (4.75, 0.0),
    (5.5, 0.0),
    (6.25, 0.0),
    (7.0, 0.0),
    (2.0, 1.5),
    (3.5, 2.0),
    (5.5, 2.5),
)
"""Widths of a line of shadow along a side, and how much softer than the top's edge its far side is."""
STEP = 0.1
DIP = 0.02
DIP_WIDTH_PX = 2.5
"""Least height of a step between the card and a line of shadow, of the strip's strongest contrast: shadow brighter than
the card, or darker.  A narrow dark line is what sharpening leaves beside any edge."""
LEAVES = 0.03
INWARDS_PX = 0.8
MUCH_BETTER = 0.75
"""Logarithm of mean square by which such a line must improve the fit."""
PLACES_PX = np.arange(-7.0, 3.51, 0.25)
OFFSETS_PX = np.arange(-12.0, 9.25, 0.5)
INSIDE_PX = -7.5


@dataclass(frozen=True, eq=False)
class Side:
    """One side as a line: `start` and `end` (2,) near its corners, `bow_px` its sagitta (positive outwards) with
    `u_bow_px`, `residual_px` the robust scatter of the segments' edges about it, `u_px` the standard uncertainty of its
    place, `support` the share of segments with a clear edge on the line, `contrast` the step across it as a share of
    the card's own light, and `ends_clear` whether the edge goes on to both ends."""

    start: Array
    end: Array
    bow_px: float
    u_bow_px: float
    residual_px: float
    u_px: float
    support: float
    contrast: float
    ends_clear: bool
    bright_ground: bool


def _rough_edges(strip: Strip) -> tuple[Array, NDArray[np.bool_]]:
    """Per segment the place of the innermost step out of the card's own level, and whether there is one.

    Innermost, since a shadow beside the card may hide the step that looks strongest: it lies at the shadow's far edge.
    """
    v = strip.values
    inner = strip.offsets < -0.45 * strip.offsets[-1]
    away = np.abs(v) > max(5 * strip.noise, 0.08)
    away &= np.roll(away, -1, 1) | (strip.offsets >= strip.offsets[-2])
    away[:, inner] = False
    first = np.argmax(away, 1)
    slope = np.abs(np.gradient(v, strip.offsets, axis=1))
    # the step's steepest place lies within a blur's width of where the level is left
    reach = np.arange(len(strip.offsets))[None] - first[:, None]
    near = (reach >= -2) & (reach <= max(3, round(2.0 / (strip.offsets[1] - strip.offsets[0]))))
    found: NDArray[np.bool_] = np.asarray(away.any(1), bool)
    return strip.offsets[np.argmax(np.where(near, slope, -1.0), 1)], found


def _robust_line(x: Array, y: Array, ok: NDArray[np.bool_], tolerance: float) -> tuple[float, float, NDArray[np.bool_]]:
    """Slope and offset at x = 0 through most of the points: best pair, then least squares of those near it."""
    if ok.sum() < 2:
        return 0.0, 0.0, np.zeros(len(x), bool)
    i, j = np.triu_indices(int(ok.sum()), 1)
    u, v = x[ok], y[ok]
    slopes = (v[j] - v[i]) / (u[j] - u[i])
    left = np.abs(y[None] - v[i][:, None] - slopes[:, None] * (x[None] - u[i][:, None]))
    score = np.maximum(0, 1 - (left[:, ok] / tolerance) ** 2).sum(1)
    best: NDArray[np.bool_] = np.zeros(len(x), bool)
    best[ok & (left[int(np.argmax(score))] < tolerance)] = True
    if best.sum() < 2:
        return 0.0, 0.0, best
    slope, offset = line_through(x[best], y[best])
    return slope, offset, best


def rough_sides(sample: Sampler, corners: Array, reach: float) -> tuple[Array, list[float], list[float]] | None:
    """Move the sides of ordered corners (4, 2) on to the strongest edges within `reach` pixels.

    Returns the new corners, and per side the share of segments that lie on its line and its contrast; None when a side
    has no edge at all.
    """
    lines, support, contrast = [], [], []
    offsets = np.arange(-reach, reach + 0.25, 0.5)
    shortest = float(np.hypot(*(np.roll(corners, -1, 0) - corners).T).min())
    for a, b in zip(corners, np.roll(corners, -1, 0), strict=True):
        strip = read_strip(sample, a, b, offsets, -0.45 * reach, max(0.09 * shortest, 2.0))
        if strip is None:
            return None
        y, ok = _rough_edges(strip)
        if strip.tinted is not None:
            y_tint, ok_tint = _rough_edges(strip.tinted)
            y = np.where(ok_tint, np.minimum(y, y_tint), y)
        slope, offset, best = _robust_line(strip.at, y, ok, max(0.12 * reach, 0.7))
        if best.sum() < 3:
            return None
        along = (b - a) / np.hypot(*(b - a))
        out = np.array([along[1], -along[0]])
        lines.append((a + offset * out, along + slope * out))
        support.append(float(best.mean()))
        contrast.append(strip.contrast)
    met = meet(lines)
    return None if met is None else (met, support, contrast)


Model = tuple[float, float]
"""Width of the band between top and ground (0 for none), and how much softer than the top's edge its far side is."""


@lru_cache(maxsize=256)
def _bases(blur: float, models: tuple[Model, ...]) -> tuple[Array, Array, Array]:
    """Orthonormal bases of top, band and ground for each model and each place of the top's edge.

    Returns them as (models, offsets, 3 · places), the weights (offsets, models), and (models, 3, places) what turns a
    projection into the height of the first step.  The ground counts less the further out it lies, since it may be
    anything.
    """
    band, softer = (v[:, None, None] for v in np.array(models).T)
    beyond = OFFSETS_PX - PLACES_PX[:, None]
    weight = np.exp(-0.5 * (np.maximum(0, OFFSETS_PX - 2.5 * blur - band) / 2.0) ** 2) + 0.003
    # Gram and Schmidt's procedure on three columns: what an edge at each place adds to a level, and what a second one
    # adds to both
    level = weight / np.sqrt(_dot(weight, weight))
    top = ndtr(beyond / blur) * weight
    top -= _dot(top, level) * level
    height = np.sqrt(_dot(top, top))
    top /= height
    far = ndtr((beyond - band) / np.hypot(blur, softer)) * (weight * (band > 0))
    far -= _dot(far, level) * level
    shared = _dot(far, top)
    far -= shared * top
    size = np.sqrt(_dot(far, far)) + (band == 0)
    far /= size
    # the weight is folded in, so that one product with the raw values projects them; one product for each model: small
    # ones are done by one thread, where a large one would wait for a second core
    bases = np.stack([np.broadcast_to(level, top.shape), top, far], 1) * weight[:, None]
    firsts = np.concatenate([np.zeros_like(height), 1 / height, -shared / (height * size)], 2)
    return (
        np.ascontiguousarray(bases.transpose(0, 3, 1, 2).reshape(len(models), len(OFFSETS_PX), -1)),
        np.ascontiguousarray(weight[:, 0].T),
        np.ascontiguousarray(firsts.transpose(0, 2, 1)),
    )


def _dot(a: Array, b: Array) -> Array:
    """Products along the last axis, which is kept."""
    return np.asarray(np.einsum("...o,...o->...", a, b))[..., None]


def _best_model(strip: Strip, blur: float, band: float) -> tuple[Array, float]:
    """Weighted mean squares (places, segments) that the model leaves which explains a strip best at this blur, and its
    penalised logarithm.

    A model whose first step is too low to be seen is out, since its place would be anybody's guess.
    """
    models: tuple[Model, ...] = ((0.0, 0.0), (max(0.5, round(2 * band) / 2), 0.0)) if band > 0.3 else ((0.0, 0.0),)
    if strip.by_shadow:  # a shadow shows only on a ground brighter than the card, and keeps its colour
        models += SHADOWS_PX
    q, weight, first = _bases(blur, models)
    parts = (strip.values @ q).reshape(len(models), SEGMENTS, 3, len(PLACES_PX))
    explained = np.einsum("mskp,mskp->msp", parts, parts)
    square = weight**2
    power = (strip.values**2 @ square).T
    error = np.maximum(power[:, :, None] - explained, 1e-9) / square.sum(0)[:, None, None]
    error[1:, :, [0, -1]] = np.inf  # at the rim of what was read a band only mends the levels
    noise = max((0.5 * strip.noise) ** 2, 1e-4)

    def score(which: slice | NDArray[np.intp]) -> Array:
        return np.asarray(np.log(middle(error[which].min(2).T) + noise))

    scores = score(slice(None))
    scores[1:] += MUCH_BETTER
    if strip.by_shadow and _leaves_early(
        strip, float(PLACES_PX[int(np.argmin(middle(error[0])))]) - max(3 * blur, 3.0)
    ):
        scores[0] += 3 * MUCH_BETTER
    # whether the first step is seen can only raise a score, so those that lose anyway need not be asked
    rivals = 1 + np.flatnonzero(scores[1:] < scores[0])
    if len(rivals):
        height = middle(np.einsum("mskp,mkp->smp", parts[rivals], first[rivals]))
        width = np.array(models)[rivals, :1]
        seen = (height > max(STEP, 15 * strip.noise)) & (width > 1.3 * blur)
        seen |= (height < -max(DIP, 3 * strip.noise)) & (width >= DIP_WIDTH_PX)
        error[rivals] = np.where(seen[:, None], error[rivals], np.inf)
        scores[rivals] = score(rivals) + MUCH_BETTER
    chosen = int(np.argmin(scores))
    return np.ascontiguousarray(error[chosen].T), float(scores[chosen])


def _leaves_early(strip: Strip, before: float) -> bool:
    """Whether the profile leaves the card's level well before the edge that is seen: there is a shadow in between."""
    away = np.abs(middle(strip.values)) > max(LEAVES, 5 * strip.noise)
    away &= strip.offsets < before
    return bool((away[:-1] & away[1:]).any())


def strips(sample: Sampler, corners: Array, inset: float) -> list[Strip] | None:
    """The four strips along ordered corners' sides; `inset`: length left out at each end, for the rounded tips."""
    ends = zip(corners, np.roll(corners, -1, 0), strict=True)
    read = [read_strip(sample, a, b, OFFSETS_PX, INSIDE_PX, inset) for a, b in ends]
    good = [s for s in read if s is not None]
    return good if len(good) == 4 else None


def fit_sides(four: list[Strip], corners: Array, bands: list[float]) -> list[Side] | None:
    """Fit the sides of ordered corners that lie within some pixels of the truth; None when one of them is lost.

    `bands`: width in pixels of the side face that shows, 0 if hidden; it and a line of shadow are taken in where they
    explain a profile much better.  One blur serves all sides read by light; those read by colour have their own, since
    JPEG keeps colour at half the resolution.
    """
    by_light = [i for i, s in enumerate(four) if not s.by_colour]
    groups = ([by_light] if by_light else []) + [[i] for i, s in enumerate(four) if s.by_colour]
    fits: dict[tuple[int, int], tuple[Array, float]] = {}

    def score(group: list[int], k: int) -> float:
        for i in group:
            if (i, k) not in fits:
                fits[i, k] = _best_model(four[i], BLURS_PX[k], bands[i])
        return sum(fits[i, k][1] for i in group)

    sides: dict[int, Side] = {}
    for group in groups:
        best = min(STARTS, key=lambda k: score(group, k))
        for stride in (3, 1):  # downhill
            while True:
                beside = [k for k in (best - stride, best + stride) if 0 <= k < len(BLURS_PX)]
                better = min(beside, key=lambda k: score(group, k))
                if score(group, better) >= score(group, best):
                    break
                best = better
        for i in group:
            side = _fit_side(four[i], corners[i], corners[(i + 1) % 4], fits[i, best][0])
            if side is None:
                return None
            sides[i] = _by_tint(four[i], side, corners[i], corners[(i + 1) % 4])
    return [sides[i] for i in range(4)]


def _by_tint(strip: Strip, side: Side, a: Array, b: Array) -> Side:
    """The side as the ground's colour shows it, where that lies clearly further in than where its light does."""
    if strip.tinted is None:
        return side
    fits = [_best_model(strip.tinted, blur, 0.0) for blur in BLURS_PX[3::2]]
    other = _fit_side(strip.tinted, a, b, min(fits, key=lambda f: f[1])[0])
    if other is None or other.support < 0.6:
        return side
    along = (b - a) / np.hypot(*(b - a))
    out = np.array([along[1], -along[0]])
    inwards = float((side.start + side.end - other.start - other.end) @ out) / 2
    return other if inwards > max(INWARDS_PX, 4 * other.u_px) else side


def _fit_side(strip: Strip, a: Array, b: Array, best: Array) -> Side | None:
    """The side near the line a to b, from the errors (places, segments) of the model that explains it."""
    n = len(PLACES_PX)
    at = best.argmin(0)
    clear = (at > 0) & (at < n - 1)
    inner = np.clip(at, 1, n - 2)
    k = np.arange(SEGMENTS)
    e0, e1, e2 = best[inner - 1, k], best[inner, k], best[inner + 1, k]
    e0, e2 = np.nan_to_num(e0, posinf=0.0), np.nan_to_num(e2, posinf=0.0)
    bend = np.where((e0 > 0) & (e2 > 0), e0 - 2 * e1 + e2, 0.0)
    shift = np.where(bend > 0, 0.5 * (e0 - e2) / np.where(bend > 0, bend, 1), 0)
    y = PLACES_PX[inner] + np.clip(shift, -1, 1) * (PLACES_PX[1] - PLACES_PX[0])
    clear &= np.abs(strip.values)[:, strip.offsets > 0].max(1) > 4 * strip.noise
    return _side(strip, a, b, y, clear)


def _side(strip: Strip, a: Array, b: Array, y: Array, clear: NDArray[np.bool_]) -> Side | None:
    slope, offset, on = _robust_line(strip.at, y, clear, 0.8)
    if on.sum() < 4:
        return None
    left = y - offset - slope * strip.at
    residual = 1.4826 * median(np.abs(left[on]))
    keep = on & (np.abs(left) <= max(3 * residual, 0.15))
    if keep.sum() >= 4:
        slope, offset = line_through(strip.at[keep], y[keep])
        left = y - offset - slope * strip.at
    count = max(int(keep.sum()), 2)
    scatter = float(np.sqrt((left[keep] ** 2).sum() / max(count - 2, 1)))
    length = float(np.hypot(*(b - a)))
    bow, u_bow = _bow(strip.at[keep] / length, left[keep], scatter)
    along = (b - a) / length
    out = np.array([along[1], -along[0]])
    start = a + offset * out
    end = a + length * along + (offset + slope * length) * out
    ends = bool(keep[:2].any() and keep[-2:].any())
    return Side(
        start, end, bow, u_bow, scatter, max(scatter / np.sqrt(count), 0.01), count / SEGMENTS, strip.contrast, ends,
        strip.bright_ground,
    )  # fmt: skip


def _bow(x: Array, left: Array, scatter: float) -> tuple[float, float]:
    """Sagitta over the whole side, positive outwards, with its standard uncertainty."""
    if len(x) < 6:
        return 0.0, 1.0
    basis = np.column_stack([np.ones_like(x), x - 0.5, -4 * (x - 0.5) ** 2])
    solution, *_ = np.linalg.lstsq(basis, left, rcond=None)
    cov = np.linalg.inv(basis.T @ basis)
    return float(solution[2]), float(scatter * np.sqrt(cov[2, 2]))


def corners_of(sides: list[Side]) -> Array | None:
    """The corners of the full rectangle: corner i lies where side i - 1 meets side i."""
    return meet([(s.start, s.end - s.start) for s in sides])
