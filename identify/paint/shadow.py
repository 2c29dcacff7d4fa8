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
REDUCED = 1000
"""Longest side of the picture that the shadow is looked at in."""
CELLS = 16
"""Pixels to a thickness that suffice."""


def light_from_shadow(photo: Photo, region: Region, body: Body, pose: Pose, thickness_px: float) -> tuple[float, float]:
    """(g_x, g_y): the lamps' horizontal direction (towards the tail, towards the back) times the cotangent of their
    elevation and their share of the light, at the scale of `shading`.  (0, 0) where nothing casts a shadow."""
    reduced, step = photo.reduced(REDUCED)
    each = max(1, int(thickness_px / CELLS / step))
    x0, y0, x1, y1 = (round(edge / step) for edge in region.window)
    part = cv2.transform(reduced[y0:y1, x0:x1], LUMINANCE[None].astype(np.float32))
    h, w = part.shape[0] // each, part.shape[1] // each
    if min(h, w) < 1:
        return 0.0, 0.0
    light = cv2.resize(part[: h * each, : w * each], (w, h), interpolation=cv2.INTER_AREA)
    ground = cv2.resize(cv2.transform(region.ground, LUMINANCE[None].astype(np.float32)), (w, h))
    thing = cv2.resize(region.mask.astype(np.float32), (w, h), interpolation=cv2.INTER_AREA) > 0.02
    free = cv2.dilate(thing.astype(np.uint8), np.ones((3, 3), np.uint8)) == 0
    dark = np.clip(1 - light / np.maximum(ground, 1e-4), -0.15, 1) * free

    # the frame is an affine map of rows and columns: its values at three cells give all
    cell = each * step
    first = np.array([x0, y0]) * step + (cell - 1) / 2
    three = first + np.array([[0, 0], [cell, 0], [0, cell]])
    o, along, down = to_frame(three, pose.nose_px, pose.tail_px, pose.back_is_left)
    cols, rows = np.arange(w)[None, :], np.arange(h)[:, None]
    x, y = (o[k] + cols * (along - o)[k] + rows * (down - o)[k] for k in range(2))
    outline = to_frame(body.outline_px, pose.nose_px, pose.tail_px, pose.back_is_left)
    (left, low), (right, high) = outline.min(0), outline.max(0)
    reach, length = REACH * thickness_px, float(right - left)

    def missing(cells: Array, width: float) -> float:
        return float(dark[cells].sum()) * cell**2 / (width * thickness_px)

    beside = (x > left + 0.2 * length) & (x < left + 0.85 * length)
    middle = (low + high) / 2
    above = missing(beside & (y > middle) & (y < high + reach), 0.65 * length)
    below = missing(beside & (y < middle) & (y > low - reach), 0.65 * length)
    level = (y > low) & (y < high)
    ahead = missing(level & (x < left + 0.3 * length) & (x > left - reach), float(high - low))
    behind = missing(level & (x > left + 0.7 * length) & (x < right + reach), float(high - low))
    return (ahead - behind) / SHOWN, (below - above) / SHOWN
