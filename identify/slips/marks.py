"""Corner marks of a QR code (ISO/IEC 18004: dark squares of 7, 5 and 3 modules in one another).

Where a bait or its hooks lie over a code, so that no reader sees it, one of its marks still says that it is there.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array

LONG = 1600
"""The photo is looked at about so many pixels long: half of one of 3 megapixels."""
SMALLEST, LARGEST = 6.0, 0.12
"""Side of the light square, at least so many pixels; of a mark, at most this share of the photo."""
CORE = (0.16, 0.6)
"""Area of the inner dark square, of the light one around it: 9 of 25, less or more with blur."""
SQUARE, LONGER = 0.88, 1.5
"""Least share of the smallest rectangle around it that the light square fills (a disk, such as an eye, fills 0.79), and
how much longer than wide it may be, seen askance."""
CENTRED = 0.12
"""How far the middles of the two squares lie apart, of the side."""
OUTER = 7 / 5
"""Side of the outer dark square to that of the light one."""
CORE_SIDE, RING, AROUND = 2 / 5, 4 / 5, 8 / 5
"""Squares, in units of the light one, that run on the inner dark one, on the light one, and on the light rim around the
mark, which a tag on a dark ground does not have."""
BARE = 0.4
"""So much of the rim must show."""
BELOW = 12.0
"""Grey levels by which ink is darker than what is around it."""


def corner_marks(grey: NDArray[np.uint8]) -> list[Array]:
    """Corners (4, 2), in pixels, of every mark in a picture (h, w) of grey levels."""
    k = math.ceil(max(grey.shape) / LONG)
    reduced = grey if k == 1 else cv2.resize(grey, None, fx=1 / k, fy=1 / k, interpolation=cv2.INTER_AREA)
    small = np.asarray(reduced, np.uint8)
    reach = int(LARGEST * max(small.shape)) | 1
    dark = cv2.adaptiveThreshold(small, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, reach, BELOW)
    contours, tree = cv2.findContours(dark, cv2.RETR_TREE, cv2.CHAIN_APPROX_SIMPLE)
    found = []
    for hole in range(len(contours)):
        core = int(tree[0, hole, 2])
        if core < 0 or tree[0, hole, 3] < 0:  # the outer square often hangs together with what is dark beside it
            continue
        mark = _mark(*(np.asarray(contours[n], np.int32) for n in (hole, core)))
        if mark is not None and _rim(small, mark) > BARE:
            found.append((mark + 0.5) * k - 0.5)
    return found


def _mark(hole: NDArray[np.int32], core: NDArray[np.int32]) -> Array | None:
    """The corners of a mark by the outlines of its light square and of the dark one in it; None if they are none."""
    place = cv2.minAreaRect(hole)
    long, short = max(place[1]), min(place[1])
    if short < SMALLEST or long > LONGER * short:
        return None
    light, dark = cv2.contourArea(hole), cv2.contourArea(core)
    if not CORE[0] < dark / light < CORE[1] or light < SQUARE * long * short:
        return None
    middle = np.array(place[0])
    if np.hypot(*(np.array(cv2.minAreaRect(core)[0]) - middle)) > CENTRED * long:
        return None
    corners: Array = middle + OUTER * (np.asarray(cv2.boxPoints(place), float) - middle)
    return corners


def _rim(grey: NDArray[np.uint8], mark: Array) -> float:
    """Share of the rim around a mark that is as light as its light square rather than as dark as its dark one."""
    ink, paper, rim = (_along(grey, mark, k / OUTER) for k in (CORE_SIDE, RING, AROUND))
    return float((rim > (np.median(ink) + np.median(paper)) / 2).mean()) if len(rim) else 0.0


def _along(grey: NDArray[np.uint8], mark: Array, k: float) -> NDArray[np.uint8]:
    """Grey levels along a square `k` times as large as a mark."""
    corners = mark.mean(0) + k * (mark - mark.mean(0))
    steps = np.linspace(0, 1, 12, endpoint=False)[:, None]
    x, y = np.rint(
        np.concatenate([a + steps * (b - a) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)])
    ).T
    there = (x >= 0) & (y >= 0) & (x < grey.shape[1]) & (y < grey.shape[0])
    levels: NDArray[np.uint8] = grey[y[there].astype(int), x[there].astype(int)]
    return levels
