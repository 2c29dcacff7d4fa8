"""Which pixels belong to things and which to the ground or to a shadow on it.

A thing differs from the ground in chroma, or is brighter than the ground can be, or is darker behind a hard edge.  A
shadow keeps the ground's chroma and fades out.  What is sure on either side seeds a watershed (Meyer 1992, as in
OpenCV), which puts the border where the step between the two is steepest.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.separate.ground import Ground, Plane

Mask = NDArray[np.bool_]

_CHROMA_SURE, _CHROMA_MAYBE = 5.0, 2.5
_BRIGHT_SURE, _BRIGHT_MAYBE = 1.6, 1.0


def disc(radius: float) -> NDArray[np.uint8]:
    """A round structuring element."""
    r = max(0, round(radius))
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1)).astype(np.uint8)


def opened(mask: Mask, radius: float) -> Mask:
    """Morphological opening by a disc."""
    return cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, disc(radius)) > 0


def grown(mask: Mask, radius: float) -> Mask:
    """Dilation by a disc."""
    return cv2.dilate(mask.astype(np.uint8), disc(radius)) > 0


def steps(difference: Plane) -> Plane:
    """How steep luminance or chroma changes from pixel to pixel (per pixel, logs): (h, w)."""
    steepest = None
    for k, weight in ((0, 1.0), (1, 1.0), (2, 1.0)):
        dx = cv2.Scharr(difference[..., k], cv2.CV_32F, 1, 0)
        dy = cv2.Scharr(difference[..., k], cv2.CV_32F, 0, 1)
        size = cv2.magnitude(dx, dy) * np.float32(weight / 32)
        steepest = size if steepest is None else cv2.max(steepest, size)
    assert steepest is not None
    return steepest


def first_look(difference: Plane, ground: Ground) -> tuple[Mask, Mask]:
    """Pixels that surely are things, and pixels that may be things or shadows."""
    chroma = ground.chroma_distance(difference)
    up = difference[..., 0] / ground.bright
    sure = (chroma > _CHROMA_SURE) | (up > _BRIGHT_SURE)
    maybe = (chroma > _CHROMA_MAYBE) | (up > _BRIGHT_MAYBE) | (difference[..., 0] < -ground.dark)
    return sure, maybe


def part(difference: Plane, ground: Ground, usable: Mask, grain: float) -> NDArray[np.int32]:
    """Label every pixel: 1 ground or shadow, 2 thing, -1 between.

    `difference` (h, w, 3): traits less those of the lit ground, lightly smoothed.  `grain`: pixels that a thin thing (a
    hook's wire) is wide.
    """
    sure, maybe = first_look(difference, ground)
    steep = steps(difference)
    bare = ~maybe & usable
    limit = float(np.quantile(steep[bare], 0.98)) if bare.sum() > 100 else 0.05
    hard = steep > max(1.5 * limit, 0.06)
    thing = opened(sure & usable, 1)
    flooded = _flood(~hard & ~sure & usable, bare & ~grown(maybe, 1), max(1.0, grain / 2))
    dark = opened(maybe & ~sure & ~flooded & usable & ~hard, 1)
    chroma = ground.chroma_distance(difference)
    markers = np.zeros(sure.shape, np.int32)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(dark.astype(np.uint8), connectivity=4)
    for k in range(1, count):
        if stats[k, cv2.CC_STAT_AREA] < 12:
            continue
        x, y, w, h = stats[k, :4]
        here = labels[y : y + h, x : x + w] == k
        if float(np.median(chroma[y : y + h, x : x + w][here])) > 1.7:
            markers[y : y + h, x : x + w][here] = 2
    markers[flooded] = 1
    markers[thing] = 2
    markers[~usable] = 1
    view = np.clip(128 + difference * np.array([45, 60, 60], np.float32), 0, 255).astype(np.uint8)
    cv2.watershed(view, markers)
    markers[:, [0, -1]] = markers[:, [1, -2]]
    markers[[0, -1]] = markers[[1, -2]]
    return markers


def _flood(passable: Mask, start: Mask, radius: float) -> Mask:
    """What can be reached from `start` through `passable` by a disc of this radius."""
    wide = opened(passable, radius)
    _, labels = cv2.connectedComponents(wide.astype(np.uint8), connectivity=4)
    reached = np.unique(labels[start & wide])
    table = np.zeros(int(labels.max()) + 1, bool)
    table[reached[reached > 0]] = True
    return table[labels]
