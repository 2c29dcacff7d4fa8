"""Corner marks of a QR code (ISO/IEC 18004: dark squares of 7, 5 and 3 modules in one another).

Where a bait or its hooks lie over a code, so that no reader sees it, one of its marks still says that it is there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array

LONG = 1600
"""The photo is looked at about so many pixels long: half of one of 3 megapixels."""
SMALLEST, LARGEST = 9.0, 0.12
"""Side of a mark: at least so many pixels, at most this share of the photo."""
HOLE, CORE = (0.3, 0.72), (0.07, 0.34)
"""Areas of the light and of the inner dark square, of the outer one: 25 and 9 of 49, less or more with blur."""
SQUARE, LONGER = 0.88, 1.5
"""Least share of the smallest rectangle around it that a mark fills (a disk, such as an eye, fills 0.79), and how much
longer than wide it may be, seen askance."""
CENTRED = 0.12
"""How far the middles of the squares lie apart, of the side."""
BELOW = 12.0
"""Grey levels by which ink is darker than what is around it."""


def corner_marks(grey: NDArray[np.uint8]) -> list[Array]:
    """Corners (4, 2), in pixels, of every mark in a picture (h, w) of grey levels."""
    k = math.ceil(max(grey.shape) / LONG)
    small = grey if k == 1 else cv2.resize(grey, None, fx=1 / k, fy=1 / k, interpolation=cv2.INTER_AREA)
    reach = int(LARGEST * max(small.shape)) | 1
    dark = cv2.adaptiveThreshold(small, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, reach, BELOW)
    contours, tree = cv2.findContours(dark, cv2.RETR_TREE, cv2.CHAIN_APPROX_SIMPLE)
    found = []
    for i in range(len(contours)):
        hole = int(tree[0, i, 2])
        core = int(tree[0, hole, 2]) if hole >= 0 else -1
        if core < 0:
            continue
        mark = _mark([np.asarray(contours[n], np.int32) for n in (i, hole, core)])
        if mark is not None:
            found.append((mark + 0.5) * k - 0.5)
    return found


def _mark(nested: Sequence[NDArray[np.int32]]) -> Array | None:
    """The corners of the outermost of three outlines in one another; None if they are no mark."""
    place = cv2.minAreaRect(nested[0])
    long, short = max(place[1]), min(place[1])
    if short < SMALLEST or long > LONGER * short:
        return None
    area, light, dark = (cv2.contourArea(c) for c in nested)
    if not (HOLE[0] < light / area < HOLE[1] and CORE[0] < dark / area < CORE[1]) or area < SQUARE * long * short:
        return None
    middles = [np.array(cv2.minAreaRect(c)[0]) for c in nested]
    if max(np.hypot(*(m - middles[0])) for m in middles[1:]) > CENTRED * long:
        return None
    corners: Array = np.asarray(cv2.boxPoints(place), float)
    return corners
