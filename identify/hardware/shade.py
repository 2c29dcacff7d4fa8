"""Shadows of rings: beside a ring its shadow lies on the ground, ring-shaped and at the body's edge like itself, but
nowhere lighter than the ground about it, while wire catches the light somewhere."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from identify.geometry import Array
from identify.photo import Photo
from identify.stages import Ring

NEAREST_MM, FURTHEST_MM = 1.5, 9.0
"""A shadow lies so far from its ring (render; rings stand up to 15 mm above the ground)."""
LIGHTER = 0.2
"""A ring's lightest parts are so much lighter than its shadow's, as logarithms of light over the ground's."""
SHIFT = 5.0
"""Fall of the log odds of a ring that looks so (render: so do 12 of 27 rings that are none, and 4 of 1497 that are)."""
TIE_LIKE = 0.3
_WIRE, _GROUND = (0.55, 1.0), (1.35, 2.3)
"""Of the outer radius: where wire is looked at, and ground."""
_CLEAR_MM = 0.3
"""So near the body nothing is looked at."""
_FEWEST = 6


def without_shadows(photo: Photo, found: Sequence[Ring], outline_px: Array, px_per_mm: float) -> tuple[Ring, ...]:
    """The rings, the surest first, those that may be another one's shadow less sure.  Rings in which a hook hangs, and
    hangers by their looks, throw no doubt."""
    free = [i for i, ring in enumerate(found) if not ring.hooked and ring.tie_like > TIE_LIKE]
    light = {i: _lightest(photo, found[i], outline_px, px_per_mm) for i in free} if len(free) > 1 else {}
    out = list(found)
    for i, own in light.items():
        if own is None or own >= 0:
            continue
        for j, other in light.items():
            apart = math.dist(found[i].at_px, found[j].at_px) / px_per_mm
            near = NEAREST_MM < apart < FURTHEST_MM and found[j].probability > 0.5
            if near and other is not None and other > own + LIGHTER:
                out[i] = replace(found[i], probability=_less(found[i].probability))
    return tuple(sorted(out, key=lambda ring: -ring.probability))


def _less(p: float) -> float:
    return 1 / (1 + (1 - p) / max(p, 1e-9) * math.exp(SHIFT))


def _lightest(photo: Photo, ring: Ring, outline_px: Array, px_per_mm: float) -> float | None:
    """Logarithm of the light of a ring's lightest tenth over the ground's; None where too little of either is seen."""
    at = np.array(ring.at_px)
    radius = max(ring.outer_diameter_px / 2, 1.0)
    low = np.floor(at - _GROUND[1] * radius).astype(int)
    size = int(2 * _GROUND[1] * radius) + 2
    x, y = np.meshgrid(np.arange(size), np.arange(size))
    linear = photo.at(np.column_stack([x.ravel(), y.ravel()]) + low).reshape(size, size, 3).mean(2)
    light = np.log(cv2.GaussianBlur(linear + np.float32(1e-3), (0, 0), max(0.06 * px_per_mm, 0.5)))
    body = np.zeros((size, size), np.uint8)
    cv2.fillPoly(body, [np.round(outline_px - low).astype(np.int32)], 1)
    clear = 2 * max(1, int(_CLEAR_MM * px_per_mm)) + 1
    beside = cv2.dilate(body, np.ones((clear, clear), np.uint8)) == 0
    away = np.hypot(x + low[0] - at[0], y + low[1] - at[1]) / radius
    wire, ground = (light[beside & (away > a) & (away < b)] for a, b in (_WIRE, _GROUND))
    if min(len(wire), len(ground)) < _FEWEST:
        return None
    return float(np.quantile(wire, 0.9) - np.median(ground))
