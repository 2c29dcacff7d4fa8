"""Which pixels belong to things and which to the ground or to a shadow on it.

A thing differs from the ground in chroma, or is brighter than the ground can be, or is darker behind a hard edge.  A
shadow keeps the ground's chroma and fades out.  What is sure on either side seeds a watershed (Meyer 1992, as in
OpenCV), which puts the border where the step between the two is steepest.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.separate.ground import Ground, Plane, as_plane, fit_ground, refine_ground, traits_of
from identify.separate.shade import OWN_CHROMA, seeds

_GROUND_SHARE = 0.025
"""Part of the picture from which on a closed patch that looks like the ground is ground: a compartment's floor."""
LEAST_RIDGE = 0.2
"""Log luminance by which a wire stands out at least."""
_EUCLID = (cv2.DIST_L2, 5)
Mask = NDArray[np.bool_]

_CHROMA_SURE, _CHROMA_MAYBE = 5.0, 2.5
_BRIGHT_SURE, _BRIGHT_MAYBE = 1.6, 1.0


def shrunk(mask: Mask, radius: float) -> Mask:
    """Erosion by a disc, by Euclidean distance; the picture's rim does not erode."""
    away = cv2.distanceTransform(cv2.copyMakeBorder(mask.astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_REPLICATE), *_EUCLID)
    eroded: Mask = away[1:-1, 1:-1] > radius
    return eroded


def grown(mask: Mask, radius: float) -> Mask:
    """Dilation by a disc, by Euclidean distance."""
    if not mask.any():
        return mask.copy()
    dilated: Mask = cv2.distanceTransform((~mask).astype(np.uint8), *_EUCLID) <= radius
    return dilated


def opened(mask: Mask, radius: float) -> Mask:
    """Morphological opening by a disc."""
    return grown(shrunk(mask, radius), radius)


def closed(mask: Mask, radius: float) -> Mask:
    """Morphological closing by a disc."""
    return ~opened(~mask, radius)


def steps(difference: Plane) -> Plane:
    """How steep luminance or chroma changes from pixel to pixel (per pixel, logs): (h, w)."""
    steepest = np.zeros(difference.shape[:2], np.float32)
    for k in range(3):
        dx = cv2.Scharr(difference[..., k], cv2.CV_32F, 1, 0)
        dy = cv2.Scharr(difference[..., k], cv2.CV_32F, 0, 1)
        steepest = as_plane(cv2.max(steepest, cv2.magnitude(dx, dy) * np.float32(1 / 32)))
    return steepest


def first_look(difference: Plane, ground: Ground) -> tuple[Mask, Mask]:
    """Pixels that surely are things, and pixels that may be things or shadows."""
    chroma = ground.chroma_distance(difference)
    up = difference[..., 0] / ground.bright
    sure = (chroma > _CHROMA_SURE) | (up > _BRIGHT_SURE)
    maybe = (chroma > _CHROMA_MAYBE) | (up > _BRIGHT_MAYBE) | (difference[..., 0] < -ground.dark)
    return sure, maybe


def settled_ground(linear: Plane, floor: float, usable: Mask) -> Ground:
    """The ground of a picture (h, w, 3 linear RGB): fitted to the whole, then twice to what it leaves bare.

    What a first fit takes for bare still holds things that hardly stand off it, and so is too wide.
    """
    traits = traits_of(linear, floor)
    ground = fit_ground(traits, floor, usable)
    for _ in range(2):
        _, maybe = first_look(as_plane(cv2.GaussianBlur(ground.stand_off(linear), (0, 0), 1.0)), ground)
        ground = refine_ground(traits, ground, ~grown(maybe, 3) & usable, 0.05 * max(usable.shape))
    return ground


def roughness(luminance: Plane) -> Plane:
    """Standard deviation of the fine texture around each pixel (logs): (h, w)."""
    fine = luminance - cv2.blur(luminance, (5, 5))
    return as_plane(cv2.sqrt(cv2.blur(fine * fine, (7, 7))))


def part(linear: Plane, ground: Ground, usable: Mask, grain: float) -> NDArray[np.int32]:
    """Label every pixel: 1 ground or shadow, 2 thing, 3 a thin line that may be wire.

    `linear` (h, w, 3): the picture.  `grain`: pixels that a thin thing (a hook's wire) is wide.
    """
    raw = ground.stand_off(linear)
    difference = as_plane(cv2.GaussianBlur(raw, (0, 0), 0.8))
    _, maybe = first_look(difference, ground)
    chroma = ground.chroma_distance(difference)
    lum = difference[..., 0]
    steep = steps(difference)
    bare = ~grown(maybe, 1) & usable
    limit = float(np.quantile(steep[bare], 0.98)) if bare.sum() > 100 else 0.05
    hard = _hysteresis(steep, max(1.0 * limit, 0.035), max(1.5 * limit, 0.06))
    rough = roughness(raw[..., 0])
    rough_there = rough[bare] if bare.sum() > 100 else rough.ravel()
    smooth = rough < 0.8 * float(np.quantile(rough_there, 0.005))
    usual = max(float(np.median(rough_there)), 1e-3)
    block = (chroma > 9) | (lum > 2.5 * ground.bright) | opened(smooth, 1)
    coloured = (chroma > 9) | (lum > 2.5 * ground.bright)
    flooded = _flood(~hard & ~block & usable, bare, max(1.0, 0.6 * grain))
    enclosed = opened(~flooded & usable & ~hard, 1)
    sure = shrunk(coloured, 2)
    unrest = float(np.std(lum[flooded][::7])) if flooded.any() else 0.0
    tinted = opened(ground.chroma_distance(as_plane(cv2.blur(raw, (5, 5)))) > OWN_CHROMA, 1)
    judged = seeds(
        (enclosed & tinted, opened(enclosed & ~tinted, 1)), sure, chroma, difference, rough, usual, unrest,
        (ground.dark, ground.bright), least=(6 * grain) ** 2, floor_area=_GROUND_SHARE * lum.size,
    )  # fmt: skip
    markers = np.zeros(maybe.shape, np.int32)
    markers[sure] = 2
    markers[flooded] = 1
    markers[judged > 0] = judged[judged > 0]
    markers[_unseeded(~flooded & usable, markers == 2, grain)] = 2
    markers[~usable] = 1
    thin = ridges(lum, grain)
    common = float(np.quantile(thin[bare], 0.999)) if bare.any() else 0.0
    labels = watershed(difference, markers)
    labels[(labels == 1) & (thin > max(LEAST_RIDGE, 1.3 * common)) & usable] = 3
    return labels


def ridges(luminance: Plane, wire: float) -> Plane:
    """How far lines up to `wire` pixels wide stand out from both sides, lighter or darker (logs): (h, w)."""
    side = 2 * max(1, round(wire / 2)) + 1
    kernel = np.ones((side, side), np.uint8)
    light = cv2.morphologyEx(luminance, cv2.MORPH_TOPHAT, kernel)
    dark = cv2.morphologyEx(luminance, cv2.MORPH_BLACKHAT, kernel)
    return as_plane(cv2.max(light, dark))


def _unseeded(beyond: Mask, seeded: Mask, grain: float) -> Mask:
    """The middle of large parts that the ground does not reach and that hold no paint yet: things all of whose inside
    is noise and edges."""
    wide = opened(beyond, 1.6 * grain)
    _, labels = cv2.connectedComponents(wide.astype(np.uint8), connectivity=4)
    known = np.bincount(labels[seeded], minlength=int(labels.max()) + 1)
    area = np.bincount(labels.ravel())
    table = (area > (5 * grain) ** 2) & (known < 0.05 * area)
    table[0] = False
    return shrunk(table[labels], grain / 2)


def watershed(difference: Plane, markers: NDArray[np.int32]) -> NDArray[np.int32]:
    """Give every pixel to marker 1 or 2, the border where the step between them is steepest."""
    view = np.clip(128 + difference * np.array([45, 60, 60], np.float32), 0, 255).astype(np.uint8)
    labels = cv2.watershed(view, markers.copy())
    labels[:, [0, -1]] = labels[:, [1, -2]]
    labels[[0, -1]] = labels[[1, -2]]
    thing = (labels == 2).astype(np.uint8)
    # the border line itself is the outermost pixel of the thing
    line = (labels == -1) & (cv2.dilate(thing, np.ones((3, 3), np.uint8)) > 0)
    return np.where((thing > 0) | line, 2, 1).astype(np.int32)


def _hysteresis(values: Plane, low: float, high: float) -> Mask:
    """Above `low` and joined to something above `high`."""
    over = values > low
    _, labels = cv2.connectedComponents(over.astype(np.uint8), connectivity=8)
    table = np.zeros(int(labels.max()) + 1, bool)
    table[labels[values > high]] = True
    table[0] = False
    joined: Mask = table[labels]
    return joined


def _flood(passable: Mask, start: Mask, radius: float) -> Mask:
    """What can be reached from `start` through `passable` by a disc of this radius, as far as it is large or runs to
    the picture's rim: a small patch with hard edges all round is no ground, even if it looks so."""
    wide = opened(passable, radius)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(wide.astype(np.uint8), connectivity=4)
    reached = np.bincount(labels[start & wide], minlength=count) > 0
    h, w = passable.shape
    x, y, bw, bh, area = stats.T
    rim = (x == 0) | (y == 0) | (x + bw == w) | (y + bh == h)
    reached &= rim | (area > _GROUND_SHARE * h * w)
    reached[0] = False
    flooded: Mask = reached[labels]
    return flooded
