"""Whether a thing in a photo is a slip whose code cannot be read: paper with the grain of a QR code on it.

A code is a square patch that is full of edges in two directions at right angles, equally strong, about half of it dark.
Common practice of finding codes by their texture, no published source for the figures, which stand far from what other
things on a table reach.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

SIDE = 160
"""The thing is looked at so many pixels long: two to a module."""
SQUARE, FILLED = 1.4, 0.75
SHARE = (0.22, 0.85)
"""Side of the code to the thing's longer side."""
FOURFOLD, TWOFOLD = 0.3, 0.3
DARK = (0.3, 0.7)
GRAIN = 0.12
"""Least mean step from pixel to pixel, of the range from dark to light."""


def looks_like_a_code(grey: NDArray[np.uint8]) -> bool:
    """`grey` (h, w): the thing's surroundings, no longer than SIDE or so, the thing filling most of it."""
    if min(grey.shape) < 16:
        return False
    light = grey.astype(np.float32)
    low, high = np.percentile(light, (3, 97))
    if high - low < 30:
        return False
    light = np.clip((light - low) / (high - low), 0, 1).astype(np.float32)
    dx, dy = cv2.Sobel(light, cv2.CV_32F, 1, 0, ksize=3) / 4, cv2.Sobel(light, cv2.CV_32F, 0, 1, ksize=3) / 4
    steps = np.hypot(dx, dy)
    reach = max(5, SIDE // 14) | 1
    texture = cv2.blur(steps, (reach, reach))
    busy = (texture > 0.5 * float(np.percentile(texture, 98))).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(busy, connectivity=4)
    if count < 2:
        return False
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    patch = labels == largest
    contour = max(cv2.findContours(patch.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0], key=len)
    sides = np.array(cv2.minAreaRect(contour)[1]) + 1
    area = float(np.count_nonzero(patch))
    if sides.max() > SQUARE * sides.min() or area < FILLED * sides.prod():
        return False
    if not SHARE[0] < sides.max() / max(grey.shape) < SHARE[1]:
        return False
    inner = cv2.erode(patch.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    weight = steps[inner]
    if not weight.size or weight.mean() < GRAIN:
        return False
    angle = np.arctan2(dy[inner], dx[inner])
    fourfold, twofold = (abs((weight * np.exp(1j * k * angle)).sum()) / weight.sum() for k in (4, 2))
    dark = float((light[inner] < 0.5).mean())
    return bool(fourfold > FOURFOLD and twofold < TWOFOLD and DARK[0] < dark < DARK[1])
