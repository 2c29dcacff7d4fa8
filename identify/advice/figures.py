"""What the picture itself shows of a photo's quality, beside what was measured from it: blur, noise, glare, shadow and
uneven light.  Figures only; `rules` says what they mean."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.advice.blur import LUMINANCE, bait_blur, card_blur, window_around
from identify.geometry import Array, resample_closed
from identify.photo import Photo
from identify.records import Measurement, PhotoRecord, Polygon

LONG_SIDE = 1000
RING = 0.22
"""Width of the ring of ground that is looked at around a thing, as a share of the thing's length."""
HARD, SMOOTH = 16.0, 0.009
"""A hard shadow's edge: light drops by all of the ground's light within the thing's length over this (4 mm of 70),
after a blur of this share of the length, which the grain of wood and cloth does not outlast."""
IN_SHADOW = 0.62
"""Share of the ground's light below which ground counts as shaded."""
BROAD = 0.04
"""Least width of a shadow, as a share of the ring's size (root of its area)."""
TOO_DARK_GROUND = 0.012
"""Linear light of a ground on which shadows can't be seen."""


@dataclass(frozen=True)
class BaitFigures:
    """Of one bait.  `blur_px`: standard deviation of the blur at its outline, None where no edge is clear enough.
    `clipped`: share of its pixels with a channel at the end of its range; `glare`: share that is clipped or far lighter
    than its neighbourhood.  `hard_shade`: length of hard edges of shadow around it, as a share of its own.
    `light_to_card`: light on the ground beside it over that beside the card.  `gap_to_card`, `gap_to_bait`: distance to
    the card and to the nearest other bait, as a share of the card's longer side and of its own length."""

    blur_px: float | None
    clipped: float
    glare: float
    hard_shade: float
    light_to_card: float | None
    gap_to_card: float | None
    gap_to_bait: float | None


@dataclass(frozen=True)
class PhotoFigures:
    """Of one photo.  `card_blur_px`: standard deviation of the blur across the card's sides, in the direction in which
    it is largest; `noise`: standard deviation of a pixel's light on the card, of the card's light.  None without
    card."""

    card_blur_px: float | None
    noise: float | None
    baits: tuple[BaitFigures, ...]


def look(photo: Photo, record: PhotoRecord) -> PhotoFigures:
    """Read the figures of a photo that was measured as `record`."""
    corners = record.card.corners_px if record.card is not None and record.card.found else None
    ground = _Ground(photo, record)
    baits = tuple(_bait(photo, b.measurement, record, ground) for b in record.baits)
    if corners is None:
        return PhotoFigures(None, None, baits)
    return PhotoFigures(card_blur(photo, np.array(corners)), card_noise(photo, np.array(corners)), baits)


def _bait(photo: Photo, m: Measurement, record: PhotoRecord, ground: _Ground) -> BaitFigures:
    outline = np.array(m.outline_px)
    clipped, glare = _glare(photo, outline)
    others = [b.measurement.outline_px for b in record.baits if b.measurement.number != m.number]
    length = math.dist(m.nose_px, m.tail_px)
    shade = ground.hard_shade(m.outline_px, length)
    gap = min((_gap(outline, np.array(o)) for o in others), default=None)
    to_card = light = None
    if record.card is not None and record.card.corners_px is not None:
        card = np.array(record.card.corners_px)
        middle = outline.mean(0).tolist()
        if (
            cv2.pointPolygonTest(card.astype(np.float32), middle, False) < 0
        ):  # else it lies on the sheet that is the card
            to_card = _gap(outline, card) / _longest_side(card)
            light = ground.light_between(m.outline_px, record.card.corners_px)
    return BaitFigures(
        bait_blur(photo, outline), clipped, glare, shade, light, to_card, None if gap is None else gap / length
    )


def _longest_side(corners: Array) -> float:
    return float(np.hypot(*(np.roll(corners, -1, 0) - corners).T).max())


def _gap(one: Array, other: Array) -> float:
    """Smallest distance between two closed polygons, 0 where they meet."""
    if cv2.intersectConvexConvex(_hull(one), _hull(other))[0] > 0:
        inside = any(cv2.pointPolygonTest(other.astype(np.float32), (float(x), float(y)), False) > 0 for x, y in one)
        if inside:
            return 0.0
    a, b = resample_closed(one, 160), resample_closed(other, 160)
    return float(np.sqrt(((a[:, None] - b[None]) ** 2).sum(2).min()))


def _hull(points: Array) -> NDArray[np.float32]:
    return np.asarray(cv2.convexHull(points.astype(np.float32)), np.float32)


# noise and glare


def card_noise(photo: Photo, corners: Array) -> float | None:
    """Noise of a pixel's light, of the light itself, in the middle of the card (Immerkær 1996, Computer Vision and
    Image Understanding 64: differences of Laplacians, blind to any plane)."""
    middle = corners.mean(0)
    window = window_around(middle + 0.35 * (corners - middle), photo, 0)
    if window is None or window[2] - window[0] < 12 or window[3] - window[1] < 12:
        return None
    light = photo.linear(window) @ LUMINANCE
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    left = np.abs(cv2.filter2D(light, -1, kernel))[1:-1, 1:-1]
    # the median of |x| is 0.6745 σ; of the mask's σ the kernel makes 6
    return float(np.median(left)) / 0.6745 / 6 / max(float(light.mean()), 1e-4)


def _glare(photo: Photo, outline: Array) -> tuple[float, float]:
    """Shares of a body's pixels that are clipped, and that are clipped or glare."""
    window = window_around(outline, photo, 0)
    if window is None:
        return 0.0, 0.0
    shrink = max(1, math.ceil(max(window[2] - window[0], window[3] - window[1]) / 500))
    light = photo.linear(window, shrink)
    full = photo.clipped(window, shrink)[: light.shape[0], : light.shape[1]]
    mask = np.zeros(light.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round((outline - window[:2]) / shrink).astype(np.int32)], 1)
    body = mask > 0
    if body.sum() < 20:
        return 0.0, 0.0
    lum = light @ LUMINANCE
    usual = cv2.blur(lum * body, (31, 31)) / np.maximum(cv2.blur(body.astype(np.float32), (31, 31)), 1e-3)
    bright = (lum > 1.8 * usual) & (lum > 0.25)
    return float(full[body].mean()), float((full | bright)[body].mean())


# light on the ground


class _Ground:
    """Light on the ground of one photo, everything found on it left out."""

    def __init__(self, photo: Photo, record: PhotoRecord) -> None:
        picture, self.shrink = photo.reduced(LONG_SIDE)
        self.light = np.asarray(picture @ LUMINANCE, np.float32)
        self.bare: NDArray[np.uint8] = np.ones(self.light.shape, np.uint8)
        things = [b.measurement.outline_px for b in record.baits] + [s.outline_px for s in record.set_aside]
        if record.card is not None and record.card.corners_px is not None:
            things.append(record.card.corners_px)
        for thing in (t for t in things if len(t)):
            cv2.fillPoly(self.bare, [self._own(thing)], 0)
        self.bare = np.asarray(cv2.erode(self.bare, np.ones((5, 5), np.uint8)), np.uint8)

    def _own(self, polygon: Polygon) -> NDArray[np.int32]:
        return np.round((np.array(polygon) + 0.5) / self.shrink - 0.5).astype(np.int32)

    def _ring(self, polygon: Polygon) -> tuple[NDArray[np.float32], NDArray[np.bool_]] | None:
        """The picture around a thing, and which of its pixels are bare ground near the thing."""
        own = self._own(polygon)
        low, high = own.min(0), own.max(0)
        width = max(6, round(RING * math.hypot(*(high - low))))
        h, w = self.light.shape
        x0, y0 = np.maximum(low - width, 0)
        x1, y1 = np.minimum(high + width + 1, [w, h])
        if x1 - x0 < 8 or y1 - y0 < 8:
            return None
        apart = np.ones((y1 - y0, x1 - x0), np.uint8)
        cv2.fillPoly(apart, [own - [x0, y0]], 0)
        ring = (cv2.distanceTransform(apart, cv2.DIST_L2, 3) < width) & (self.bare[y0:y1, x0:x1] > 0)
        return (self.light[y0:y1, x0:x1], ring) if ring.sum() >= 50 else None

    def hard_shade(self, polygon: Polygon, length_px: float) -> float:
        """How long hard edges of shadow on the ground around a thing are, as a share of its length: edges of broad dark
        patches across which light drops as fast as HARD says."""
        found = self._ring(polygon)
        if found is None:
            return 0.0
        light, ring = found
        lit = float(np.percentile(light[ring], 75))
        if lit < TOO_DARK_GROUND:
            return 0.0
        length = max(length_px / self.shrink, 1.0)
        # the thing's own light is kept out of the blur
        spread = max(0.8, SMOOTH * length)
        weight = cv2.GaussianBlur(ring.astype(np.float32), (0, 0), spread)
        ratio = np.asarray(cv2.GaussianBlur(light * ring / lit, (0, 0), spread) / np.maximum(weight, 0.02), np.float32)
        # a shadow is broad; the grain of wood and folds of cloth are not
        size = max(5, round(BROAD * math.sqrt(float(ring.sum()))))
        dark = cv2.morphologyEx(((ratio < IN_SHADOW) & ring).astype(np.uint8), cv2.MORPH_OPEN, np.ones((size, size)))
        gx, gy = cv2.Sobel(ratio, cv2.CV_32F, 1, 0, scale=1 / 8), cv2.Sobel(ratio, cv2.CV_32F, 0, 1, scale=1 / 8)
        steepest = cv2.dilate(cv2.magnitude(gx, gy), np.ones((5, 5), np.uint8))  # the rim lies a pixel or two beside it
        rim = (cv2.dilate(dark, np.ones((3, 3), np.uint8)) > dark) & ring
        return float((rim & (steepest > HARD / length)).sum() / length)

    def light_between(self, one: Polygon, other: Polygon) -> float | None:
        """Light on the ground beside one thing over that beside another."""
        found = [self._ring(p) for p in (one, other)]
        levels = [float(np.percentile(f[0][f[1]], 60)) for f in found if f is not None]
        return levels[0] / max(levels[1], 1e-4) if len(levels) == 2 else None
