"""From a photo to its baits: a look at a reduced picture says what each pixel shows, then each bait is cut out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from identify.calibration import Calibration
from identify.photo import Photo
from identify.records import WARNINGS, Notice, SetAside
from identify.separate.cutout import cut_out
from identify.separate.look import Scene, look_at
from identify.separate.order import reading_order
from identify.separate.shape import why_not
from identify.separate.things import Thing, bodies, others
from identify.settings import Point, Settings
from identify.stages import Region, Separation, as_polygon

_WIRE_MM = 1.8
"""Width of a hook's wire, generously."""
_USUAL_MM = 65.0
"""Length of the usual bait, to judge the scale of a photo without one by."""
_GUESSED_WELL = 1.15
"""A guessed scale within this factor of what the baits say is not looked at again."""
_SMALL_BESIDE = 0.28
GUESSES_MM = (110.0, 170.0, 260.0)
"""How much of the table a photo without a scale may show along its long side."""
_LEAST_CERTAINTY = 0.75


@dataclass(frozen=True, eq=False)
class Found:
    """A thing, and why it is no bait (None when it may be one)."""

    thing: Thing
    reason: str | None


def separate(photo: Photo, calibration: Calibration, settings: Settings) -> Separation:
    """Find every bait of a photo and set everything else aside.

    Returns regions in reading order (rows of the picture from the top, each from the left: `order`) and, in pixels of
    the photo, the outlines of what was not taken for a bait with the reason.  A photo without a bait gives the warning
    `no-bait`.
    """
    scale: float | None = None
    if calibration.has_scale:
        scene = look_at(photo, calibration)
        found = _find(photo, calibration, scene) if scene is not None else []
    else:
        scene, found, scale = _at_a_guessed_scale(photo, calibration)
    if scene is None:
        return Separation((), (), (Notice("no-bait", WARNINGS["no-bait"]),))
    regions: list[Region] = []
    aside: list[SetAside] = []
    for f in found:
        local = calibration.px_per_mm_at(_centre(f.thing, scene)) if calibration.has_scale else scale
        region = None
        if f.reason is None and local is not None:
            region = cut_out(photo, f.thing, scene, local)
        if region is not None:
            regions.append(region)
        else:
            reason = f.reason or "no body that stands off the ground"
            aside.append(SetAside(as_polygon(scene.to_photo(f.thing.contour)), reason))
    warnings = () if regions else (Notice("no-bait", WARNINGS["no-bait"]),)
    order = reading_order([region.rim_px for region in regions])
    return Separation(tuple(regions[i] for i in order), tuple(aside), warnings)


def _at_a_guessed_scale(photo: Photo, calibration: Calibration) -> tuple[Scene | None, list[Found], float | None]:
    """The scene, what it holds, and the photo's pixels per millimetre as the baits' usual length has it.

    The network knows baits by their size too: the photo is looked at as if it showed little or much of the table, and
    then once more at the scale that the baits found so ask for.
    """
    side = max(photo.width, photo.height)
    seen = [
        (scene, _find(photo, calibration, scene))
        for mm in GUESSES_MM
        if (scene := look_at(photo, calibration, side / mm))
    ]
    if not seen:
        return None, [], None
    scene, found = max(seen, key=lambda s: sum(f.thing.certainty for f in s[1] if f.reason is None))
    scale = _usual_scale(scene, found)
    if scale is not None and not 1 / _GUESSED_WELL < scale / (scene.px_per_mm * scene.step) < _GUESSED_WELL:
        again = look_at(photo, calibration, scale)
        if again is not None:
            scene, found = again, _find(photo, calibration, again)
            scale = _usual_scale(scene, found) or scale
    return scene, _beside_the_largest(found), scale


def _find(photo: Photo, calibration: Calibration, scene: Scene) -> list[Found]:
    """Every thing of a scene with what speaks against its being a bait."""
    wire = _WIRE_MM * scene.px_per_mm
    side = float(np.sqrt(photo.width * photo.height)) / scene.step
    found = bodies(scene, wire)
    out = []
    for thing in found + others(scene, found, wire):
        known = calibration.px_per_mm_at(_centre(thing, scene)) / scene.step if calibration.has_scale else None
        looks_right = thing.certainty >= _LEAST_CERTAINTY
        reason = why_not(thing.shape, known, side, looks_right)
        if reason is None and not looks_right:
            reason = "does not look like a bait's body"
        out.append(Found(thing, reason))
    return out


def _centre(thing: Thing, scene: Scene) -> Point:
    """The middle of a thing's contour, in pixels of the photo."""
    x, y = scene.to_photo(thing.contour.mean(0)[None])[0]
    return float(x), float(y)


def _usual_scale(scene: Scene, found: list[Found]) -> float | None:
    """Pixels of the photo per millimetre if the longest thing that may be a bait is a usual one."""
    lengths = [f.thing.shape.length for f in found if f.reason is None] or [f.thing.shape.length for f in found]
    return max(lengths) * scene.step / _USUAL_MM if lengths else None


def _beside_the_largest(found: list[Found]) -> list[Found]:
    """Without a scale sizes are judged against each other: what is a quarter as long as the longest is part of it."""
    longest = max((f.thing.shape.length for f in found if f.reason is None), default=0.0)
    small = "too small beside the largest bait"
    return [
        Found(f.thing, small) if f.reason is None and f.thing.shape.length <= _SMALL_BESIDE * longest else f
        for f in found
    ]
