"""Everything that sits on or hangs from one body, before nose and back are known."""

from __future__ import annotations

from typing import Literal

import numpy as np

from identify.calibration import Calibration
from identify.closeup import Closeup
from identify.hardware import eye, lip, rings, shade
from identify.hardware.calibrated import likelihood
from identify.hardware.peaks import peaks
from identify.photo import Photo
from identify.records import Notice
from identify.settings import Point
from identify.stages import Body, Hardware, HookSeen

LOW_RESOLUTION = 5.0
"""Pixels per millimetre below which counts of small rings are not to be trusted."""
TRACE_LEAST = 0.75
"""Holes and stumps look much like knocks in the paint: only the plainest are said."""
TRACE_APART_MM = 2.5
_STUMP_MM = 1.2


def detect(photo: Photo, body: Body, seen: Closeup, calibration: Calibration) -> Hardware:
    """Find rings, hooks, eye, lip and what lost rings have left.

    All is read off the close look at the bait (`closeup`); places are in pixels of the photo.
    """
    outline = seen.from_photo(body.outline_px)
    found = shade.without_shadows(photo, rings.find(seen, outline), body.outline_px, seen.px_per_mm)
    hooks = tuple(HookSeen(r.at_px, r.probability) for r in found if r.hooked and r.probability > 0.5)
    warnings = []
    if calibration.has_scale and seen.px_per_mm < LOW_RESOLUTION:
        warnings.append(
            Notice("resolution-low", "Too few pixels on the bait to count small rings: go nearer or zoom in.")
        )
    return Hardware(found, hooks, eye.find(photo, seen), lip.find(seen, outline), _traces(seen), tuple(warnings))


def _traces(seen: Closeup) -> tuple[tuple[Point, Literal["hole", "stump"]], ...]:
    """Where rings are lost: a stump of wire stands out there, or a hole is left."""
    mm = seen.mm
    found = peaks(seen.trace_at, TRACE_APART_MM * mm, 0.05)
    out: list[tuple[Point, Literal["hole", "stump"]]] = []
    for at, height in zip(found.at, found.height, strict=True):
        if likelihood("trace", height) < TRACE_LEAST:
            continue
        x, y = np.round(at).astype(int)
        r = max(1, round(_STUMP_MM * mm))
        wire = np.maximum(seen.tie, seen.hanger)[max(0, y - r) : y + r + 1, max(0, x - r) : x + r + 1]
        place = seen.to_photo(at)[0]
        out.append(((float(place[0]), float(place[1])), "stump" if wire.max() > 0.3 else "hole"))
    return tuple(out)
