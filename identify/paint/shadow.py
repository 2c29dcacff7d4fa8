"""Where the light comes from, as the shadow on the ground tells it.

A lamp whose horizontal direction times the cotangent of its elevation is g throws the shadow of a thing of height T out
by T g, away from itself.  Summed over the ground beside the body, the missing light is the lamp's share times that
length; about half of it shows, the rest lies under the body or runs out softly beyond the window.  The difference
between the two sides cancels what surrounds the body evenly.
"""

from __future__ import annotations

import cv2
import numpy as np

from identify.geometry import Array
from identify.outline import to_frame
from identify.paint.shading import LUMINANCE
from identify.photo import Photo
from identify.stages import Body, Pose, Region

SHOWN = 0.5
"""Share of a shadow's missing light that shows beside the body."""
REACH = 1.5
"""How far to look beyond the outline, in thicknesses."""
CELLS = 16
"""Pixels to a thickness that suffice."""


def light_from_shadow(photo: Photo, region: Region, body: Body, pose: Pose, thickness_px: float) -> tuple[float, float]:
    """(g_x, g_y): the lamps' horizontal direction (towards the tail, towards the back) times the cotangent of their
    elevation and their share of the light, at the scale of `shading`.  (0, 0) where nothing casts a shadow."""
    shrink = region.shrink * max(1, int(thickness_px / CELLS / region.shrink))
    linear = photo.linear(region.window, shrink)
    h, w = linear.shape[:2]
    ground = cv2.resize(region.ground, (w, h), interpolation=cv2.INTER_AREA) @ LUMINANCE
    thing = cv2.resize(region.mask.astype(np.float32), (w, h), interpolation=cv2.INTER_AREA) > 0.02
    free = cv2.dilate(thing.astype(np.uint8), np.ones((3, 3), np.uint8)) == 0
    dark = np.clip(1 - (linear @ LUMINANCE) / np.maximum(ground, 1e-4), -0.15, 1) * free

    rows, cols = np.mgrid[0:h, 0:w]
    px = (np.stack([cols, rows], -1).reshape(-1, 2) + 0.5) * shrink - 0.5 + np.array(region.window[:2], float)
    x, y = to_frame(px, pose.nose_px, pose.tail_px, pose.back_is_left).reshape(h, w, 2).transpose(2, 0, 1)
    outline = to_frame(body.outline_px, pose.nose_px, pose.tail_px, pose.back_is_left)
    (x0, y0), (x1, y1) = outline.min(0), outline.max(0)
    reach, length = REACH * thickness_px, float(x1 - x0)

    def missing(cells: Array, width: float) -> float:
        return float(dark[cells].sum()) * shrink**2 / (width * thickness_px)

    beside = (x > x0 + 0.2 * length) & (x < x0 + 0.85 * length)
    middle = (y0 + y1) / 2
    above = missing(beside & (y > middle) & (y < y1 + reach), 0.65 * length)
    below = missing(beside & (y < middle) & (y > y0 - reach), 0.65 * length)
    level = (y > y0) & (y < y1)
    ahead = missing(level & (x < x0 + 0.3 * length) & (x > x0 - reach), float(y1 - y0))
    behind = missing(level & (x > x0 + 0.7 * length) & (x < x1 + reach), float(y1 - y0))
    return (ahead - behind) / SHOWN, (below - above) / SHOWN
