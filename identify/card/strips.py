"""Strips across the card's sides: light averaged along segments of a side, from inside the card to the ground."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.card.medians import median, middle
from identify.geometry import Array
from identify.photo import Photo

Sampler = Callable[[Array], Array]
"""Linear RGB (n, 3) at points (n, 2) of the photo; NaN outside the frame."""

SEGMENTS = 12
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
SLANT_PX, MOST_PARTS = 60.0, 8
CLEARER = 3.0
SHADOW_STEP = 0.12
"""Logarithm by which the card's light must leave a line along a side to be a shadow's doing."""
CLEAR_TINT = 6.0
"""How clearly a ground must differ in colour, over what varies along the side, for its shadow to be told by it."""


def sampler(picture: NDArray[np.float32]) -> Sampler:
    """Bilinear sampler of a picture (h, w, 3) in its own pixels."""

    def sample(points: Array) -> Array:
        x, y = np.ascontiguousarray(points.T)
        return _sample(picture, x, y)

    return sample


def _sample(picture: NDArray[np.float32], x: Array, y: Array) -> Array:
    h, w = picture.shape[:2]
    rows = 4096  # remap takes no side longer than 32767
    maps = x.astype(np.float32), y.astype(np.float32)
    parts = [
        cv2.remap(picture, maps[0][None, i : i + rows], maps[1][None, i : i + rows], cv2.INTER_LINEAR)[0]
        for i in range(0, len(x), rows)
    ]
    values = np.concatenate(parts).astype(float)
    if x.min() < 0 or y.min() < 0 or x.max() > w - 1 or y.max() > h - 1:
        values[(x < 0) | (y < 0) | (x > w - 1) | (y > h - 1)] = np.nan
    return values


def sample_photo(photo: Photo) -> Sampler:
    """Bilinear sampler of a photo at full resolution, which reads windows around the points only.

    Points that follow each other should lie near each other.
    """

    def sample(points: Array) -> Array:
        values = np.full((len(points), 3), np.nan)
        xs, ys = np.ascontiguousarray(points.T)
        # a slanted row of points takes little of the window around it, so that it is cut into several
        slant = min(float(np.ptp(xs)), float(np.ptp(ys))) if len(points) else 0.0
        parts = int(np.clip(slant / SLANT_PX, 1, MOST_PARTS))
        for first, last in pairwise(np.linspace(0, len(points), parts + 1).astype(int)):
            x, y = xs[first:last], ys[first:last]
            if not len(x):
                continue
            x0, y0 = (max(math.floor(v.min()) - 1, 0) for v in (x, y))
            x1, y1 = min(math.ceil(x.max()) + 2, photo.width), min(math.ceil(y.max()) + 2, photo.height)
            if x1 - x0 > 1 and y1 - y0 > 1:
                values[first:last] = _sample(photo.linear((x0, y0, x1, y1)), x - x0, y - y0)
        return values

    return sample


@dataclass(frozen=True, eq=False)
class Strip:
    """Profiles (segments, offsets) across one side: 0 on the card, 1 where they depart from it most.

    `bright_ground`: the ground is more than twice as bright as the card, so that a shadow on it may look like the card.
    `by_shadow`: a line of shadow may show, which takes a ground that is brighter than the card.  `tinted`: the
    same strip read along the ground's own colour, on a bright ground that has one.
    """

    at: Array
    offsets: Array
    values: Array
    noise: float
    contrast: float
    by_colour: bool
    bright_ground: bool
    by_shadow: bool
    tinted: Strip | None


def read_strip(sample: Sampler, a: Array, b: Array, offsets: Array, level: float, inset: float) -> Strip | None:
    """The strip along the side a to b (corners clockwise as seen, so that outside lies to the left of one who walks).

    `offsets` (k,) from the line, outwards, those below `level` surely on the card; `inset`: left out at each end.  None
    when too little of it is in the photo, or nothing departs from the card.
    """
    length = float(np.hypot(*(b - a)))
    along = (b - a) / length
    out = np.array([along[1], -along[0]])
    first, last = inset, length - inset
    if last - first < 6:
        return None
    each = int(np.clip((last - first) / SEGMENTS, 2, 24))
    at = np.linspace(first, last, SEGMENTS * each)
    grid = a + at[:, None, None] * along + offsets[None, :, None] * out
    profile = sample(grid.reshape(-1, 2)).reshape(SEGMENTS, each, len(offsets), 3).mean(1)
    inside = offsets < level
    if np.isnan(profile.sum()):
        missing = np.isnan(profile)
        if missing.mean() > 0.3 or missing[:, inside].any():
            return None
        profile = np.where(missing, np.nanmedian(np.where(missing, np.nan, profile)), profile)
    profile = _evened(profile, inside)
    mean = middle(profile)
    top = middle(mean[inside])
    light = max(float(top @ LUMINANCE), 1e-4)
    beyond = mean[~inside] - top
    if not np.abs(beyond).max() > 1e-5:
        return None
    at = at.reshape(SEGMENTS, each).mean(1)
    # JPEG keeps light sharper than colour, so colour is read only where it stands out much more clearly: where the
    # ground is about as bright as the card, and its grain drowns the difference
    strongest, colourful = int(np.argmax(np.abs(beyond @ LUMINANCE))), int(np.argmax(np.abs(beyond).max(1)))
    tint = beyond[colourful] / np.abs(beyond[colourful]).sum()
    by_light, by_colour = (_clarity(profile, ~inside, k, d) for k, d in ((strongest, LUMINANCE), (colourful, tint)))
    read_colour = CLEARER * by_light < by_colour
    k, direction = (colourful, tint) if read_colour else (strongest, LUMINANCE)
    scale = float(beyond[k] @ direction)
    if not np.isfinite(scale) or abs(scale) < 1e-5:
        return None
    values, noise = _in_units(profile @ direction, inside, scale)
    brighter = float((mean[-4:].mean(0) - top) @ LUMINANCE) / light
    tinted = _tinted(profile, mean, top, inside, at, offsets) if brighter > 1.0 else None
    return Strip(
        at,
        offsets,
        values,
        noise,
        abs(scale) / light,
        read_colour,
        brighter > 1.0,
        brighter > 0 and not read_colour,
        tinted,
    )


def _evened(profile: Array, inside: NDArray[np.bool_]) -> Array:
    """The profile with each segment's light as on the middle one's card, where a shadow's edge crosses the side: it
    darkens card and ground alike."""
    level = np.log(np.maximum((profile[:, inside] @ LUMINANCE).mean(1), 1e-5))
    count = np.arange(SEGMENTS) - (SEGMENTS - 1) / 2
    off = level - level.mean() - count * (count @ level) / (count @ count)
    if np.abs(off).max() < SHADOW_STEP:
        return profile
    return np.asarray(profile * np.exp(median(level) - level)[:, None, None])


def _tinted(
    profile: Array, mean: Array, top: Array, inside: NDArray[np.bool_], at: Array, offsets: Array
) -> Strip | None:
    """The strip read along the colour in which the ground differs from the card, whatever the light; None where it
    hardly does.

    A shadow on a bright ground may be just as bright as the card, but it keeps the ground's colour.
    """
    card = top / max(float(np.linalg.norm(top)), 1e-6)
    beyond = mean[~inside]
    across = beyond - (beyond @ card)[:, None] * card
    k = int(np.argmax((across**2).sum(1)))
    direction = across[k] / max(float(np.abs(across[k]).sum()), 1e-9)
    scale = float(across[k] @ direction)
    if scale < 1e-4 or _clarity(profile, ~inside, k, direction) < CLEAR_TINT:
        return None
    values, noise = _in_units(profile @ direction, inside, scale)
    if noise > 0.03:
        return None
    return Strip(at, offsets, values, noise, 0.0, True, True, True, None)


def _in_units(projected: Array, inside: NDArray[np.bool_], scale: float) -> tuple[Array, float]:
    """Profiles (segments, offsets) from 0 on the card to 1 at a step of `scale`, and their noise; the card's level may
    run along the side with the light."""
    card = middle(projected[:, inside].T)
    count = np.arange(SEGMENTS) - (SEGMENTS - 1) / 2
    card = card.mean() + count * (count @ card) / (count @ count)
    units = (projected - card[:, None]) / scale
    return units, max(1.4826 * median(np.abs(units[:, inside]).ravel()), 1e-3)


def _clarity(profile: Array, outside: NDArray[np.bool_], at: int, direction: Array) -> float:
    """How far ground and card differ, read along a direction of colour, over how much that varies along the side."""
    v = profile @ direction
    step = v[:, outside][:, max(at - 1, 0) : at + 2].mean(1) - v[:, ~outside].mean(1)
    return float(abs(step.mean()) / (step.std() + 0.002 * abs(v.mean()) + 1e-6))
