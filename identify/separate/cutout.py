"""One thing cut out at full resolution: its window, mask, core, and the bare ground behind it."""

from __future__ import annotations

import cv2
import numpy as np

from identify.photo import Photo
from identify.separate.evidence import Mask, disc, first_look, grown, opened
from identify.separate.ground import Ground, Plane, Traits
from identify.stages import Region

_MOST_ACROSS = 1000


def cut_out(
    photo: Photo,
    ground: Ground,
    floor: float,
    thing: Mask,
    core: Mask,
    others: Mask,
    coarse: int,
    length: float,
    margin: float,
    wire: float,
    px_per_mm: float | None,
) -> Region | None:
    """Make the Region of one thing.

    `thing`, `core`, `others` (h, w): the thing, its body and what else is there, in the picture reduced by `coarse`;
    `length`, `margin`, `wire`: of the body, around the thing, and of a hook's wire, in pixels of the photo.
    """
    shrink = max(1, int(length / _MOST_ACROSS))
    if px_per_mm is not None and px_per_mm <= 14:
        shrink = 1
    h, w = thing.shape
    ys, xs = np.nonzero(thing)
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
        out: Plane = cv2.warpAffine(plane, to_coarse, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
        return out

    lit = fetch(ground.lit)
    difference = cv2.GaussianBlur(Traits.of(linear, floor).values - lit, (0, 0), 0.8)
    here = fetch(thing.astype(np.float32)) > 0.5
    body = fetch(core.astype(np.float32)) > 0.5
    elsewhere = fetch(others.astype(np.float32)) > 0.5
    band = 1.6 / step
    sure, _ = first_look(difference, ground)
    markers = np.zeros(here.shape, np.int32)
    markers[~grown(here, band)] = 1
    inner = cv2.erode(body.astype(np.uint8), disc(band)) > 0
    markers[inner | (opened(sure & here, 1))] = 2
    markers[elsewhere & (markers == 0)] = 1
    view = np.clip(128 + difference * np.array([45, 60, 60], np.float32), 0, 255).astype(np.uint8)
    cv2.watershed(view, markers)
    markers[:, [0, -1]] = markers[:, [1, -2]]
    markers[[0, -1]] = markers[[1, -2]]
    mask = markers == 2
    fine_core = body_of(mask, wire / shrink)
    if not fine_core.any():
        return None
    bare = np.exp(lit[..., 0:1]) * _rgb_of(lit) - np.float32(floor)
    edge = bool(mask[0].any() and y0 == 0) or bool(mask[-1].any() and y1 >= photo.height - shrink)
    edge = edge or bool(mask[:, 0].any() and x0 == 0) or bool(mask[:, -1].any() and x1 >= photo.width - shrink)
    for plane in (mask, fine_core, bare):
        plane.flags.writeable = False
    return Region(window, shrink, mask, fine_core, np.maximum(bare, 0).astype(np.float32), edge)


def _rgb_of(traits: Plane) -> Plane:
    """RGB against its geometric mean, from the two log chroma ratios."""
    a, b = traits[..., 1], traits[..., 2]
    green = -(a + b) / 3
    rgb: Plane = np.exp(np.dstack([a + green, green, b + green]))
    return rgb


def body_of(thing: Mask, wire: float) -> Mask:
    """The body within a thing: what no disc a little wider than a wire can be left out of, holes filled, the largest
    piece."""
    wide = cv2.morphologyEx(thing.astype(np.uint8), cv2.MORPH_OPEN, disc(max(1.0, 0.75 * wire)))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(wide, connectivity=4)
    if count < 2:
        return np.zeros_like(thing)
    best = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    contours, _ = cv2.findContours((labels == best).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros(thing.shape, np.uint8)
    cv2.drawContours(filled, contours, -1, 1, cv2.FILLED)
    return filled > 0
