"""Whether a photo shows what the profile says that it should: before it is learned from, not after."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from identify.geometry import Array
from identify.reference.frame import TURN_NAMES, sides, turned, turned_places
from identify.reference.learn import ASPECT_SPREAD, LENGTH_SPREAD
from identify.reference.lengths import TOLD_U_MM
from identify.reference.pieces import Facts, Shot
from identify.reference.profile import Form
from identify.reference.shapes import apart
from identify.stages import as_polygon

SIGMAS = 4.0
LENGTH_OFF, ASPECT_OFF, OUTLINE_OFF = 0.07, 0.15, 0.075
"""Relative, and rms as a fraction of the depth.  Sizes of one model may lie 15 % apart; a misread outline of the same
model lies mostly nearer than that, other models' mostly further."""
LENGTH_AT_MOST = 0.125
"""Further off than this it is another size, however unsure the lengths are."""
SURE_TIES = 0.9
UNSURE_WAY = 0.75
SHAPE_SD = 0.02


def straightened(shot: Shot, like: Sequence[Form]) -> tuple[Shot, str | None]:
    """The shot, turned to lie as the profile's outline does if it was read the other way round; and how it was turned.

    `like`: forms of the model whose outlines may be followed."""
    drawn = [sides(form.outline_mm) for form in like if form.outline_mm is not None]
    if not drawn:
        return shot, None
    own = np.array(shot.outline)
    ways = []
    for way in range(4):
        doubt = math.log(max(1e-3, 1 - shot.back if way & 1 else shot.back))
        doubt += math.log(max(1e-3, 1 - shot.nose if way & 2 else shot.nose))
        near = min(apart(turned(own, way), other) for other in drawn)
        ways.append(doubt - 0.5 * (near / SHAPE_SD) ** 2)
    best = int(np.argmax(ways))
    return (shot, None) if best == 0 else (_turned(shot, best), TURN_NAMES[best])


def _turned(shot: Shot, way: int) -> Shot:
    def places(at: object) -> tuple[tuple[float, float], ...]:
        return as_polygon(np.round(turned_places(np.asarray(at, float), way), 5)) if at else ()

    upper, lower = (tuple(float(v) for v in side) for side in turned(np.array(shot.outline), way))
    eye = shot.eye
    return shot.model_copy(
        update={
            "outline": (upper, lower),
            "tie_at": places(shot.tie_at),
            "hanger_at": None if shot.hanger_at is None else places(shot.hanger_at),
            "eye": None if eye is None else eye.model_copy(update={"at": places((eye.at,))[0]}),
            "back_seen": shot.belly_seen if way & 1 else shot.back_seen,
            "belly_seen": shot.back_seen if way & 1 else shot.belly_seen,
            "nose": 1 - shot.nose if way & 2 else shot.nose,
            "back": 1 - shot.back if way & 1 else shot.back,
        }
    )


def differences(shot: Shot, facts: Facts, form: Form, ties_may_differ: bool) -> list[str]:
    """In what a photo contradicts the profile of its size, in words; nothing when it fits."""
    found = []
    if not ties_may_differ and (text := _ties(shot, facts, form)) is not None:
        found.append(text)
    value, u = _length(shot, facts)
    if value is not None:
        tolerance = form.tolerance_mm or LENGTH_SPREAD * form.length_mm
        off = math.log(value / form.length_mm)
        wide = SIGMAS * math.hypot(u / value, tolerance / form.length_mm)
        if abs(off) > min(max(LENGTH_OFF, wide), LENGTH_AT_MOST):
            found.append(
                f"it is {value:.1f} ± {u:.1f} mm long, the profile {form.length_mm:.1f} mm "
                f"({100 * (math.exp(off) - 1):+.0f} %)"
            )
    if form.depth_mm is not None:
        aspect, u_aspect = shot.aspect.value, shot.aspect.u / shot.aspect.value
        told = facts.length_mm is not None and facts.depth_mm is not None
        if told and facts.length_mm is not None and facts.depth_mm is not None:
            aspect = facts.depth_mm / facts.length_mm
        off = math.log(aspect / (form.depth_mm / form.length_mm))
        deep = (form.depth_tolerance_mm or ASPECT_SPREAD * form.depth_mm) / form.depth_mm
        tolerance = math.hypot(deep, (form.tolerance_mm or LENGTH_SPREAD * form.length_mm) / form.length_mm)
        if abs(off) > max(ASPECT_OFF, SIGMAS * math.hypot(u_aspect, tolerance)):
            found.append(
                f"its depth is {100 * aspect:.0f} % of its length, the profile's "
                f"{100 * form.depth_mm / form.length_mm:.0f} %"
            )
    if form.outline_mm is not None:
        off = apart(np.array(shot.outline), sides(form.outline_mm))
        if off > OUTLINE_OFF:
            found.append(f"its outline lies {100 * off:.0f} % of the depth off the profile's on average")
    return found


def _length(shot: Shot, facts: Facts) -> tuple[float | None, float]:
    if facts.length_mm is not None:
        return facts.length_mm, TOLD_U_MM
    return (None, 0.0) if shot.length_mm is None else (shot.length_mm.value, shot.length_mm.u)


def _ties(shot: Shot, facts: Facts, form: Form) -> str | None:
    if form.line_ties is None:
        return None
    listed = form.line_ties.count
    if facts.ties is not None:
        return None if facts.ties == listed else f"you say {_number(facts.ties)}, the profile {listed}"
    if shot.ties is None:
        return None
    chances: Array = np.array(shot.ties)
    seen = int(np.argmax(chances))
    if seen == listed or chances[seen] / chances.sum() < SURE_TIES:
        return None
    return f"it shows {_number(seen)}, the profile has {listed}"


def _number(ties: int) -> str:
    return "1 line tie" if ties == 1 else f"{ties if ties < 5 else '5 or more'} line ties"


def nearest(shot: Shot, forms: Sequence[Form]) -> float | None:
    """How far a photo's outline lies off the nearest of some forms; None where none has an outline."""
    own = np.array(shot.outline)
    return min((apart(own, sides(f.outline_mm)) for f in forms if f.outline_mm is not None), default=None)


def unsure_which_way(shot: Shot) -> bool:
    """Whether a photo leaves open which end is the nose or which side the back."""
    return min(shot.nose, shot.back) < UNSURE_WAY
