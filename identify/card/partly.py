"""Why no card was found, where one seems to be there in part: cut by the picture's edge, or covered.

Looked for only when no card was found; it decides words, never a card.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.card.propose import CUTS, MIN_SIDE_PX, gradient, patches
from identify.geometry import Array

CUT = "a grey thing that could be the card reaches over the edge of the photo, so that not all its corners are seen"
COVERED = "a grey thing of about the card's shape was seen, but part of it is covered"
SOLID = 0.93
"""Least share of its hull that a cut card covers."""
LARGEST = 0.4
"""Of the picture: more is ground."""
SQUARE_DEG = 16.0
"""How far a tilted card's corners may look from right angles."""
FILL = (0.6, 0.94)
"""Share of its upright rectangle that a partly covered card still shows."""


def seen_in_part(picture: NDArray[np.float32], aspect: float, could_be_grey: Callable[[Array], bool]) -> str | None:
    """What seems to be a card in part, in words; None when nothing does.

    `picture` (h, w, 3): see `propose.perceptual`; `aspect`: the card's longer side over its shorter one;
    `could_be_grey`: whether linear RGB (3,) may be a grey card's.
    """
    edges = gradient(picture)
    h, w = edges.shape
    covered = False
    for cut in CUTS[1::2]:
        for part in patches((edges < cut).astype(np.uint8), at_edge=True):
            mask, contour = part.mask, part.outline
            area = int(np.count_nonzero(mask))
            if area < 4 * MIN_SIDE_PX**2 or area > LARGEST * h * w:
                continue
            if not could_be_grey(_light(mask, part.corner, picture)):
                continue
            hull = cv2.convexHull(contour)
            polygon = cv2.approxPolyDP(hull, 0.025 * cv2.arcLength(hull, True), True)[:, 0].astype(float)
            if _reaches_edge(polygon, w, h):
                if cv2.contourArea(contour) > SOLID * cv2.contourArea(hull) and _free_corners(polygon, w, h) >= 2:
                    return CUT
                continue
            size = cv2.minAreaRect(contour)[1]
            long, short = max(size), max(min(size), 1.0)
            fill = cv2.contourArea(contour) / (long * short)
            covered = covered or (abs(np.log(long / short / aspect)) < 0.08 and FILL[0] < fill < FILL[1])
    return COVERED if covered else None


def _light(mask: NDArray[np.uint8], corner: tuple[int, int], picture: NDArray[np.float32]) -> Array:
    x, y = corner
    h, w = mask.shape
    return np.array(cv2.mean(picture[y : y + h, x : x + w], mask=mask)[:3]) ** 2


def _at_edge(points: Array, w: int, h: int) -> NDArray[np.bool_]:
    x, y = points.T
    return np.asarray((x <= 2) | (y <= 2) | (x >= w - 3) | (y >= h - 3), bool)


def _reaches_edge(polygon: Array, w: int, h: int) -> bool:
    return bool(_at_edge(polygon, w, h).any())


def _free_corners(polygon: Array, w: int, h: int) -> int:
    """How many corners (n, 2) within the picture look like right angles."""
    before, after = np.roll(polygon, 1, 0) - polygon, np.roll(polygon, -1, 0) - polygon
    cosine = (before * after).sum(1) / np.maximum(np.hypot(*before.T) * np.hypot(*after.T), 1e-9)
    square = np.abs(cosine) < np.sin(np.radians(SQUARE_DEG))
    long = np.minimum(np.hypot(*before.T), np.hypot(*after.T)) > MIN_SIDE_PX / 2
    return int((square & long & ~_at_edge(polygon, w, h)).sum())
