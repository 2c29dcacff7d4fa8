"""Whether a photo shows what the profile says that it should: before it is learned from, not after."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from identify.geometry import Array
from identify.reference.clashes import LENGTH_OFF as NOTED
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
NOTED_SIGMAS = 3.0
"""A told length this near to the photo's (and nearer than NOTED) agrees with it."""
SURE_LENGTH = 0.02
"""Relative uncertainty of a measured length that may speak against one told by caliper."""
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
    length = None if shot.length_mm is None else (shot.length_mm.value, shot.length_mm.u)
    if facts.length_mm is not None:
        length = facts.length_mm, TOLD_U_MM
    aspect = _told_aspect(facts) or (shot.aspect.value, shot.aspect.u)
    found = (
        None if ties_may_differ else _told_ties(facts, form) or _seen_ties(shot, facts, form),
        None if length is None else _length(*length, form),
        _aspect(*aspect, form),
        _outline(shot, form),
    )
    return [text for text in found if text is not None]


def against_seen(facts: Facts, shots: Sequence[Shot]) -> list[str]:
    """In what a told length and depth contradict what photos of the piece surely show, in words.

    Told line ties do not: rings are misread, and lost, more often than people miscount them."""
    found = []
    for shot in shots:
        seen, told = _sure_length(shot), facts.length_mm
        if seen is not None and told is not None and _off(told, *seen, LENGTH_OFF, SIGMAS):
            found.append(f"you say {told:.1f} mm, {shot.photo} shows {seen[0]:.1f} ± {seen[1]:.1f} mm")
        ratio = _told_aspect(facts)
        if ratio is None or not _side_seen(shot):
            continue
        if abs(math.log(ratio[0] / shot.aspect.value)) > max(
            ASPECT_OFF, SIGMAS * math.hypot(ratio[1] / ratio[0], shot.aspect.u / shot.aspect.value)
        ):
            found.append(
                f"you say its depth is {100 * ratio[0]:.0f} % of its length, "
                f"{shot.photo} shows {100 * shot.aspect.value:.0f} %"
            )
    return found


def told_anew(facts: Facts, shots: Sequence[Shot], form: Form, ties_may_differ: bool) -> list[str]:
    """In what things told anew of photos that are in contradict the profile that the other pieces make, in words.

    What the photos themselves surely show is no contradiction: so a slip can be mended even where the same slip was
    made of the others."""
    found = []
    if not ties_may_differ and all(_surely(shot) != facts.ties for shot in shots):
        found.append(_told_ties(facts, form))
    told = facts.length_mm
    seen = [length for shot in shots if (length := _sure_length(shot)) is not None]
    if told is not None and not any(not _off(told, *length, NOTED, NOTED_SIGMAS) for length in seen):
        found.append(_length(told, TOLD_U_MM, form))
    if (ratio := _told_aspect(facts)) is not None and not any(map(_side_seen, shots)):
        found.append(_aspect(*ratio, form))
    return [text for text in found if text is not None]


def _off(told: float, value: float, u: float, least: float, sigmas: float) -> bool:
    """Whether a told length lies further off a measured one than both can."""
    return abs(math.log(told / value)) > max(least, sigmas * math.hypot(u / value, TOLD_U_MM / told))


def _side_seen(shot: Shot) -> bool:
    return not {"outline-unclear", "touches-edge", "not-side-view"} & set(shot.doubtful)


def _sure_length(shot: Shot) -> tuple[float, float] | None:
    """Length and its uncertainty, of a photo that shows it so that somebody's word may be doubted."""
    q = shot.length_mm
    return (q.value, q.u) if q is not None and _side_seen(shot) and q.u < SURE_LENGTH * q.value else None


def _told_aspect(facts: Facts) -> tuple[float, float] | None:
    length, depth = facts.length_mm, facts.depth_mm
    if length is None or depth is None:
        return None
    return depth / length, depth / length * math.hypot(TOLD_U_MM / length, TOLD_U_MM / depth)


def _length(value: float, u: float, form: Form) -> str | None:
    tolerance = form.tolerance_mm or LENGTH_SPREAD * form.length_mm
    off = math.log(value / form.length_mm)
    wide = SIGMAS * math.hypot(u / value, tolerance / form.length_mm)
    if abs(off) <= min(max(LENGTH_OFF, wide), LENGTH_AT_MOST):
        return None
    more = 100 * (math.exp(off) - 1)
    return f"it is {value:.1f} ± {u:.1f} mm long, the profile {form.length_mm:.1f} mm ({more:+.0f} %)"


def _aspect(aspect: float, u: float, form: Form) -> str | None:
    if form.depth_mm is None:
        return None
    listed = form.depth_mm / form.length_mm
    deep = (form.depth_tolerance_mm or ASPECT_SPREAD * form.depth_mm) / form.depth_mm
    tolerance = math.hypot(deep, (form.tolerance_mm or LENGTH_SPREAD * form.length_mm) / form.length_mm)
    if abs(math.log(aspect / listed)) <= max(ASPECT_OFF, SIGMAS * math.hypot(u / aspect, tolerance)):
        return None
    return f"its depth is {100 * aspect:.0f} % of its length, the profile's {100 * listed:.0f} %"


def _outline(shot: Shot, form: Form) -> str | None:
    if form.outline_mm is None or (off := apart(np.array(shot.outline), sides(form.outline_mm))) <= OUTLINE_OFF:
        return None
    return f"its outline lies {100 * off:.0f} % of the depth off the profile's on average"


def _told_ties(facts: Facts, form: Form) -> str | None:
    if facts.ties is None or form.line_ties is None or facts.ties == form.line_ties.count:
        return None
    return f"you say {_number(facts.ties)}, the profile {form.line_ties.count}"


def _seen_ties(shot: Shot, facts: Facts, form: Form) -> str | None:
    seen = _surely(shot)
    if facts.ties is not None or form.line_ties is None or seen is None or seen == form.line_ties.count:
        return None
    return f"it shows {'5 or more line ties' if seen == 5 else _number(seen)}, the profile has {form.line_ties.count}"


def _surely(shot: Shot) -> int | None:
    """The number of line ties (5: or more) that a photo surely shows."""
    if shot.ties is None:
        return None
    chances: Array = np.array(shot.ties)
    seen = int(np.argmax(chances))
    return None if chances[seen] / chances.sum() < SURE_TIES else seen


def _number(ties: int) -> str:
    return "1 line tie" if ties == 1 else f"{ties} line ties"


def nearest(shot: Shot, forms: Sequence[Form]) -> float | None:
    """How far a photo's outline lies off the nearest of some forms; None where none has an outline."""
    own = np.array(shot.outline)
    return min((apart(own, sides(f.outline_mm)) for f in forms if f.outline_mm is not None), default=None)


def unsure_which_way(shot: Shot) -> bool:
    """Whether a photo leaves open which end is the nose or which side the back."""
    return min(shot.nose, shot.back) < UNSURE_WAY
