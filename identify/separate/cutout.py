"""One thing cut out at full resolution: its window, mask, core, and the bare ground behind it."""

from __future__ import annotations

import cv2
import numpy as np

from identify.photo import Photo
from identify.separate.evidence import LEAST_RIDGE, Mask, grown, ridges, shrunk, watershed
from identify.separate.ground import Ground, Plane, as_plane, linear_of
from identify.separate.things import Thing
from identify.separate.trunk import body_of
from identify.stages import Region

_MOST_ACROSS = 1000


def cut_out(
    photo: Photo,
    ground: Ground,
    thing: Thing,
    others: Mask,
    coarse: int,
    length: float,
    margin: float,
    wire: float,
    px_per_mm: float | None,
) -> Region | None:
    """Make the Region of one thing.

    `thing`, `others` (h, w): the thing and what else is there, in the picture reduced by `coarse`; `length`, `margin`,
    `wire`: of the body, around the thing, and of a hook's wire, in pixels of the photo.
    """
    shrink = max(1, int(length / _MOST_ACROSS))
    if px_per_mm is not None and px_per_mm <= 14:
        shrink = 1
    ys, xs = np.nonzero(thing.mask)
    x0 = max(0, int(xs.min() * coarse - margin))
    y0 = max(0, int(ys.min() * coarse - margin))
    x1 = min(photo.width, int((xs.max() + 1) * coarse + margin))
    y1 = min(photo.height, int((ys.max() + 1) * coarse + margin))
    x1, y1 = x0 + (x1 - x0) // shrink * shrink, y0 + (y1 - y0) // shrink * shrink
    window = (x0, y0, x1, y1)
    linear = photo.linear(window, shrink)
    size = (linear.shape[1], linear.shape[0])
    # pixel centres: a photo pixel p lies at (p + 0.5) / coarse - 0.5 of the reduced picture
    step = shrink / coarse
    to_coarse = np.array(
        [[step, 0, (x0 + shrink / 2) / coarse - 0.5], [0, step, (y0 + shrink / 2) / coarse - 0.5]], np.float32
    )

    def fetch(plane: Plane) -> Plane:
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return as_plane(cv2.warpAffine(plane, to_coarse, size, flags=flags, borderMode=cv2.BORDER_REPLICATE))

    lit = fetch(ground.lit)
    difference = as_plane(cv2.GaussianBlur(ground.stand_off(linear, lit), (0, 0), 0.8))
    here = fetch(thing.solid.astype(np.float32)) > 0.5
    body = fetch(thing.core.astype(np.float32)) > 0.5
    elsewhere = fetch(others.astype(np.float32)) > 0.5
    band = 1.6 / step
    markers = np.zeros(here.shape, np.int32)
    markers[~grown(here, band)] = 1
    inner = shrunk(body, band)
    markers[inner] = 2
    markers[elsewhere & (markers == 0)] = 1
    mask = watershed(difference, markers) == 2
    thin = fetch((thing.mask & ~thing.core).astype(np.float32)) > 0.3
    fine_core = body_of(mask, wire / shrink)
    mask = mask | (thin & ~elsewhere & (ridges(difference[..., 0], wire / shrink) > LEAST_RIDGE))
    if not fine_core.any():
        return None
    bare = linear_of(lit, ground.floor)
    edge = bool(mask[0].any() and y0 == 0) or bool(mask[-1].any() and y1 >= photo.height - shrink)
    edge = edge or bool(mask[:, 0].any() and x0 == 0) or bool(mask[:, -1].any() and x1 >= photo.width - shrink)
    for plane in (mask, fine_core, bare):
        plane.flags.writeable = False
    return Region(window, shrink, mask, fine_core, bare, edge)
