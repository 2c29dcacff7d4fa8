"""From a photo to its baits: the work is done on a reduced picture, each bait is then cut out at full resolution."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.calibration import Calibration
from identify.geometry import Array
from identify.photo import Photo
from identify.records import Notice, SetAside
from identify.separate.cutout import cut_out
from identify.separate.evidence import Mask, grown, opened, part, settled_ground, shrunk, steps
from identify.separate.ground import Ground, Plane, as_plane, traits_of
from identify.separate.shape import why_not
from identify.separate.things import Thing, part_touching, split
from identify.settings import Settings
from identify.stages import Region, Separation, as_polygon

_LONG_SIDE = 1000
_WIRE_MM = 1.8
_MARGIN_MM = 8.0
_LEAST_SIDE = 24
_SMALL_BESIDE = 0.28
_FLOOR_SHARE = 0.008
"""Part of the picture from which on a smooth patch inside a large thing can be a compartment's floor."""


@dataclass(frozen=True, eq=False)
class View:
    """The reduced picture (h, w, 3 linear RGB), by how much it is reduced, where its ground can be seen, and the scale
    there (pixels of the photo per mm, None without)."""

    photo: Photo
    calibration: Calibration
    linear: Plane
    coarse: int
    usable: Mask

    def to_photo(self, points: Array) -> Array:
        """Points of the reduced picture in pixels of the photo."""
        full: Array = (np.asarray(points, float) + 0.5) * self.coarse - 0.5
        return full

    def scale_at(self, thing: Thing) -> float | None:
        """Pixels of the photo per millimetre at a thing."""
        if not self.calibration.has_scale:
            return None
        return self.calibration.px_per_mm_at(self.to_photo(thing.contour.mean(0)))

    def why_not(self, thing: Thing) -> str | None:
        """Why a thing is no bait; None when it may be one."""
        local = self.scale_at(thing)
        side = float(np.sqrt(self.usable.size))
        return why_not(thing.shape, local / self.coarse if local else None, side)


def separate(photo: Photo, calibration: Calibration, settings: Settings) -> Separation:
    """Find every bait of a photo and set everything else aside.

    Returns regions in reading order (rows of the picture from the top, each from the left) and, in pixels of the
    photo, the outlines of what was not taken for a bait with the reason.  A photo without a bait gives the warning
    `no-bait`.
    """
    if min(photo.width, photo.height) < _LEAST_SIDE:
        return Separation((), (), (_no_bait(),))
    coarse = max(1, round(max(photo.width, photo.height) / _LONG_SIDE))
    linear = photo.linear(None, coarse)
    view = View(photo, calibration, linear, coarse, ~_card_mask(calibration, linear.shape[:2], coarse))
    floor = 0.06 * float(np.median(linear)) + 0.001
    wire = _wire(view)
    ground, labels = _survey(linear, view.usable, floor, wire)
    things = split(labels, wire)
    if not calibration.has_scale:
        whole = [t.shape.length for t in things if t.shape.on_frame == 0]
        # a hook's wire is about a fortieth of the bait that it hangs on
        wider = 0.022 * max(whole, default=0.0)
        if wider > wire:
            wire = wider
            things = split(labels, wire)
    found: list[tuple[Thing, Ground]] = []
    rest: list[tuple[Thing, str]] = []
    for thing in things:
        _sort_in(view, ground, thing, wire, found, rest)
    if not calibration.has_scale:
        found, small = _beside_the_largest(found)
        rest += [(thing, "too small beside the largest bait") for thing in small]
    every = np.zeros(view.usable.shape, bool)
    for thing, _ in (*found, *rest):
        every |= thing.mask
    regions: list[tuple[Region, float]] = []
    for thing, under in found:
        length = thing.shape.length * coarse
        local = view.scale_at(thing)
        margin = _MARGIN_MM * local if local else 0.15 * length
        region = cut_out(photo, under, thing, every & ~thing.mask, coarse, length, margin, wire * coarse, local)
        if region is None:
            rest.append((thing, "no body that stands off the ground"))
        else:
            regions.append((region, length))
    aside = tuple(SetAside(as_polygon(view.to_photo(t.contour)), reason) for t, reason in rest)
    return Separation(_reading_order(regions), aside, () if regions else (_no_bait(),))


def _sort_in(
    view: View, ground: Ground, thing: Thing, wire: float, found: list[tuple[Thing, Ground]],
    rest: list[tuple[Thing, str]],
) -> None:  # fmt: skip
    """Put a thing where it belongs: a bait, several that touch, a box with baits in it, or something else."""
    reason = view.why_not(thing)
    if reason is None:
        found.append((thing, ground))
        return
    inside = _inside(view, ground, thing, wire)
    if inside:
        found += inside
        return
    pieces = [(piece, view.why_not(piece)) for piece in part_touching(thing, wire)]
    if any(why is None for _, why in pieces):
        found += [(piece, ground) for piece, why in pieces if why is None]
        rest += [(piece, why) for piece, why in pieces if why is not None]
    else:
        rest.append((thing, reason))


def _survey(linear: Plane, usable: Mask, floor: float, wire: float) -> tuple[Ground, NDArray[np.int32]]:
    """The ground of a picture or of a compartment, and its pixels labelled as by `part`."""
    ground = settled_ground(linear, floor, usable)
    return ground, part(linear, ground, usable, wire)


def _inside(view: View, ground: Ground, thing: Thing, wire: float) -> list[tuple[Thing, Ground]]:
    """Baits in the compartments of a thing that is a box: every smooth floor gets a ground of its own."""
    ys, xs = np.nonzero(thing.mask)
    y0, y1, x0, x1 = int(ys.min()), int(ys.max()) + 1, int(xs.min()), int(xs.max()) + 1
    if (y1 - y0) * (x1 - x0) < 4 * _FLOOR_SHARE * view.usable.size:
        return []
    box = np.s_[y0:y1, x0:x1]
    steep = steps(as_plane(cv2.GaussianBlur(traits_of(view.linear[box], ground.floor), (0, 0), 1.0)))
    calm = steep < max(0.03, 2.5 * float(np.median(steep)))
    smooth = opened(calm & thing.mask[box] & view.usable[box], 3.0)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(smooth.astype(np.uint8), connectivity=4)
    baits: list[tuple[Thing, Ground]] = []
    for k in range(1, count):
        x, y, w, h, area = (int(v) for v in stats[k])
        if area < _FLOOR_SHARE * view.usable.size or min(w, h) < _LEAST_SIDE:
            continue
        contours, _ = cv2.findContours((labels == k).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        filled = np.zeros(labels.shape, np.uint8)
        cv2.drawContours(filled, contours, -1, 1, cv2.FILLED)
        window = np.s_[y0 + y : y0 + y + h, x0 + x : x0 + x + w]
        open_ = view.usable[window] & shrunk(filled[y : y + h, x : x + w] > 0, 2.0)
        own, there = _survey(view.linear[window], open_, ground.floor, wire)
        whole = np.ones(view.usable.shape, np.int32)
        whole[window] = there
        lit = ground.lit.copy()
        lit[window] = own.lit
        baits += [(t, replace(own, lit=lit)) for t in split(whole, wire) if view.why_not(t) is None]
    return baits


def _beside_the_largest(found: list[tuple[Thing, Ground]]) -> tuple[list[tuple[Thing, Ground]], list[Thing]]:
    """Without a scale sizes are judged against each other: what is a quarter as long as the longest is part of it."""
    longest = max((t.shape.length for t, _ in found), default=0.0)
    kept = [(t, g) for t, g in found if t.shape.length > _SMALL_BESIDE * longest]
    return kept, [t for t, _ in found if t.shape.length <= _SMALL_BESIDE * longest]


def _no_bait() -> Notice:
    return Notice("no-bait", "Nothing in the photo looks like a bait.")


def _wire(view: View) -> float:
    """Width of a hook's wire, generously, in pixels of the reduced picture."""
    photo = view.photo
    if not view.calibration.has_scale:
        return 0.006 * max(photo.width, photo.height) / view.coarse
    return _WIRE_MM * view.calibration.px_per_mm_at((photo.width / 2, photo.height / 2)) / view.coarse


def _card_mask(calibration: Calibration, shape: tuple[int, ...], coarse: int) -> Mask:
    mask = np.zeros(shape, np.uint8)
    corners = calibration.card.corners_px
    if corners:
        points = (np.array(corners, float) + 0.5) / coarse - 0.5
        cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32)], 1, shift=4)
    return grown(mask > 0, 2)


def _reading_order(regions: list[tuple[Region, float]]) -> tuple[Region, ...]:
    """Rows from the top, each from the left; a row is what lies within half the first one's length below it."""
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
