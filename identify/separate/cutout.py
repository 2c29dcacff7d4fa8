"""One thing cut out: its window, mask, core, and the bare ground behind it."""

from __future__ import annotations

import cv2
import numpy as np

from identify.photo import Photo
from identify.separate.ground import Plane, as_plane, linear_of
from identify.separate.look import GROUND_STEP, Scene
from identify.separate.things import Thing
from identify.stages import Region

_MOST_ACROSS = 1000
_MARGIN_MM = 8.0


def cut_out(photo: Photo, thing: Thing, scene: Scene, px_per_mm: float) -> Region | None:
    """Make the Region of one thing; None when no body remains.  `px_per_mm`: of the photo, there."""
    length = thing.shape.length * scene.step
    shrink = 1 if px_per_mm <= 14 else max(1, int(length / _MOST_ACROSS))
    ys, xs = np.nonzero(thing.mask)
    low = scene.to_photo([[xs.min() - 0.5, ys.min() - 0.5]])[0] - _MARGIN_MM * px_per_mm
    high = scene.to_photo([[xs.max() + 0.5, ys.max() + 0.5]])[0] + _MARGIN_MM * px_per_mm
    x0, y0 = (max(0, int(v)) for v in low)
    x1, y1 = min(photo.width, int(high[0]) + 1), min(photo.height, int(high[1]) + 1)
    x1, y1 = x0 + (x1 - x0) // shrink * shrink, y0 + (y1 - y0) // shrink * shrink
    size = ((x1 - x0) // shrink, (y1 - y0) // shrink)
    if min(size) < 2:
        return None

    def fetch(plane: Plane, step: float) -> Plane:
        """A plane whose pixels stand for `step` pixels of the photo each, brought to the region's grid."""
        k = shrink / step
        shift = [(o + shrink / 2) / step - 0.5 for o in (x0, y0)]
        move = np.array([[k, 0, shift[0]], [0, k, shift[1]]], np.float32)
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return as_plane(cv2.warpAffine(plane, move, size, flags=flags, borderMode=cv2.BORDER_REPLICATE))

    core = fetch(thing.core.astype(np.float32), scene.step) > 0.5
    if not core.any():
        return None
    mask = (fetch(thing.mask.astype(np.float32), scene.step) > 0.5) | core
    bare = linear_of(fetch(scene.ground.lit, scene.step * GROUND_STEP), scene.ground.floor)
    edge = bool(mask[0].any() and y0 == 0) or bool(mask[-1].any() and y1 >= photo.height - shrink)
    edge = edge or bool(mask[:, 0].any() and x0 == 0) or bool(mask[:, -1].any() and x1 >= photo.width - shrink)
    for plane in (mask, core, bare):
        plane.flags.writeable = False
    return Region((x0, y0, x1, y1), shrink, mask, core, bare, edge)
