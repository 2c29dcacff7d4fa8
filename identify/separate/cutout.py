"""One thing cut out: its window, mask, core, and the bare ground behind it."""

from __future__ import annotations

import cv2
import numpy as np

from identify.geometry import Array
from identify.photo import Photo
from identify.separate.ground import Plane
from identify.separate.look import Scene
from identify.separate.things import Thing
from identify.stages import Region

_MARGIN_MM = 8.0
_FINER = 1.5
"""Pixels of a region along one of the scene's: its masks are hardly finer than the scene."""


def cut_out(photo: Photo, thing: Thing, scene: Scene, px_per_mm: float) -> Region | None:
    """Make the Region of one thing; None when no body remains.  `px_per_mm`: of the photo, there."""
    shrink = max(1, int(scene.step / _FINER))
    left, top, wide, tall = cv2.boundingRect(thing.mask.view(np.uint8))
    left, top = left + thing.place[0], top + thing.place[1]
    low = scene.to_photo([[left - 0.5, top - 0.5]])[0] - _MARGIN_MM * px_per_mm
    high = scene.to_photo([[left + wide - 0.5, top + tall - 0.5]])[0] + _MARGIN_MM * px_per_mm
    x0, y0 = (max(0, int(v)) for v in low)
    x1, y1 = min(photo.width, int(high[0]) + 1), min(photo.height, int(high[1]) + 1)
    x1, y1 = x0 + (x1 - x0) // shrink * shrink, y0 + (y1 - y0) // shrink * shrink
    size = ((x1 - x0) // shrink, (y1 - y0) // shrink)
    if min(size) < 2:
        return None

    def fetch(plane: Plane, first: Array, step: float) -> Plane:
        """A plane whose pixels stand for `step` pixels of the photo each, the first of them at `first`, brought to the
        region's grid."""
        k = shrink / step
        shift = (np.array([x0, y0]) + (shrink - 1) / 2 - first) / step
        move = np.array([[k, 0, shift[0]], [0, k, shift[1]]], np.float32)
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return np.asarray(cv2.warpAffine(plane, move, size, flags=flags, borderMode=cv2.BORDER_REPLICATE), np.float32)

    place = scene.to_photo([thing.place])[0]
    core = fetch(thing.core.astype(np.float32), place, scene.step) > 0.5
    if not core.any():
        return None
    mask = (fetch(thing.mask.astype(np.float32), place, scene.step) > 0.5) | core
    cell = scene.step * scene.ground_step
    bare = fetch(scene.ground, np.full(2, (cell - 1) / 2), cell)
    if scene.sheet is not None and scene.sheet_px is not None:
        corners = (scene.sheet_px - [x0, y0] + 0.5) / shrink - 0.5
        inside = np.zeros(mask.shape, np.uint8)
        cv2.fillConvexPoly(inside, np.round(corners * 16).astype(np.int32), 1, shift=4)
        bare[inside > 0] = fetch(scene.sheet, np.full(2, (cell - 1) / 2), cell)[inside > 0]
    edge = bool(mask[0].any() and y0 == 0) or bool(mask[-1].any() and y1 >= photo.height - shrink)
    edge = edge or bool(mask[:, 0].any() and x0 == 0) or bool(mask[:, -1].any() and x1 >= photo.width - shrink)
    for plane in (mask, core, bare):
        plane.flags.writeable = False
    return Region((x0, y0, x1, y1), shrink, mask, core, bare, edge)
