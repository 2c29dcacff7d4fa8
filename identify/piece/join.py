"""Several photos of one piece brought into one measurement.

The photos' own errors are averaged away, the piece's deviation from its model is not: it is one draw, and ranking
allows for it once.  Photos that do not show the same piece as the others are left out and named, never averaged.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from identify.geometry import Array
from identify.piece import average
from identify.piece.agree import APART, against, ways
from identify.piece.unit import Shot
from identify.records import (
    TIE_COUNTS,
    WARNINGS,
    Eye,
    Hangers,
    Hooks,
    LineTies,
    Lip,
    Measurement,
    Notice,
    Polygon,
    Quantity,
    Thickness,
    View,
    Zone,
)
from identify.settings import Point
from identify.stages import as_polygon

T = TypeVar("T")
LEAST_DOUBT = 0.003
"""Way round: no photo is surer than this."""
SURE_COUNT, SURE_WAY_ROUND = 0.5, 0.9
DRAWN_PX = 1000.0
"""Length of the outline in its own pixels where there is no scale."""
RECOUNTED = ("ties-unsure", "nose-unsure", "back-unsure", "not-side-view")
"""Warnings that are decided anew for the piece."""


@dataclass(frozen=True, eq=False)
class Together:
    """The joint measurement, and which shots (indices) it rests on; `odd`: those that show another piece, with the
    features that say so."""

    measurement: Measurement
    used: tuple[int, ...]
    odd: dict[int, tuple[str, ...]]


def join(shots: Sequence[Shot]) -> Together:
    """Bring shots of one piece together, one at least.  Their order changes nothing."""
    used, odd = _kin(shots)
    kept = sorted((shots[i] for i in used), key=_name)
    sides = [s for s in kept if s.is_side]
    if not sides:
        return Together(_joint(kept, kept, kept[0], (kept[0].m.orientation_certainty)), used, odd)
    base = max(sides, key=_clearness)
    right, certainty = _way_round(sides, base)
    if base not in right:
        base = max(right, key=_clearness)
    return Together(_joint(kept, right, base, certainty), used, odd)


def _kin(shots: Sequence[Shot]) -> tuple[tuple[int, ...], dict[int, tuple[str, ...]]]:
    """The largest group of shots that all may show one piece with one of them, among equals that of the clearest shot;
    and what sets the others apart from that one."""
    n = len(shots)
    gaps = [[{} if i == j else against(shots[i], shots[j]) for j in range(n)] for i in range(n)]
    near = np.array([[sum(gaps[i][j].values()) > APART for j in range(n)] for i in range(n)])
    centre = max(range(n), key=lambda i: (near[i].sum(), _clearness(shots[i]), _name(shots[i])))
    odd = {}
    for j in range(n):
        if not near[centre][j]:
            worst = sorted(gaps[centre][j].items(), key=lambda item: item[1])
            odd[j] = tuple(name for name, value in worst if value < APART / 4)[:3]
    return tuple(j for j in range(n) if near[centre][j]), odd


def _name(shot: Shot) -> tuple[str, int]:
    return shot.photo, shot.m.number


def _clearness(shot: Shot) -> tuple[bool, float]:
    """What makes a shot's outline the one to draw: no doubt about it, then its pixels."""
    doubtful = {"outline-unclear", "touches-edge"} & {n.code for n in shot.m.warnings}
    return not doubtful, shot.depth_px


def _way_round(sides: Sequence[Shot], base: Shot) -> tuple[list[Shot], tuple[float, float]]:
    """The shots that were read the right way round, and how sure nose and back are, from all of them together."""
    relative = {id(s): 0 if s is base else int(np.argmax(_fitting(base, s))) for s in sides}
    log_p = np.zeros(4)
    for s in sides:
        nose, back = (min(max(p, LEAST_DOUBT), 1 - LEAST_DOUBT) for p in s.m.orientation_certainty)
        for way in range(4):
            own = relative[id(s)] ^ way
            log_p[way] += math.log(1 - nose if own & 2 else nose) + math.log(1 - back if own & 1 else back)
    share = np.exp(log_p - log_p.max())
    share /= share.sum()
    best = int(np.argmax(share))
    p_nose = sum(float(share[w]) for w in range(4) if not (w ^ best) & 2)
    p_back = sum(float(share[w]) for w in range(4) if not (w ^ best) & 1)
    right = [s for s in sides if relative[id(s)] ^ best == 0]
    return (right or [base]), (min(p_nose, 1.0), min(p_back, 1.0))


def _fitting(base: Shot, other: Shot) -> Array:
    """How well (4,) the other fits the base each way round, as it was read being likelier."""
    nose, back = other.m.orientation_certainty
    p = np.array([nose * back, nose * (1 - back), (1 - nose) * back, (1 - nose) * (1 - back)])
    fitting: Array = ways(base, other) + np.log(np.maximum(p, LEAST_DOUBT**2))
    return fitting


def _joint(kept: Sequence[Shot], right: Sequence[Shot], base: Shot, certainty: tuple[float, float]) -> Measurement:
    """`kept`: all shots of the piece; `right`: the side views that were read the right way round, or all if there is no
    side view; `base`: whose outline is drawn."""
    sides = [s for s in kept if s.is_side] or list(kept)
    ends = [s for s in kept if not s.is_side]
    length = _mean(kept, lambda m: m.length_mm)
    depth = _mean(sides, lambda m: m.depth_mm)
    aspect = average.mean([s.m.depth_to_length for s in sides])
    long = length.value if length is not None else 1.0
    outline = base.framed * [1.0, aspect.value / float(np.ptp(base.framed[:, 1]))]

    def mm(places: Array | None) -> Polygon | None:
        return None if length is None or places is None else as_polygon(places * long)

    def px(places: Array | None) -> Polygon:
        return () if places is None else as_polygon(places * [DRAWN_PX, -DRAWN_PX])

    ties, ties_at = _ties([*right, *(s for s in ends if s not in right)])
    hangers, hangers_at = _hangers(right)
    eye_at = _all(right, lambda s: s.eye)
    eye_place = np.mean([at[0] for at in eye_at], axis=0) if eye_at else None
    diameters = [s.m.eye.diameter_mm for s in right if s.m.eye is not None and s.m.eye.diameter_mm is not None]
    view = base.m.view if not base.is_side else _side([s.m.view for s in sides])
    joint = replace(
        base.m,
        number=1,
        outline_px=px(outline),
        outline_mm=mm(outline),
        view=view,
        nose_px=(0.0, 0.0),
        tail_px=(DRAWN_PX, 0.0),
        nose="left",
        back="up",
        axis_deg=0.0,
        shows="left",
        orientation_certainty=certainty,
        length_mm=length,
        depth_mm=depth,
        depth_to_length=aspect,
        thickness_mm=_thickness(kept, base),
        line_ties=None if ties is None else replace(ties, at_px=px(ties_at), at_mm=mm(ties_at)),
        hangers=None if hangers is None else Hangers(hangers, px(hangers_at), mm(hangers_at)),
        hooks=_hooks(sides),
        eye=None if eye_place is None else Eye(px(eye_place[None])[0], _point(mm(eye_place[None])),
                                               average.mean(diameters) if diameters else None),
        lip=_lip(right),
        back_colour=average.colour(_all([*right, *ends], lambda s: s.m.back_colour)),
        belly_colour=average.colour(_all([*right, *ends], lambda s: s.m.belly_colour)),
        zones=_zones(right, base),
        pattern=average.pattern(_all(right, lambda s: s.m.pattern)),
        hard_to_read=_in_half(right, lambda s: s.m.hard_to_read),
        warnings=(),
    )  # fmt: skip
    return replace(joint, warnings=_warnings(joint, right, base))


def _all(shots: Sequence[Shot], get: Callable[[Shot], T | None]) -> list[T]:
    return [value for s in shots if (value := get(s)) is not None]


def _mean(shots: Sequence[Shot], get: Callable[[Measurement], Quantity | None]) -> Quantity | None:
    found = _all(shots, lambda s: get(s.m))
    return average.mean(found) if found else None


def _point(points: Polygon | None) -> Point | None:
    return None if points is None else points[0]


def _side(views: Sequence[View]) -> View:
    p = average.chance([v.probability for v in views])
    return View("side" if any(v.kind == "side" for v in views) else "unsure", p)


def _ties(shots: Sequence[Shot]) -> tuple[LineTies | None, Array | None]:
    """Line ties of all shots that count some, and their places."""
    found = _all(shots, lambda s: s.m.line_ties)
    counted = [t.probabilities for t in found if t.probabilities is not None]
    if not counted:
        return (found[0], None) if found else (None, None)
    share = average.counts(counted)
    most = int(np.argmax(share))
    sure = share[most] > SURE_COUNT and most < len(TIE_COUNTS) - 1
    at = average.places(_all(shots, lambda s: s.ties), most) if most else None
    traces = max((t.traces for t in found), key=len)
    return LineTies(most if sure else None, share, traces=traces), at


def _hangers(shots: Sequence[Shot]) -> tuple[int | None, Array | None]:
    """The count that most shots have, the greater one of equals since hangers are missed more often than imagined."""
    counted = Counter(h.count for h in _all(shots, lambda s: s.m.hangers))
    if not counted:
        return None, None
    most = max(counted, key=lambda count: (counted[count], count))
    return most, average.places(_all(shots, lambda s: s.hangers), most) if most else None


def _hooks(shots: Sequence[Shot]) -> Hooks | None:
    found = [h.count for h in _all(shots, lambda s: s.m.hooks)]
    return Hooks(max(found), ()) if found else None


def _lip(shots: Sequence[Shot]) -> Lip | None:
    found = [lip.probability for lip in _all(shots, lambda s: s.m.lip)]
    if not found:
        return None
    p = average.chance(found)
    return Lip(p > 0.5, p)


def _thickness(shots: Sequence[Shot], base: Shot) -> Thickness | None:
    """Told, or seen from back or belly; else what the depth lets expect."""
    for source in ("told", "photo"):
        found = [t for t in _all(shots, lambda s: s.m.thickness_mm) if t.source == source]
        if found:
            seen = average.mean([Quantity(t.value, t.u) for t in found])
            return Thickness(seen.value, seen.u, found[0].source)
    return base.m.thickness_mm


def _zones(shots: Sequence[Shot], base: Shot) -> tuple[Zone, ...]:
    """Zones that at least half of the shots show."""
    kinds = Counter(z.kind for s in shots for z in s.m.zones)
    zones = []
    for kind in sorted(k for k, n in kinds.items() if 2 * n >= len(shots)):
        seen = [z for s in (base, *shots) for z in s.m.zones if z.kind == kind]
        colour = average.colour([z.colour for s in shots for z in s.m.zones if z.kind == kind])
        if colour is not None:
            zones.append(replace(seen[0], polygon_px=(), colour=colour))
    return tuple(zones)


def _in_half(shots: Sequence[Shot], get: Callable[[Shot], tuple[str, ...]]) -> tuple[str, ...]:
    seen = Counter(value for s in shots for value in get(s))
    return tuple(sorted(value for value, n in seen.items() if 2 * n >= len(shots)))


def _warnings(joint: Measurement, right: Sequence[Shot], base: Shot) -> tuple[Notice, ...]:
    """What is doubtful of the drawn outline, or in every shot; and what the piece as a whole leaves unsure."""
    everywhere = set.intersection(*({n.code for n in s.m.warnings} for s in right))
    outline = {"outline-unclear", "touches-edge"}
    notices = [n for n in base.m.warnings if n.code not in RECOUNTED and (n.code in everywhere or n.code in outline)]
    codes = [
        ("ties-unsure", joint.line_ties is None or joint.line_ties.count is None),
        ("nose-unsure", joint.orientation_certainty[0] < SURE_WAY_ROUND),
        ("back-unsure", joint.orientation_certainty[1] < SURE_WAY_ROUND),
        ("not-side-view", joint.view.kind != "side"),
    ]
    return (*notices, *(Notice(code, WARNINGS[code]) for code, there in codes if there))
