"""How strongly the light falls on the bait's place, against the card's.

A lamp a metre away lights the near side of the table by a tenth more than the far side, and lenses darken towards the
corners; the ground, being one stuff, shows both.
"""

from __future__ import annotations

import numpy as np

from identify.calibration import Calibration
from identify.card.medians import median, middle
from identify.geometry import Array
from identify.paint.shading import LUMINANCE
from identify.photo import Photo
from identify.stages import Region

AROUND = (1.08, 1.14, 1.20, 1.26)
"""Frames round the card, as multiples of its size, on which the ground is looked at."""
WITHIN = np.array([[x, y] for x in (-2, 0, 2) for y in (-2, 0, 2)])
"""Pixels about a place that stand for 5 × 5."""
INSIDE = (0.3, 0.55, 0.8, 0.93)
"""The same within a card that the bait lies on: then it is the ground itself."""
SAME_GROUND = 0.15
"""Greatest difference in log ratios of channels for the two to be one ground."""
LIMIT = 0.3
"""Of the log of the ratio: more than that is rather another ground than uneven light."""


def light_level(photo: Photo, region: Region, calibration: Calibration) -> float:
    """Light on the ground at the bait over that at the card; 1 where the two grounds cannot be compared."""
    corners = calibration.card.corners_px
    if corners is None or region.mask.sum() < 40:
        return 1.0
    step = max(1, int(np.sqrt(region.mask.sum()) / 40))
    here = middle(region.ground[::step, ::step][region.mask[::step, ::step]].astype(float))
    on_it = calibration.on_sheet(region.middle_px)
    there = _frames(photo, np.asarray(corners, float), INSIDE if on_it else AROUND)
    if here.min() <= 0 or len(there) < 40:
        return 1.0
    ratios = np.log(np.maximum(there, 1e-5)) - np.log(here)
    chroma = ratios[:, [0, 2]] - ratios[:, [1]]
    same = np.abs(chroma).max(1) < SAME_GROUND
    if same.mean() < 0.3:
        return 1.0
    y = there[same] @ LUMINANCE
    lit = y[y > 0.8 * median(y)]  # without the card's own shadow
    log_ratio = float(np.log(here @ LUMINANCE / median(lit)))
    return float(np.exp(log_ratio)) if abs(log_ratio) < LIMIT else 1.0


def _frames(photo: Photo, corners: Array, sizes: tuple[float, ...]) -> Array:
    """Linear RGB (n, 3) on frames of these sizes about the card's middle, 1 being the card's own: means over 5 × 5
    pixels, what lies outside the photo left out."""
    t = np.linspace(0, 1, 16, endpoint=False)[:, None]
    sides = np.concatenate([a + t * (b - a) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)])
    centre = corners.mean(0)
    points = np.concatenate([centre + k * (sides - centre) for k in sizes]).round().astype(int)
    inside = (points.min(1) >= 2) & (points[:, 0] < photo.width - 2) & (points[:, 1] < photo.height - 2)
    points = points[inside]
    if not len(points):
        return np.zeros((0, 3))
    near = (points[:, None] + WITHIN).reshape(-1, 2)
    around: Array = photo.at(near).reshape(-1, len(WITHIN), 3).mean(1, dtype=float)
    return around
