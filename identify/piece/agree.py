"""Whether two photos show one piece, and which way round the second lies against the first.

Every feature that both photos show speaks by how much likelier what separates the two is for one piece than for two
pieces of different kinds.  Two pieces of one model, size and colourway cannot be told apart so.  Figures marked "bench"
are common sense at the bench, no published source.
"""

from __future__ import annotations

import math

import numpy as np

from identify.colour import delta_e
from identify.geometry import Array
from identify.outline import TURNED, rms_height
from identify.piece.unit import Shot, turned
from identify.records import Colour, Quantity

OWN_PARTS = ("outline", "angle of view", "slope", "propping on hooks", "tilt of the camera")
"""Parts of the uncertainty of a size that each photo has of its own; what scale and thickness do, photos share, save
for their scatter `OWN_SCALE`."""
OWN_SCALE = 0.004
SIZE_APART, ASPECT_APART = 0.45, 0.35
"""Standard deviations of ln(length) and ln(depth to length) between two kinds of bait (bench)."""
SHAPE_SAME, SHAPE_APART = 0.012, 0.045
"""Root mean square distance of two outlines as a share of the depth, of one piece twice and of two kinds (bench)."""
RING_SAME, RING_APART = 0.015, 0.12
"""The same for where the nearest ring lies, as a share of the length."""
COLOUR_FLOOR, COLOUR_APART = 3.0, 30.0
TAIL, COLOUR_TAIL = 4.0, 10.0
"""Degrees of freedom of Student's t: outlines are misread more often than colours."""
BODY_AT_LEAST, TIES_AT_LEAST = -2.0, -1.5
"""A misread outline and a miscounted tie must not by themselves set a photo apart; without a length to go by, an
outline may."""
APART = -4.0
"""Two photos that speak against one piece by more than this (natural log) are not taken together."""
MISREAD = 0.05


def _log_t(z: float, sd: float, tail: float) -> float:
    return -math.log(sd) - (tail + 1) / 2 * math.log1p((z / sd) ** 2 / tail)


def _ratio(z: float, same: float, apart: float, tail: float = TAIL) -> float:
    return _log_t(z, same, tail) - _log_t(z, math.hypot(same, apart), tail)


def own_u(q: Quantity) -> float:
    """Relative standard uncertainty that a photo does not share with others of the same piece."""
    own = math.sqrt(sum(p.u**2 for p in q.parts if p.what in OWN_PARTS)) if q.parts else q.u
    return math.hypot(own / q.value, OWN_SCALE)


def ways(one: Shot, other: Shot) -> Array:
    """How much (4,) outline, rings, eye and colours of two side views speak for one piece, the other turned each way
    (`TURNED`)."""
    found = np.zeros(4)
    for way in range(4):
        total = _ratio(float(rms_height(TURNED[way] * other.shape - one.shape)), SHAPE_SAME, SHAPE_APART)
        rings, others = one.rings, turned(other.rings, way)
        if len(rings) and len(others):
            gaps = np.hypot(*np.moveaxis(rings[:, None] - others[None], -1, 0))
            nearest = float(np.median(gaps.min(axis=0 if len(rings) >= len(others) else 1)))
            total += _ratio(nearest, RING_SAME, RING_APART)
        if one.eye is not None and other.eye is not None:
            gap = float(np.hypot(*(one.eye - turned(other.eye, way))[0]))
            total += _ratio(gap, RING_SAME, RING_APART)
        ends = (other.m.back_colour, other.m.belly_colour)
        back, belly = ends[::-1] if way & 1 else ends
        total += _colours(one.m.back_colour, back) + _colours(one.m.belly_colour, belly)
        found[way] = total
    return found


def _colours(one: Colour | None, other: Colour | None) -> float:
    if one is None or other is None:
        return 0.0
    same = math.hypot(one.u, other.u, COLOUR_FLOOR)
    return _ratio(float(delta_e(one.lab, other.lab)), same, COLOUR_APART, COLOUR_TAIL)


def _counts(one: tuple[float, ...] | None, other: tuple[float, ...] | None) -> float:
    if one is None or other is None:
        return 0.0
    a, b = ((1 - MISREAD) * np.array(q) / sum(q) + MISREAD / len(q) for q in (one, other))
    return math.log(float(a @ b) * len(a))


def against(one: Shot, other: Shot) -> dict[str, float]:
    """What speaks against one piece, by feature: natural logs of 0 or less, `APART` and less in sum for two pieces.

    What agrees makes nothing good that does not: two colourways of one model agree in all but the colour.
    """
    found = {"length": 0.0, "outline": 0.0, "line ties": 0.0}
    a, b = one.m.length_mm, other.m.length_mm
    if a is not None and b is not None:
        found["length"] = _ratio(math.log(a.value / b.value), math.hypot(own_u(a), own_u(b)), SIZE_APART)
    turned_back = False
    if one.is_side and other.is_side:
        p, q = one.m.depth_to_length, other.m.depth_to_length
        way = int(np.argmax(ways(one, other)))
        turned_back = bool(way & 1)
        aspect = _ratio(math.log(p.value / q.value), math.hypot(own_u(p), own_u(q)), ASPECT_APART)
        shape = _ratio(float(rms_height(TURNED[way] * other.shape - one.shape)), SHAPE_SAME, SHAPE_APART)
        found["outline"] = min(aspect, 0.0) + min(shape, 0.0)
        if a is not None and b is not None:
            found["outline"] = max(found["outline"], BODY_AT_LEAST)
        ties = [None if s.m.line_ties is None else s.m.line_ties.probabilities for s in (one, other)]
        found["line ties"] = max(_counts(*ties), TIES_AT_LEAST)
    ends = (other.m.back_colour, other.m.belly_colour)
    back, belly = ends[::-1] if turned_back else ends
    found["back colour"] = _colours(one.m.back_colour, back)
    found["belly colour"] = _colours(one.m.belly_colour, belly)
    return {name: min(value, 0.0) for name, value in found.items()}
