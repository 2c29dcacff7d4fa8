"""From a photo to its baits: two looks at reduced pictures say what each pixel is, then each bait is cut out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from identify.calibration import Calibration
from identify.geometry import Array
from identify.photo import Photo
from identify.records import WARNINGS, Notice, SetAside
from identify.separate.cutout import cut_out
from identify.separate.ground import Plane
from identify.separate.look import look_at
from identify.separate.pixels import GROUND, SOLID, WIRE
from identify.separate.shape import why_not
from identify.separate.things import Thing, part_touching, split
from identify.separate.thoughts import Place, places
from identify.settings import Point, Settings
from identify.stages import Region, Separation, as_polygon

_WIRE_MM = 1.8
"""Width of a hook's wire, generously."""
_USUAL_MM = 65.0
"""Length of the usual bait, to judge the scale of a photo without one by."""
_SMALL_BESIDE = 0.28
BOX_MM = (110.0, 65.0)
"""Least length and depth of a box or a compartment that holds baits."""


@dataclass(frozen=True, eq=False)
class Found:
    """A thing with the place it was seen at, what was thought of each pixel there, and why it is no bait (None when it
    may be one)."""

    thing: Thing
    place: Place
    thought: Plane
    reason: str | None

    @property
    def length(self) -> float:
        """Of the body, in pixels of the photo."""
        return self.thing.shape.length * self.place.scene.step


def separate(photo: Photo, calibration: Calibration, settings: Settings) -> Separation:
    """Find every bait of a photo and set everything else aside.

    Returns regions in reading order (rows of the picture from the top, each from the left) and, in pixels of the
    photo, the outlines of what was not taken for a bait with the reason.  A photo without a bait gives the warning
    `no-bait`.
    """
    found = _find(photo, calibration, None)
    scale: float | None = None
    if not calibration.has_scale:
        scale = _usual_scale(found)
        if scale is not None:
            found = _find(photo, calibration, scale)
        found = _beside_the_largest(found)
    regions: list[tuple[Region, float]] = []
    aside: list[SetAside] = []
    for f in found:
        local = calibration.px_per_mm_at(_centre(f.thing, f.place)) if calibration.has_scale else scale
        region = None
        if f.reason is None and local is not None:
            region = cut_out(photo, f.thing, f.place.scene, f.thought, local, _WIRE_MM * local)
        if region is not None:
            regions.append((region, f.length))
        else:
            reason = f.reason or "no body that stands off the ground"
            aside.append(SetAside(as_polygon(f.place.scene.to_photo(f.thing.contour)), reason))
    warnings = () if regions else (Notice("no-bait", WARNINGS["no-bait"]),)
    return Separation(_reading_order(regions), tuple(aside), warnings)


def _find(
    photo: Photo, calibration: Calibration, px_per_mm: float | None, within_px: Array | None = None
) -> list[Found]:
    """Every thing in the photo.  `px_per_mm`: a scale to look in when the calibration has none; `within_px`: a polygon
    that the look is limited to."""
    scene = look_at(photo, calibration, px_per_mm, within_px)
    if scene is None:
        return []
    out: list[Found] = []
    for place in places(photo, scene):
        thought = place.second()
        for thing in split(_labels(thought), _WIRE_MM * place.scene.px_per_mm):
            found = _judged(photo, calibration, thing, place, thought)
            if found.reason is not None:
                wire = _WIRE_MM * place.scene.px_per_mm
                pieces = [_judged(photo, calibration, t, place, thought) for t in part_touching(thing, wire)]
                if not any(f.reason is None for f in pieces) and within_px is None and _may_be_box(found):
                    contour = place.scene.to_photo(thing.contour)
                    pieces = _find(photo, calibration, px_per_mm, contour)
                if any(f.reason is None for f in pieces):
                    out += pieces
                    continue
            out.append(found)
    return out


def _judged(photo: Photo, calibration: Calibration, thing: Thing, place: Place, thought: Plane) -> Found:
    known = None
    if calibration.has_scale:
        known = calibration.px_per_mm_at(_centre(thing, place)) / place.scene.step
    side = float(np.sqrt(photo.width * photo.height)) / place.scene.step
    return Found(thing, place, thought, why_not(thing.shape, known, side))


def _centre(thing: Thing, place: Place) -> Point:
    """The middle of a thing's contour, in pixels of the photo."""
    x, y = place.scene.to_photo(thing.contour.mean(0)[None])[0]
    return float(x), float(y)


def _may_be_box(found: Found) -> bool:
    """Large enough to hold a bait and more."""
    shape, scale = found.thing.shape, found.place.scene.px_per_mm
    return shape.length > BOX_MM[0] * scale and shape.depth > BOX_MM[1] * scale


def _labels(thought: Plane) -> NDArray[np.int32]:
    """1 ground, 2 solid, 3 wire: what each pixel is most likely."""
    labels = np.ones(thought.shape[:2], np.int32)
    other = thought[..., GROUND] < 0.5
    labels[other] = np.where(thought[..., SOLID] >= thought[..., WIRE], 2, 3)[other]
    return labels


def _usual_scale(found: list[Found]) -> float | None:
    """Pixels of the photo per millimetre if the longest thing that may be a bait is a usual one."""
    lengths = [f.length for f in found if f.reason is None] or [f.length for f in found]
    return max(lengths) / _USUAL_MM if lengths else None


def _beside_the_largest(found: list[Found]) -> list[Found]:
    """Without a scale sizes are judged against each other: what is a quarter as long as the longest is part of it."""
    longest = max((f.length for f in found if f.reason is None), default=0.0)
    small = "too small beside the largest bait"
    return [
        Found(f.thing, f.place, f.thought, small) if f.reason is None and f.length <= _SMALL_BESIDE * longest else f
        for f in found
    ]


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
