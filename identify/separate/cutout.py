"""One thing cut out at full resolution: its window, mask, core, and the bare ground behind it."""

from __future__ import annotations

import cv2
import numpy as np

from identify.photo import Photo
from identify.separate.evidence import Mask, closed, grown, opened, shrunk, watershed
from identify.separate.ground import Ground, Plane, linear_of
from identify.stages import Region

_MOST_ACROSS = 1000


def cut_out(
    photo: Photo,
    ground: Ground,
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
    difference = cv2.GaussianBlur(ground.stand_off(linear, lit), (0, 0), 0.8)
    here = fetch(thing.astype(np.float32)) > 0.5
    body = fetch(core.astype(np.float32)) > 0.5
    elsewhere = fetch(others.astype(np.float32)) > 0.5
    band = 1.6 / step
    markers = np.zeros(here.shape, np.int32)
    markers[~grown(here, band)] = 1
    inner = shrunk(body, band)
    markers[inner] = 2
    markers[elsewhere & (markers == 0)] = 1
    mask = watershed(difference, markers) == 2
    fine_core = body_of(mask, wire / shrink)
    if not fine_core.any():
        return None
    bare = linear_of(lit, ground.floor)
    edge = bool(mask[0].any() and y0 == 0) or bool(mask[-1].any() and y1 >= photo.height - shrink)
    edge = edge or bool(mask[:, 0].any() and x0 == 0) or bool(mask[:, -1].any() and x1 >= photo.width - shrink)
    for plane in (mask, fine_core, bare):
        plane.flags.writeable = False
    return Region(window, shrink, mask, fine_core, bare, edge)


def body_of(thing: Mask, wire: float) -> Mask:
    """The body within a thing: its largest piece, holes filled, without what is thin.

    Thin is what a disc does not fit into: a little wider than a wire (`wire` pixels), or nearly a third of the body's
    own thickness where that is more, so that rings vanish too.  A piece that falls away so is kept if it tapers off
    from a broad base, as a tail does.
    """
    whole = _largest(opened(thing, max(1.0, 0.6 * wire)))
    if not whole.any():
        return whole
    # holes as wide as a wire are glints on the body; wider ones may be the ground between hooks
    solid = closed(whole, 0.5 * wire)
    inner = float(cv2.distanceTransform(np.pad(solid.astype(np.uint8), 1), cv2.DIST_L2, 5).max())
    trunk = _filled(_largest(opened(solid, min(max(0.75 * wire, 0.3 * inner), 1.4 * wire))))
    if not trunk.any():
        return _filled(whole)
    count, labels, stats, _ = cv2.connectedComponentsWithStats((whole & ~trunk).astype(np.uint8), connectivity=4)
    rim = (cv2.dilate(trunk.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0) & ~trunk
    contact = np.bincount(labels[rim], minlength=count)
    kept = stats[:, cv2.CC_STAT_AREA] <= contact.astype(float) ** 2
    kept[0] = False
    return trunk | kept[labels]


def _largest(mask: Mask) -> Mask:
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    if count < 2:
        return np.zeros_like(mask)
    best: Mask = labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    return best


def _filled(mask: Mask) -> Mask:
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros(mask.shape, np.uint8)
    cv2.drawContours(filled, contours, -1, 1, cv2.FILLED)
    return filled > 0
