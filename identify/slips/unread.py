"""Whether a thing in a photo is a slip whose code cannot be read: paper with the grain of a QR code on it.

A code is a square patch that is full of edges, along the paper's sides and across, about half of it dark.  No published
source for the figures: they lie between what blurred and spoilt codes show and what other things on a table do.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array

LONG = 240
"""The thing is looked at so many pixels long: three to a module."""
INSET = 0.04
"""Of the thing's sides, left out: its own edge."""
SQUARE, FILLED = 1.35, 0.75
SHARE = (0.25, 1.05)
"""Side of the code to the thing's longer side."""
DARK = (0.3, 0.7)
ALONG, EVEN = 0.08, 0.3
"""Least share of edges that run along the sides (0 for edges every way, 1 for all along a side); and how far the one
direction may outweigh the other."""
GRAIN = 0.05
"""Least mean step from pixel to pixel, of the range from dark to light."""
CONTRAST = 35.0
"""Least range in grey levels."""


def looks_like_a_code(grey: NDArray[np.uint8], outline: Array) -> bool:
    """`grey` (h, w): a picture; `outline` (n, 2): the thing in its pixels."""
    upright = _upright(grey, outline)
    low, high = np.percentile(upright, (3, 97))
    if high - low < CONTRAST:
        return False
    light = np.clip((upright - low) / (high - low), 0, 1).astype(np.float32)
    soft = cv2.GaussianBlur(light, (0, 0), 1.0)
    dx, dy = (cv2.Sobel(soft, cv2.CV_32F, *axis, ksize=3) / 8 for axis in ((1, 0), (0, 1)))
    steps = np.hypot(dx, dy)
    patch = _busiest(steps)
    if patch is None:
        return False
    weight, angle = steps[patch], np.arctan2(dy[patch], dx[patch])
    fourfold, twofold = (float((weight * np.cos(k * angle)).sum() / weight.sum()) for k in (4, 2))
    dark = float((light[patch] < 0.5).mean())
    return bool(fourfold > ALONG and abs(twofold) < EVEN and DARK[0] < dark < DARK[1] and float(weight.mean()) > GRAIN)


def _upright(grey: NDArray[np.uint8], outline: Array) -> NDArray[np.uint8]:
    """The smallest rectangle around the thing, its long side lying, less its edge."""
    centre, sides, degrees = cv2.minAreaRect(outline.astype(np.float32))
    inner = (sides[0] * (1 - 2 * INSET), sides[1] * (1 - 2 * INSET))
    corners = cv2.boxPoints((centre, inner, degrees))
    if np.hypot(*(corners[1] - corners[0])) < np.hypot(*(corners[2] - corners[1])):
        corners = np.roll(corners, -1, 0)
    high = max(8, round(LONG * min(sides) / max(max(sides), 1e-6)))
    target = np.array([[0, 0], [LONG, 0], [LONG, high]], np.float32) - np.float32(0.5)
    move = cv2.getAffineTransform(corners[:3].astype(np.float32), target)
    return np.asarray(cv2.warpAffine(grey, move, (LONG, high), flags=cv2.INTER_LINEAR), np.uint8)


def _busiest(steps: NDArray[np.float32]) -> NDArray[np.bool_] | None:
    """The largest patch that is full of edges, (h, w) bool, less its rim; None if it is not about square."""
    reach = LONG // 14 | 1
    texture = cv2.blur(steps, (reach, reach))
    busy = (texture > 0.5 * float(np.percentile(texture, 97))).astype(np.uint8)
    busy = np.asarray(cv2.morphologyEx(busy, cv2.MORPH_OPEN, np.ones((reach, reach), np.uint8)), np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(busy, connectivity=4)
    if count < 2:
        return None
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    width, height, area = (int(stats[largest, k]) for k in (cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT, cv2.CC_STAT_AREA))
    long, short = max(width, height), min(width, height)
    if long > SQUARE * short or area < FILLED * width * height or not SHARE[0] < long / LONG < SHARE[1]:
        return None
    patch = cv2.erode((labels == largest).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    return patch if patch.any() else None
