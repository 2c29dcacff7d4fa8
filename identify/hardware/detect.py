"""Everything that sits on or hangs from one body, before nose and back are known."""

from __future__ import annotations

import numpy as np

from identify import network
from identify.calibration import Calibration
from identify.geometry import Array
from identify.hardware import eye, lip, polar, rings, traits
from identify.hardware.view import PX_PER_MM, View, look
from identify.photo import Photo
from identify.records import Notice
from identify.stages import Body, EyeSeen, Hardware, HookSeen, PlateSeen, Region, Ring, Sizing

LEAST = 0.03
"""Rings and eyes less probable than this are not worth handing on."""
APART_MM = 2.2
"""No two rings sit closer than this (common practice, no published source)."""
LOW_RESOLUTION = 5.0
"""Pixels per millimetre below which counts of small rings are not to be trusted."""


def detect(photo: Photo, region: Region, body: Body, sizing: Sizing, calibration: Calibration) -> Hardware:
    """Find rings, hooks, eye and lip.

    Traces of lost ties are not looked for: a hole in the body's edge is too much like painted bars and knocks.
    Everything is looked for in the photo resampled to a fixed number of pixels per millimetre (see `view`); places are
    in pixels of the photo.  Without a scale the body's own length serves as one.
    """
    view = look(photo, region, body, sizing)
    white = polar.whiten(view)
    found = find_rings(view, white)
    hooks = tuple(HookSeen(r.at_px, r.probability) for r in found if r.hooked and r.probability > 0.5)
    warnings = []
    if calibration.has_scale and view.scale < LOW_RESOLUTION:
        warnings.append(
            Notice("resolution-low", "Too few pixels on the bait to count small rings: go nearer or zoom in.")
        )
    return Hardware(found, hooks, find_eyes(view), find_lips(view, white, found), (), tuple(warnings))


def find_rings(view: View, white: polar.Whitened) -> tuple[Ring, ...]:
    """Rings at the body's edge, the surest first."""
    places = rings.find(view, white)
    if not len(places):
        return ()
    inputs, names = traits.traits(view, white, places)
    p = network.load("identify.hardware", "rings").probabilities(inputs, names)
    there = 1 - p[:, 0]
    kept = rings.apart(places.centre, np.where(there >= LEAST, there, 0), APART_MM, len(places))
    roots = places.centre - places.outward * (-view_depth(view, places.centre) * PX_PER_MM)[:, None]
    photo_centre, photo_root = view.to_photo(places.centre), view.to_photo(roots)
    return tuple(
        Ring(
            (float(photo_centre[k, 0]), float(photo_centre[k, 1])),
            (float(photo_root[k, 0]), float(photo_root[k, 1])),
            float(2 * places.radius[k] * view.scale),
            float(there[k]),
            bool(p[k, 3] > 0.5 * there[k]),
            float(p[k, 1] / there[k]),
        )
        for k in kept
    )


def view_depth(view: View, points: Array) -> Array:
    """Signed distance to the outline (mm) at points in view pixels."""
    h, w = view.depth.shape
    x, y = np.clip(np.round(points).astype(int), 0, [w - 1, h - 1]).T
    return np.asarray(view.depth[y, x], float)


def find_eyes(view: View) -> tuple[EyeSeen, ...]:
    """Places that may be an eye, the surest first."""
    found = eye.candidates(view)
    if not found:
        return ()
    p = network.load("identify.hardware", "eyes").probabilities(eye.traits(view, found), eye.NAMES)[:, 1]
    seen = []
    for k in np.argsort(-p):
        x, y = view.to_photo(found[k].centre)[0]
        if p[k] >= LEAST:
            seen.append(EyeSeen((float(x), float(y)), found[k].diameter_mm * view.scale, float(p[k])))
    return tuple(seen)


def find_lips(view: View, white: polar.Whitened, found: tuple[Ring, ...]) -> tuple[PlateSeen, ...]:
    """A plate at either end that may be a lip."""
    bars = lip.bars(view, white, found)
    if not bars:
        return ()
    p = network.load("identify.hardware", "lips").probabilities(np.array([b.looks for b in bars]), lip.NAMES)[:, 1]
    return lip.plates(view, bars, p, LEAST)
