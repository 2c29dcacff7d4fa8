"""What the photo shows of a bait: its side, its back or its belly.

A bait on its side shows rings along its edge, one eye within its outline, and mostly another colour above than below.
One that stands on its belly or lies on its back shows the same on both sides of its axis.  To take a side for a back
loses a record, to take a back for a side is seen by whoever laid it down: so back or belly is only said when everything
speaks for it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Literal

import numpy as np

from identify.colour import delta_e
from identify.geometry import Array
from identify.outline import profile, to_frame
from identify.records import WARNINGS, Colour, Measurement, Notice, Thickness, View
from identify.settings import Point
from identify.stages import Body, Hardware, Pose

KINDS: tuple[Literal["side", "back", "belly"], ...] = ("side", "back", "belly")
SURE_SIDE, SURE_OTHER = 0.65, 0.9

# Chances under each of KINDS (common practice, no published source).
PRIOR = np.array([0.90, 0.05, 0.05])
RINGS = (np.array([0.08, 0.80, 0.75]), np.array([0.20, 0.10, 0.12]), np.array([0.77, 0.03, 0.04]))
"""That none, one, or more rings are found along the edge, away from the ends.  None of a bait on its side: few pixels,
deep shadow, or all lost."""
BENT = np.array([0.50, 0.02, 0.02])
ALIKE = np.array([0.08, 0.75, 0.75])
"""That both sides of the axis show one colour; `APART`: two."""
APART = np.array([0.84, 0.08, 0.08])
EYE_WITHIN = np.array([0.75, 0.05, 0.02])
EYE_EITHER_SIDE = np.array([0.01, 0.30, 0.15])
DARK = np.array([0.5, 0.70, 0.25])
HOOK_OVER = np.array([0.3, 0.10, 0.50])
"""That a hook lies over the axis: hooks hang from the belly."""

NEAR_END = 0.08
"""So near to nose or tail, as a share of the length, a ring shows in every view."""
BENDS = 0.04
"""Bend of the middle line, as a share of the depth, from which on a body is not the same on both sides."""
SAME, DIFFERENT = 5.0, 10.0
"""CIEDE2000 up to which two colours are one, and from which on two."""
MID_GREY = 50.0
U_STANDING = 0.02
"""Relative standard uncertainty of a thickness, since a body that stands on its belly may lean."""
OVER, AWAY = 0.2, 0.28
"""Shares of the depth within which a thing lies over the axis, and up to which an eye lies within the flank."""
SAME_PLACE = 0.03
"""Share of the length within which two things are one, and two eyes each other's mirror image."""


def judge(traced: Body, pose: Pose, found: Hardware, back: Colour | None, belly: Colour | None) -> View:
    """What is shown, with its probability; "unsure" carries that of the side.  An outline with warnings is never called
    a back or belly: rings go missing with it."""
    chance = PRIOR.copy()
    for factor in _signs(traced, pose, found, back, belly):
        chance *= factor
    p = dict(zip(KINDS, (float(v) for v in chance / chance.sum()), strict=True))
    if p["side"] > SURE_SIDE:
        return View("side", p["side"])
    if 1 - p["side"] > SURE_OTHER and not traced.warnings:
        kind: Literal["back", "belly"] = "back" if p["back"] >= p["belly"] else "belly"
        return View(kind, p[kind])
    return View("unsure", p["side"])


def _signs(
    traced: Body, pose: Pose, found: Hardware, back: Colour | None, belly: Colour | None
) -> Iterator[Array]:  # fmt: skip
    """How likely (3,) each sign is in each view."""
    outline = _framed(traced.outline_px, pose)
    depth = float(np.ptp(outline[:, 1]))
    eyes = _framed([e.at_px for e in found.eyes if e.probability > 0.5], pose)
    places = _framed([r.at_px for r in found.rings], pose)
    along = [
        ring.probability
        for ring, at in zip(found.rings, places, strict=True)
        if NEAR_END < at[0] < 1 - NEAR_END and not (np.hypot(*(eyes - at).T) < SAME_PLACE).any()
    ]
    yield _rings(along)
    yield BENT if _bend(outline) > BENDS else 1 - BENT
    if any(
        np.hypot(*(one - other * [1, -1])) < SAME_PLACE and abs(one[1]) > OVER * depth
        for one, other in combinations(eyes, 2)
    ):
        yield EYE_EITHER_SIDE
    else:
        yield EYE_WITHIN if (np.abs(eyes[:, 1]) <= AWAY * depth).any() else 1 - EYE_WITHIN
    hooks = _framed([h.at_px for h in found.hooks if h.probability > 0.5], pose)
    yield HOOK_OVER if (np.abs(hooks[:, 1]) < OVER * depth).any() else 1 - HOOK_OVER
    if back is not None and belly is not None:
        apart = float(delta_e(back.lab, belly.lab))
        yield ALIKE if apart < SAME else APART if apart > DIFFERENT else 1 - ALIKE - APART
        yield DARK if (back.lab[0] + belly.lab[0]) / 2 < MID_GREY else 1 - DARK


def _rings(probabilities: Sequence[float]) -> Array:
    """The chances of RINGS, by how likely it is that none, one, or more of these rings are there."""
    none, one = 1.0, 0.0
    for p in probabilities:
        none, one = none * (1 - p), one * (1 - p) + none * p
    return none * RINGS[0] + one * RINGS[1] + (1 - none - one) * RINGS[2]


def _framed(points: Sequence[Point] | Array, pose: Pose) -> Array:
    """Points (n, 2) in the bait's frame, in units of its length."""
    nose, tail = np.asarray(pose.nose_px), np.asarray(pose.tail_px)
    framed: Array = to_frame(np.reshape(points, (-1, 2)), nose, tail, pose.back_is_left) / np.hypot(*(tail - nose))
    return framed


def _bend(outline: Array) -> float:
    """How far the middle line bends, root mean square as a share of the depth: 0 for a body of revolution however its
    axis was laid."""
    upper, lower = profile(outline)
    middle = ((upper + lower) / 2)[3:-3]
    at = np.linspace(-1, 1, len(middle))
    return float(np.sqrt(np.mean(np.square(middle - np.polyval(np.polyfit(at, middle, 1), at)))))


def _on_axis(m: Measurement) -> bool:
    """Line ties were counted, and all of them lie on the axis, where a back shows them."""
    if m.line_ties is None or not m.line_ties.count or not m.line_ties.at_px:
        return False
    nose, tail = np.asarray(m.nose_px), np.asarray(m.tail_px)
    across = to_frame(np.asarray(m.line_ties.at_px), nose, tail, True)[:, 1]
    depth = np.ptp(to_frame(np.asarray(m.outline_px), nose, tail, True)[:, 1])
    return bool((np.abs(across) < OVER * depth).all())


def as_shown(m: Measurement) -> Measurement:
    """A measurement less what its view does not show.

    What lies at right angles to the length of a back or belly is the thickness, not the depth.  One colour was seen.
    Rings stand on edge towards the camera: ties found on a back's axis count, none found says nothing, and a belly
    hides them; hangers are not counted in either view.
    """
    if m.view.kind not in ("back", "belly"):
        return m
    thickness = m.thickness_mm
    if m.depth_mm is not None:
        value = m.depth_mm.value
        thickness = Thickness(value, math.hypot(m.depth_mm.u, U_STANDING * value), "photo")
    colours = [c for c in (m.back_colour, m.belly_colour) if c is not None]
    colour = max(colours, key=lambda c: c.share, default=None)
    ties = m.line_ties if m.view.kind == "back" and _on_axis(m) else None
    notices = m.warnings
    if ties is None and all(n.code != "ties-unsure" for n in notices):
        notices = (*notices, Notice("ties-unsure", WARNINGS["ties-unsure"]))
    return replace(
        m,
        depth_mm=None,
        thickness_mm=thickness,
        line_ties=ties,
        hangers=None,
        back_colour=colour if m.view.kind == "back" else None,
        belly_colour=colour if m.view.kind == "belly" else None,
        zones=(),
        warnings=notices,
    )
