"""What was measured and what a form would show, in words."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np

from identify.geometry import Array
from identify.outline import TURNED, rms_height
from identify.rank.body import misread_chance
from identify.rank.prepared import Prepared
from identify.rank.readings import Readings
from identify.rank.rings import Rings
from identify.rank.telling import FEATURE_OF
from identify.records import ColourwayMatch
from identify.reference.frame import from_nose

NOT_SAID = "the set does not say"


def pm(value: float, u: float, unit: str = "") -> str:
    """A value with its standard uncertainty, which is given to two figures or whole."""
    digits = min(4, max(0, 1 - math.floor(math.log10(u)))) if u > 0 else 2
    digits = min(digits, 2 if unit else 4)
    return f"{value:.{digits}f} ± {u:.{digits}f}{' ' + unit if unit else ''}"


def percent(p: float) -> str:
    """A probability for people, who are not told that anything is certain."""
    if p > 0.995:
        return "over 99 %"
    return f"{100 * p:.0f} %" if p >= 0.095 else f"{100 * p:.2g} %" if p >= 0.0005 else "under 0.1 %"


def _along(places: Array, length_mm: float | None) -> str:
    """Places from the nose, in mm or as shares of the length."""
    x = np.sort(places[:, 0])
    return from_nose(100 * x, "% of the length", 0) if length_mm is None else from_nose(length_mm * x, "mm")


def _turned(places: Array, way: int) -> Array:
    return np.column_stack([1 - places[:, 0], places[:, 1]]) if way >= 2 else places


def _rings(rings: Rings, i: int, length_mm: float | None) -> str:
    known = int(rings.placed[i])
    return _along(rings.places[i, :known].astype(float), length_mm) if known else NOT_SAID


def _count(value: int) -> str:
    return NOT_SAID if value < 0 else str(value)


def measured(r: Readings, way: int) -> dict[str, str]:
    """Every feature that was measured, the bait lying the given way round."""
    length = None if r.length_mm is None else r.length_mm.value
    words = {
        "a misread body": "outline unclear" if r.body_doubtful else "outline clear",
        "outline": "side outline",
        "colours": _colours(r),
        "pattern": _painted(r),
    }
    if r.length_mm is not None:
        words["length"] = pm(r.length_mm.value, r.length_mm.u, "mm")
    if r.aspect is not None:
        words["depth to length"] = pm(r.aspect.value, r.aspect.u)
    if r.tie_counts is not None:
        most = int(np.argmax(r.tie_counts))
        sure = percent(max(r.tie_counts) / sum(r.tie_counts))
        words["line ties"] = f"{most if most < 5 else '5 or more'} ({sure}{', one lost' if r.traces else ''})"
    if r.tie_places is not None:
        words["tie places"] = _along(_turned(r.tie_places, way), length)
    if r.hangers is not None:
        words["hangers"] = str(r.hangers)
    if r.hanger_places is not None:
        words["hanger places"] = _along(_turned(r.hanger_places, way), length)
    if r.hooks is not None:
        words["hooks"] = str(r.hooks)
    if r.eye_place is not None:
        words["eye"] = _along(_turned(r.eye_place, way), length)
        if r.eye_diameter_mm is not None:
            words["eye"] += f", {pm(r.eye_diameter_mm.value, r.eye_diameter_mm.u, 'mm')} wide"
    if r.lip is not None:
        words["lip"] = f"seen ({percent(r.lip)})" if r.lip >= 0.5 else f"none seen ({percent(1 - r.lip)})"
    if r.thickness_mm is not None:
        words["thickness"] = pm(r.thickness_mm.value, r.thickness_mm.u, "mm")
    if r.joint:
        words["joint"] = "a gap across the body"
    return words | {FEATURE_OF[t.key]: t.words for t in r.told}


def _colours(r: Readings) -> str:
    named = [("back", r.back), ("belly", r.belly), *r.zones]
    return ", ".join(f"{where} {c.name}" for where, c in named if c is not None)


def _painted(r: Readings) -> str:
    pattern = "not read" if r.pattern is None else f"{r.pattern.kind} ({percent(r.pattern.certainty)})"
    return f"{pattern}, {' or '.join(r.hard_to_read)} finish" if r.hard_to_read else pattern


def expected(
    r: Readings, p: Prepared, i: int, way: int, match: ColourwayMatch | None, features: Iterable[str]
) -> dict[str, str]:
    """What form i of a set would show of some features; without a scale places are told as shares of the length."""
    form = p.forms[i]
    length = form.length_mm if r.scaled else None
    ratio = float(np.exp(p.ln_aspect[i]))
    say: dict[str, Callable[[], str]] = {
        "length": lambda: pm(form.length_mm, form.length_mm * float(p.length_tolerance[i]), "mm"),
        "depth to length": lambda: NOT_SAID if math.isnan(ratio) else pm(ratio, ratio * float(p.aspect_tolerance[i])),
        "outline": lambda: _outline(r, p, i, way),
        "a misread body": lambda: f"{percent(misread_chance(r, p.noise))} are",
        "line ties": lambda: _count(int(p.ties.count[i])),
        "tie places": lambda: _rings(p.ties, i, length),
        "hangers": lambda: _count(int(p.hangers.count[i])),
        "hanger places": lambda: _rings(p.hangers, i, length),
        "hooks": lambda: NOT_SAID if form.hooks is None else f"{form.hooks} when new",
        "eye": lambda: _eye(p, i, length),
        "lip": lambda: form.lip or NOT_SAID,
        "thickness": lambda: NOT_SAID if form.thickness_mm is None else f"{form.thickness_mm:.1f} mm",
        "depth": lambda: NOT_SAID if form.depth_mm is None else f"{form.depth_mm:.1f} mm",
        "weight": lambda: NOT_SAID if form.weight_g is None else f"{form.weight_g:.1f} g",
        "kind of line ties": lambda: form.tie_kind or NOT_SAID,
        "kind of hangers": lambda: form.hanger_kind or NOT_SAID,
        "kind of eye": lambda: NOT_SAID if form.eye is None else form.eye.kind or NOT_SAID,
        "material": lambda: form.material or NOT_SAID,
        "parts": lambda: NOT_SAID if form.parts is None else str(form.parts),
        "joint": lambda: NOT_SAID if form.parts is None else "one piece" if form.parts == 1 else f"{form.parts} parts",
        "colours": lambda: NOT_SAID if match is None else f"nearest: {match.name}",
        "pattern": lambda: NOT_SAID if match is None else f"as of {match.name}",
    }
    return {name: say[name]() for name in features}


def _outline(r: Readings, p: Prepared, i: int, way: int) -> str:
    if r.outline is None or np.isnan(p.outline[i, 0]):
        return NOT_SAID
    off = float(rms_height(TURNED[way] * r.outline - p.axes.vectors @ p.outline[i]))
    usual = p.axes.height * math.hypot(1.0, float(p.outline_doubt[i]))
    return f"{100 * off:.1f} % of the depth off on average (a piece of this model: about {100 * usual:.1f} %)"


def _eye(p: Prepared, i: int, length_mm: float | None) -> str:
    if p.eye[i] < 1:
        return "none" if p.eye[i] == 0 else NOT_SAID
    place = p.eye_place[i : i + 1]
    words = "an eye" if np.isnan(place[0, 0]) else _along(place, length_mm)
    wide = float(p.eye_diameter_mm[i])
    return words if length_mm is None or math.isnan(wide) else f"{words}, {wide:.1f} mm wide"
