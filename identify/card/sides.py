"""The card's sides to a fraction of a pixel.

Each side is cut into segments; the light across a segment, averaged along it, is an edge spread function.  A card has a
thickness: on sides turned to the camera's foot its side face shows as a narrow band of other brightness between the top
and the ground.  So the profile is modelled as top, band of known width, ground, blurred by a Gaussian, and the place of
the top's edge is what is sought (slanted-edge method of ISO 12233, with a band).  A robust line through the segments'
edges is the side; sides meet in the corners of the full rectangle, whatever the roundness of the tips.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from identify.card.propose import meet
from identify.geometry import Array
from identify.photo import Photo

Sampler = Callable[[Array], Array]
"""Linear RGB (n, 3) at points (n, 2) of the photo; NaN outside the frame."""

SEGMENTS = 12
BLURS_PX = (0.5, 0.65, 0.85, 1.1, 1.4, 1.8, 2.3, 3.0, 4.0)
SHADOWS_PX = ((1.0, 0.0), (1.7, 0.0), (2.6, 0.0), (4.0, 0.0), (2.0, 1.5), (3.5, 2.5))
"""Widths of a line of shadow along a side, and how much softer than the top's edge its far side is."""
MUCH_BETTER = 0.7
"""Logarithm of mean square by which such a line must improve the fit."""
PLACES_PX = np.arange(-3.0, 3.01, 0.25)
REACH_PX = 9.0
OFFSETS_PX = np.arange(-REACH_PX, REACH_PX + 0.25, 0.5)
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


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


def sampler(picture: NDArray[np.float32]) -> Sampler:
    """Bilinear sampler of a picture (h, w, 3) in its own pixels."""

    def sample(points: Array) -> Array:
        values = _sample(picture, points)
        return values

    return sample


def _sample(picture: NDArray[np.float32], points: Array) -> Array:
    h, w = picture.shape[:2]
    xy = points.astype(np.float32)
    rows = 4096  # remap takes no side longer than 32767
    parts = [
        cv2.remap(picture, xy[i : i + rows, None, 0], xy[i : i + rows, None, 1], cv2.INTER_LINEAR)[:, 0]
        for i in range(0, len(xy), rows)
    ]
    values = np.concatenate(parts).astype(float)
    out = (points[:, 0] < 0) | (points[:, 1] < 0) | (points[:, 0] > w - 1) | (points[:, 1] > h - 1)
    values[out] = np.nan
    return values


def sample_photo(photo: Photo) -> Sampler:
    """Bilinear sampler of a photo at full resolution, which reads windows around the points only.

    Points that follow each other should lie near each other.
    """

    def sample(points: Array) -> Array:
        values = np.full((len(points), 3), np.nan)
        for rows in np.array_split(np.arange(len(points)), 6):
            part = points[rows]
            x0, y0 = np.maximum(np.floor(part.min(0)) - 1, 0).astype(int)
            x1, y1 = np.minimum(np.ceil(part.max(0)) + 2, [photo.width, photo.height]).astype(int)
            if x1 - x0 > 1 and y1 - y0 > 1:
                values[rows] = _sample(photo.linear((int(x0), int(y0), int(x1), int(y1))), part - [x0, y0])
        return values

    return sample


@dataclass(frozen=True, eq=False)
class _Strip:
    """Profiles (segments, offsets) across one side: 0 on the card, 1 on the ground at best contrast."""

    at: Array
    offsets: Array
    values: Array
    noise: float
    contrast: float
    by_colour: bool


def _strip(sample: Sampler, a: Array, b: Array, reach: float, step: float, inset: float) -> _Strip | None:
    """Read the strip along side a to b (clockwise as seen, so that outside is to the left hand of one who walks)."""
    length = float(np.hypot(*(b - a)))
    along = (b - a) / length
    out = np.array([along[1], -along[0]])
    offsets = np.arange(-reach, reach + step / 2, step)
    first, last = inset, length - inset
    if last - first < 6:
        return None
    each = int(np.clip((last - first) / SEGMENTS, 2, 24))
    at = np.linspace(first, last, SEGMENTS * each)
    grid = a + at[:, None, None] * along + offsets[None, :, None] * out
    values = sample(grid.reshape(-1, 2)).reshape(SEGMENTS, each, len(offsets), 3)
    profile = values.mean(1)
    if np.isnan(profile).mean() > 0.3:
        return None
    inside = offsets < -0.45 * reach
    mean = np.nanmedian(profile, 0) if not np.isnan(profile).all(0).any() else np.full((len(offsets), 3), np.nan)
    top = np.nanmedian(mean[inside], 0)
    light = float(top @ LUMINANCE)
    # colours are read across the strongest departure: it may be the ground or a dark line of shadow before it
    beyond = mean[~inside] - top
    by_light, by_any = np.abs(beyond @ LUMINANCE), np.abs(beyond).max(1)
    if not np.isfinite(by_any).all() or not by_any.max() > 1e-5:
        return None
    direction = LUMINANCE
    difference = beyond[int(np.argmax(by_light))]
    by_colour = bool(by_light.max() < 0.05 * light)
    if by_colour:
        difference = beyond[int(np.argmax(by_any))]
        direction = difference / np.abs(difference).sum()
    scale = float(difference @ direction)
    if not np.isfinite(scale) or abs(scale) < 1e-5:
        return None
    # levels of the card follow uneven light along the side
    projected = profile @ direction
    level = np.nanmedian(projected[:, inside], axis=1)
    fit = (
        np.polyval(np.polyfit(np.arange(SEGMENTS), level, 1), np.arange(SEGMENTS))
        if np.isfinite(level).all()
        else level
    )
    units = (projected - fit[:, None]) / scale
    noise = 1.4826 * float(np.nanmedian(np.abs(units[:, inside])))
    return _Strip(
        at.reshape(SEGMENTS, each).mean(1), offsets, units, max(noise, 1e-3), abs(scale) / max(light, 1e-4), by_colour
    )


def _rough_edges(strip: _Strip) -> tuple[Array, NDArray[np.bool_]]:
    """Per segment the place of the innermost step out of the card's own level, and whether there is one.

    Innermost, since a shadow beside the card may hide the step that looks strongest: it lies at the shadow's far edge.
    """
    v = np.nan_to_num(strip.values)
    inner = strip.offsets < -0.45 * strip.offsets[-1]
    away = np.abs(v) > max(5 * strip.noise, 0.08)
    away &= np.roll(away, -1, 1) | (strip.offsets >= strip.offsets[-2])
    away[:, inner] = False
    first = np.argmax(away, 1)
    slope = np.abs(np.gradient(v, strip.offsets, axis=1))
    # the step's steepest place lies within a blur's width of where the level is left
    reach = np.arange(len(strip.offsets))[None] - first[:, None]
    near = (reach >= -2) & (reach <= max(3, round(2.0 / (strip.offsets[1] - strip.offsets[0]))))
    return strip.offsets[np.argmax(np.where(near, slope, -1.0), 1)], away.any(1)


def _robust_line(x: Array, y: Array, ok: NDArray[np.bool_], tolerance: float) -> tuple[float, float, NDArray[np.bool_]]:
    """Slope and offset at x = 0 through most of the points: best pair, then least squares of those near it."""
    if ok.sum() < 2:
        return 0.0, 0.0, np.zeros(len(x), bool)
    i, j = np.triu_indices(int(ok.sum()), 1)
    u, v = x[ok], y[ok]
    slopes = (v[j] - v[i]) / (u[j] - u[i])
    left = np.abs(y[None] - v[i][:, None] - slopes[:, None] * (x[None] - u[i][:, None]))
    score = np.maximum(0, 1 - (left[:, ok] / tolerance) ** 2).sum(1)
    best: NDArray[np.bool_] = ok & (left[int(np.argmax(score))] < tolerance)
    if best.sum() < 2:
        return 0.0, 0.0, best
    slope, offset = np.polyfit(x[best], y[best], 1)
    return float(slope), float(offset), best


def rough_sides(sample: Sampler, corners: Array, reach: float) -> tuple[Array, list[float], list[float]] | None:
    """Move the sides of ordered corners (4, 2) on to the strongest edges within `reach` pixels.

    Returns the new corners, and per side the share of segments that lie on its line and its contrast; None when a side
    has no edge at all.
    """
    lines, support, contrast = [], [], []
    shortest = float(np.hypot(*(np.roll(corners, -1, 0) - corners).T).min())
    for a, b in zip(corners, np.roll(corners, -1, 0), strict=True):
        strip = _strip(sample, a, b, reach, 0.5, max(0.09 * shortest, 2.0))
        if strip is None:
            return None
        y, ok = _rough_edges(strip)
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


@lru_cache(maxsize=512)
def _bases(blur: float, band: float, softer: float) -> tuple[Array, Array]:
    """Orthonormal bases (places, offsets, k) of top, band (when wider than 0) and ground for each place of the top's
    edge, and the weights (offsets): the ground counts less the further out it lies, since it may be anything."""
    d, p = OFFSETS_PX[None], PLACES_PX[:, None]
    columns = [np.ones((len(PLACES_PX), len(OFFSETS_PX))), ndtr((d - p) / blur)]
    if band > 0:
        columns.append(ndtr((d - p - band) / np.hypot(blur, softer)))
    weight = np.exp(-0.5 * (np.maximum(0, OFFSETS_PX - 2.5 * blur - band) / 2.0) ** 2) + 0.003
    q, _ = np.linalg.qr(np.stack(columns, -1) * weight[:, None])
    return np.ascontiguousarray(q.transpose(1, 0, 2).reshape(len(OFFSETS_PX), -1)), weight


def _errors(strip: _Strip, blur: float, band: float, softer: float = 0.0) -> Array:
    """Weighted mean square of what a model leaves, for each place and segment."""
    q, weight = _bases(blur, round(4 * band) / 4, softer)
    weighted = np.nan_to_num(strip.values) * weight
    explained = ((weighted @ q) ** 2).reshape(SEGMENTS, len(PLACES_PX), -1).sum(2).T
    return np.maximum((weighted**2).sum(1) - explained, 1e-9) / (weight**2).sum()


def _best_model(strip: _Strip, blur: float, band: float) -> tuple[Array, float]:
    """Errors (places, segments) of the model that explains a strip best at this blur, and its penalised logarithm."""
    noise = max((0.5 * strip.noise) ** 2, 2e-5)
    best, score = np.empty(0), math.inf
    for width, softer in ((band if band > 0.3 else 0.0, 0.0), *SHADOWS_PX):
        error = _errors(strip, blur, width, softer)
        s = math.log(float(np.median(error.min(0))) + noise) + (MUCH_BETTER if best.size else 0.0)
        if s < score:
            best, score = error, s
    return best, score


def strips(sample: Sampler, corners: Array, inset: float) -> list[_Strip] | None:
    """The four strips along ordered corners' sides; `inset`: length left out at each end, for the rounded tips."""
    read = [_strip(sample, a, b, REACH_PX, 0.5, inset) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)]
    good = [s for s in read if s is not None]
    return good if len(good) == 4 else None


def fit_sides(four: list[_Strip], corners: Array, bands: list[float]) -> list[Side] | None:
    """Fit the sides of ordered corners that lie within 3 px of the truth; None when one of them is lost.

    `bands`: width in pixels of the side face that shows, 0 if hidden; a line of shadow of another width is taken in
    where it explains a profile much better.  One blur serves all sides read by light; those read by colour have their
    own, since JPEG keeps colour at half the resolution.
    """
    fits = [[_best_model(s, blur, band) for blur in BLURS_PX] for s, band in zip(four, bands, strict=True)]
    scores = np.array([[score for _, score in side] for side in fits])
    by_light = [i for i, s in enumerate(four) if not s.by_colour]
    shared = int(np.argmin(scores[by_light].sum(0))) if by_light else 0
    sides = []
    for i, strip in enumerate(four):
        blur = int(np.argmin(scores[i])) if strip.by_colour else shared
        side = _fit_side(strip, corners[i], corners[(i + 1) % 4], fits[i][blur][0])
        if side is None:
            return None
        sides.append(side)
    return sides


def _fit_side(strip: _Strip, a: Array, b: Array, best: Array) -> Side | None:
    """The side near the line a to b, from the errors (places, segments) of the model that explains it."""
    n = len(PLACES_PX)
    at = best.argmin(0)
    clear = (at > 0) & (at < n - 1)
    inner = np.clip(at, 1, n - 2)
    k = np.arange(SEGMENTS)
    e0, e1, e2 = best[inner - 1, k], best[inner, k], best[inner + 1, k]
    bend = e0 - 2 * e1 + e2
    shift = np.where(bend > 0, 0.5 * (e0 - e2) / np.where(bend > 0, bend, 1), 0)
    y = PLACES_PX[inner] + np.clip(shift, -1, 1) * (PLACES_PX[1] - PLACES_PX[0])
    clear &= np.abs(np.nan_to_num(strip.values))[:, strip.offsets > 0].max(1) > 4 * strip.noise
    return _side(strip, a, b, y, clear)


def _side(strip: _Strip, a: Array, b: Array, y: Array, clear: NDArray[np.bool_]) -> Side | None:
    slope, offset, on = _robust_line(strip.at, y, clear, 0.8)
    if on.sum() < 4:
        return None
    left = y - offset - slope * strip.at
    residual = 1.4826 * float(np.median(np.abs(left[on])))
    keep = on & (np.abs(left) <= max(3 * residual, 0.15))
    if keep.sum() >= 4:
        slope, offset = (float(c) for c in np.polyfit(strip.at[keep], y[keep], 1))
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
        start, end, bow, u_bow, scatter, max(scatter / np.sqrt(count), 0.01), count / SEGMENTS, strip.contrast, ends
    )


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
