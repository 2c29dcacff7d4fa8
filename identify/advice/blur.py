"""How blurred a photo is where it has its sharpest edges: on the card's sides and on a bait."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from identify.geometry import Array
from identify.photo import Photo
from identify.stages import Window

LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
BLURS_PX = 0.4 * 1.22 ** np.arange(13)
"""Standard deviations that are tried; the last stands for "not sharp at all"."""
OFFSETS_PX = np.arange(-9.0, 9.01, 0.5)
ALONG_PX = np.array([-1.0, 0.0, 1.0])
PLACES = 80
CLEAR_STEP = 0.1
"""Least step across an edge, of the light on its brighter side, at which blur can be read."""
EXPLAINED = 0.9
"""Least share of a profile's variance that one blurred step must explain."""
FEWEST = 6
SHARPEST = 25
"""Percentile of blur along an edge that counts: shadows, gloss and rings only make edges softer."""


def blur_of(profiles: Array, offsets: Array) -> Array:
    """Blur (n,) of profiles (n, k) of linear light across an edge: that of the Gaussian-blurred step which explains
    each best, NaN where none does (edge spread function, as in ISO 12233)."""
    shifts = np.arange(-2.0, 2.01, 0.5)
    blurs = np.repeat(BLURS_PX, len(shifts))
    steps = ndtr((offsets - np.tile(shifts, len(BLURS_PX))[:, None]) / blurs[:, None])
    steps -= steps.mean(1, keepdims=True)
    steps /= np.sqrt((steps**2).sum(1, keepdims=True))
    centred = profiles - profiles.mean(1, keepdims=True)
    score = (centred @ steps.T) ** 2
    best = score.argmax(1)
    total = np.maximum((centred**2).sum(1), 1e-12)
    low, high = np.sort(np.stack([profiles[:, :3].mean(1), profiles[:, -3:].mean(1)]), 0)
    good = (score[np.arange(len(best)), best] > EXPLAINED * total) & (high - low > CLEAR_STEP * high)
    return np.where(good, blurs[best], np.nan)


def _sharpest(light: NDArray[np.float32], places: Array, normals: Array) -> float | None:
    """Blur that the sharper edges have, of those at places (n, 2) with unit normals (n, 2), in pixels of the
    picture."""
    tangents = np.column_stack([-normals[:, 1], normals[:, 0]])
    points = places[:, None, None] + ALONG_PX[None, :, None, None] * tangents[:, None, None]
    points = (points + OFFSETS_PX[None, None, :, None] * normals[:, None, None]).astype(np.float32)
    flat = points.reshape(len(places), -1, 2)
    seen = cv2.remap(light, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderValue=math.nan)
    profiles = seen.reshape(points.shape[:3]).mean(1).astype(float)
    blurs = blur_of(profiles[np.isfinite(profiles).all(1)], OFFSETS_PX)
    blurs = blurs[np.isfinite(blurs)]
    return float(np.percentile(blurs, SHARPEST)) if len(blurs) >= FEWEST else None


def window_around(points: Array, photo: Photo, margin: int) -> Window | None:
    """The part of the photo around points (n, 2), None where next to nothing is left of it."""
    x0, y0 = np.maximum(np.floor(points.min(0)).astype(int) - margin, 0)
    x1, y1 = np.minimum(np.ceil(points.max(0)).astype(int) + margin + 1, [photo.width, photo.height])
    return None if x1 - x0 < 8 or y1 - y0 < 8 else (int(x0), int(y0), int(x1), int(y1))


def bait_blur(photo: Photo, outline: Array) -> float | None:
    """Blur in pixels where a bait has its strongest edges (outline, rings, hooks, eye, pattern), None where it has none
    that are clear enough."""
    window = window_around(outline, photo, 24)
    if window is None:
        return None
    light = photo.linear(window) @ LUMINANCE
    root = cv2.GaussianBlur(np.sqrt(np.maximum(light, 0)), (0, 0), 0.8)
    gx, gy = cv2.Sobel(root, cv2.CV_32F, 1, 0), cv2.Sobel(root, cv2.CV_32F, 0, 1)
    strong = cv2.magnitude(gx, gy)
    near = np.zeros(light.shape, np.uint8)
    cv2.fillPoly(near, [np.round(outline - window[:2]).astype(np.int32)], 1)
    strong *= cv2.dilate(near, np.ones((15, 15), np.uint8))
    peaks = strong * (strong == cv2.dilate(strong, np.ones((7, 7), np.uint8)))
    order = np.flatnonzero(peaks)
    order = order[np.argsort(peaks.ravel()[order])[-PLACES:]]
    y, x = np.unravel_index(order, peaks.shape)
    normals = np.column_stack([gx[y, x], gy[y, x]]).astype(float)
    normals /= np.maximum(np.hypot(*normals.T), 1e-9)[:, None]
    return _sharpest(light, np.column_stack([x, y]).astype(float), normals) if len(order) else None


def card_blur(photo: Photo, corners: Array) -> float | None:
    """Blur in pixels across the card's sides: the sharper of two opposite sides (a shadow softens one), the softer of
    the two directions (a camera that moved blurs one)."""
    found: list[float | None] = []
    t = np.linspace(0.12, 0.88, PLACES // 4)[:, None]
    for a, b in zip(corners, np.roll(corners, -1, 0), strict=True):
        along = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        places, out = a + t * (b - a), np.array([along[1], -along[0]])
        window = window_around(places, photo, 12)
        if window is None:
            found.append(None)
            continue
        light = photo.linear(window) @ LUMINANCE
        found.append(_sharpest(light, places - window[:2], np.broadcast_to(out, places.shape)))
    pairs = [[s for s in (found[i], found[i + 2]) if s is not None] for i in (0, 1)]
    return max((min(p) for p in pairs if p), default=None)
