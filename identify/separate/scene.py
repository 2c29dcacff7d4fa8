"""From a photo to its things: the work is done on a reduced picture, each bait is then cut out at full resolution."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.calibration import Calibration
from identify.geometry import Array
from identify.photo import Photo
from identify.records import Notice, SetAside
from identify.separate.cutout import body_of, cut_out
from identify.separate.evidence import Mask, first_look, grown, opened, part
from identify.separate.ground import fit_ground, refine_ground, traits_of
from identify.separate.shape import Shape, describe, why_not
from identify.settings import Settings
from identify.stages import Region, Separation, as_polygon

_LONG_SIDE = 1000
_WIRE_MM = 1.8
_MARGIN_MM = 8.0
_LEAST_SIDE = 24


@dataclass(frozen=True, eq=False)
class Thing:
    """One thing of the reduced picture: its mask and core (h, w), its shape and its contour there."""

    mask: Mask
    core: Mask
    shape: Shape
    contour: Array


def separate(photo: Photo, calibration: Calibration, settings: Settings) -> Separation:
    """Find every bait of a photo and set everything else aside.

    Returns regions in reading order (rows of the picture from the top, each from the left) and, in pixels of the
    photo, the outlines of what was not taken for a bait with the reason.  A photo without a bait gives the warning
    `no-bait`.
    """
    if min(photo.width, photo.height) < _LEAST_SIDE:
        return _nothing()
    coarse = max(1, round(max(photo.width, photo.height) / _LONG_SIDE))
    linear = photo.linear(None, coarse)
    floor = 0.06 * float(np.median(linear)) + 0.001
    traits = traits_of(linear, floor)
    h, w = traits.shape[:2]
    usable = ~_card_mask(calibration, (h, w), coarse)
    scale = _scale(photo, calibration)
    wire = (_WIRE_MM * scale if scale else 0.006 * max(photo.width, photo.height)) / coarse
    ground = fit_ground(traits, floor, usable)
    _, maybe = first_look(cv2.GaussianBlur(ground.stand_off(linear), (0, 0), 1.0), ground)
    ground = refine_ground(traits, ground, ~grown(maybe, 3) & usable, 0.05 * max(h, w))
    stuff = part(linear, ground, usable, wire) == 2
    regions: list[tuple[Region, float]] = []
    aside: list[SetAside] = []
    every = np.zeros((h, w), bool)
    things = _things(stuff, wire)
    if scale is None and things:
        # a hook's wire is about a fortieth of the bait that it hangs on
        wire = max(
            wire,
            0.022 * max(t.shape.length for t in things if t.shape.on_frame == 0)
            if any(t.shape.on_frame == 0 for t in things)
            else 0,
        )
        things = _things(stuff, wire)
    for thing in things:
        every |= thing.mask
    for thing in things:
        local = calibration.px_per_mm_at(_to_photo(thing.contour.mean(0), coarse)) if calibration.has_scale else None
        reason = why_not(thing.shape, local / coarse if local else None, float(np.sqrt(h * w)))
        if reason is None:
            length = thing.shape.length * coarse
            margin = _MARGIN_MM * local if local else 0.15 * length
            region = cut_out(
                photo, ground, thing.mask, thing.core, every & ~thing.mask, coarse, length, margin,
                wire * coarse, local,
            )  # fmt: skip
            if region is not None:
                regions.append((region, length))
                continue
            reason = "no body that stands off the ground"
        aside.append(SetAside(as_polygon(_to_photo(thing.contour, coarse)), reason))
    warnings = () if regions else _nothing().warnings
    return Separation(_reading_order(regions), tuple(aside), warnings)


def _nothing() -> Separation:
    return Separation((), (), (Notice("no-bait", "Nothing in the photo looks like a bait."),))


def _to_photo(points: Array, coarse: int) -> Array:
    full: Array = (np.asarray(points, float) + 0.5) * coarse - 0.5
    return full


def _scale(photo: Photo, calibration: Calibration) -> float | None:
    if not calibration.has_scale:
        return None
    return calibration.px_per_mm_at((photo.width / 2, photo.height / 2))


def _card_mask(calibration: Calibration, shape: tuple[int, int], coarse: int) -> Mask:
    mask = np.zeros(shape, np.uint8)
    corners = calibration.card.corners_px
    if corners:
        points = (np.array(corners, float) + 0.5) / coarse - 0.5
        cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32)], 1, shift=4)
        mask = cv2.dilate(mask, np.ones((5, 5), np.uint8))
    return mask > 0


def _things(stuff: Mask, wire: float) -> list[Thing]:
    """Split what is not ground into things: one for each body that remains when thin parts are left out, every other
    pixel going to the nearest body that it hangs together with."""
    wide = opened(stuff, max(1.0, 0.75 * wire))
    count, cores, stats, _ = cv2.connectedComponentsWithStats(wide.astype(np.uint8), connectivity=4)
    least = max(20.0, (2.5 * wire) ** 2)
    kept = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= least]
    _, joined = cv2.connectedComponents(stuff.astype(np.uint8), connectivity=8)
    near = _nearest(cores, kept)
    frame = np.zeros(stuff.shape, bool)
    frame[[0, 1, -1, -2]] = True
    frame[:, [0, 1, -1, -2]] = True
    things = []
    for k in kept:
        own = np.unique(joined[cores == k])
        mask = (near == k) & np.isin(joined, own[own > 0])
        core = body_of(mask, wire)
        shape, contour = describe(core, mask, frame)
        things.append(Thing(mask, core, shape, contour))
    return things


def _nearest(cores: NDArray[np.int32], kept: list[int]) -> NDArray[np.int32]:
    chosen = np.isin(cores, kept) if kept else np.zeros(cores.shape, bool)
    if not chosen.any():
        return np.zeros(cores.shape, np.int32)
    source = np.where(chosen, 0, 1).astype(np.uint8)
    _, index = cv2.distanceTransformWithLabels(source, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    table = np.zeros(int(index.max()) + 1, np.int32)
    table[index[chosen]] = cores[chosen]
    nearest: NDArray[np.int32] = table[index]
    return nearest


def _reading_order(regions: list[tuple[Region, float]]) -> tuple[Region, ...]:
    """Rows from the top, each from the left; a row is what overlaps the first one's middle in height."""
    left = sorted(regions, key=lambda r: _middle(r[0])[1])
    ordered: list[Region] = []
    while left:
        first, length = left[0]
        top = _middle(first)[1]
        row = [r for r in left if _middle(r[0])[1] <= top + 0.5 * length]
        ordered += [r[0] for r in sorted(row, key=lambda r: _middle(r[0])[0])]
        left = [r for r in left if not any(r is q for q in row)]
    return tuple(ordered)


def _middle(region: Region) -> tuple[float, float]:
    ys, xs = np.nonzero(region.core)
    x, y = region.to_photo([[xs.mean(), ys.mean()]])[0]
    return float(x), float(y)
