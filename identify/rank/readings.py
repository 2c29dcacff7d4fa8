"""What one measurement gives to ranking: independent numbers, freed from pixels and from the picture's orientation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from identify.geometry import Array
from identify.outline import descriptors, frame_of, profile, to_frame
from identify.records import Colour, Eye, LineTies, Measurement, Pattern, Polygon, Quantity, Thickness
from identify.settings import Point
from identify.told import Told

DOUBTFUL = ("outline-unclear", "touches-edge")
UNSURE_LENGTH, UNSURE_ASPECT = 0.013, 0.03
"""Relative standard uncertainties from which on the outline is doubtful: usual ones are half of that."""
ZoneKind = Literal["head", "side", "tail", "throat"]


@dataclass(frozen=True, eq=False)
class Readings:
    """None is what was not measured.  Places (m, 2) are in the bait's frame as fractions of its length.

    `outline` (DESCRIPTORS,); `depth_px`: the body's depth in pixels, which sets the outline's noise.
    `p_nose`, `p_back`: probability that nose and tail, back and belly, are the right way round.
    `scaled`: sizes can be told apart.  `body_doubtful`: the measurement warns that the body's outline is
    unclear, or its uncertainties say so.  `joint`: a gap was seen across the body.  `told`: what a person said;
    `identify.rank.telling.tell` enters it.
    """

    length_mm: Quantity | None = None
    aspect: Quantity | None = None
    outline: Array | None = None
    depth_px: float = 200.0
    p_nose: float = 1.0
    p_back: float = 1.0
    tie_counts: tuple[float, ...] | None = None
    tie_count: int | None = None
    tie_places: Array | None = None
    traces: int = 0
    hangers: int | None = None
    hanger_places: Array | None = None
    hooks: int | None = None
    eye_place: Array | None = None
    eye_diameter_mm: Quantity | None = None
    lip: float | None = None
    thickness_mm: Thickness | None = None
    depth_mm: Quantity | None = None
    back: Colour | None = None
    belly: Colour | None = None
    zones: tuple[tuple[ZoneKind, Colour], ...] = ()
    pattern: Pattern | None = None
    hard_to_read: tuple[str, ...] = ()
    body_doubtful: bool = False
    joint: bool = False
    told: tuple[Told, ...] = ()

    @property
    def scaled(self) -> bool:
        return self.length_mm is not None or self.told_of("depth_mm") is not None

    def told_of(self, key: str) -> Told | None:
        """What was told under a key."""
        return next((t for t in self.told if t.key == key), None)


def _places(m: Measurement, at_px: Polygon, at_mm: Polygon | None) -> Array | None:
    """Places as fractions of the length: from millimetres where there are any, since those are free of parallax."""
    if at_mm is not None and m.length_mm is not None:
        return np.asarray(at_mm, float).reshape(-1, 2) / m.length_mm.value if at_mm else None
    if not at_px:
        return None
    nose, tail = frame_of(m.outline_px, m.nose_px)
    return to_frame(at_px, nose, tail, m.shows == "left") / float(np.hypot(*(tail - nose)))


def _outline(m: Measurement) -> tuple[Array, float]:
    """Descriptors, and the depth in pixels.  A bait that shows its left flank has its back to the left hand of one who
    walks from nose to tail."""
    outline = np.asarray(m.outline_px, float)
    nose, tail = frame_of(outline, m.nose_px)
    framed = to_frame(outline, nose, tail, m.shows == "left")
    flat = framed if m.outline_mm is None else np.asarray(m.outline_mm, float)
    return descriptors(profile(flat)), float(np.ptp(framed[:, 1]))


def _ties(ties: LineTies | None) -> tuple[tuple[float, ...] | None, int | None, int]:
    return (None, None, 0) if ties is None else (ties.probabilities, ties.count, len(ties.traces))


def _eye(m: Measurement, eye: Eye) -> Array | None:
    place: Point | None = eye.at_mm
    return _places(m, (eye.at_px,), None if place is None else (place,))


def read(m: Measurement) -> Readings:
    """The readings of a measurement.  A bait seen from its back or belly is not scored as a side view: its length, its
    line ties' number and its thickness remain; seen from its end, nothing but the ties' number does."""
    counts, count, traces = _ties(m.line_ties)
    thickness = m.thickness_mm if m.thickness_mm is not None and m.thickness_mm.source != "depth" else None
    length = m.length_mm if m.view.kind != "end" else None
    if m.view.kind in ("back", "belly", "end"):
        return Readings(length, tie_counts=counts, tie_count=count, traces=traces, thickness_mm=thickness)
    outline, depth_px = _outline(m)
    return Readings(
        length_mm=length,
        aspect=m.depth_to_length,
        outline=outline,
        depth_px=depth_px,
        p_nose=m.orientation_certainty[0],
        p_back=m.orientation_certainty[1],
        tie_counts=counts,
        tie_count=count,
        tie_places=None if m.line_ties is None else _places(m, m.line_ties.at_px, m.line_ties.at_mm),
        traces=traces,
        hangers=None if m.hangers is None else m.hangers.count,
        hanger_places=None if m.hangers is None else _places(m, m.hangers.at_px, m.hangers.at_mm),
        hooks=None if m.hooks is None else m.hooks.count,
        eye_place=None if m.eye is None else _eye(m, m.eye),
        eye_diameter_mm=None if m.eye is None else m.eye.diameter_mm,
        lip=None if m.lip is None else m.lip.probability,
        thickness_mm=thickness,
        depth_mm=m.depth_mm,
        back=m.back_colour,
        belly=m.belly_colour,
        zones=tuple((z.kind, z.colour) for z in m.zones),
        pattern=m.pattern,
        hard_to_read=m.hard_to_read,
        body_doubtful=body_doubtful(m),
        joint=any(n.code == "joint-seen" for n in m.warnings),
    )


def body_doubtful(m: Measurement) -> bool:
    """The outline may be wrong: it is said to be unclear, or length or proportion are given with so much doubt."""
    if any(n.code in DOUBTFUL for n in m.warnings):
        return True
    length = m.length_mm is not None and m.length_mm.u > UNSURE_LENGTH * m.length_mm.value
    return length or m.depth_to_length.u > UNSURE_ASPECT * m.depth_to_length.value
