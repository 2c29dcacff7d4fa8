"""Shapes to lay over pictures, worked out from records alone; the template only writes them down as SVG."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from identify.geometry import Array, resample_closed
from identify.outline import to_frame
from identify.records import Measurement, PhotoRecord, Polygon
from identify.reference import Form
from identify.settings import Point

OUTLINE_POINTS = 240
LETTERS = {"tie": "T", "hanger": "H"}
TURNS = ((1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0))
TURN_WORDS = ("", "turned back for belly", "turned end for end", "turned round")


@dataclass(frozen=True)
class Shape:
    """One thing drawn.  `kind` names its style and its entry in the legend; `text` stands beside it."""

    kind: str
    path: str
    at: Point
    text: str = ""


@dataclass(frozen=True)
class Drawing:
    """Shapes with the part of the plane that they are seen in: x, y, width, height."""

    view: tuple[float, float, float, float]
    shapes: tuple[Shape, ...]
    unit: float
    """A hundredth of the longer side: letters and marks are sized by it."""


def _path(points: ArrayLike, closed: bool = True) -> str:
    at = np.asarray(points, float)
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in at) + ("Z" if closed else "")


def ring_path(x: float, y: float, r: float) -> str:
    """A circle as a path."""
    return f"M{x - r:.2f} {y:.2f}a{r:.2f} {r:.2f} 0 1 0 {2 * r:.2f} 0a{r:.2f} {r:.2f} 0 1 0 {-2 * r:.2f} 0Z"


def _shifted(points: ArrayLike) -> Array:
    """SVG measures from the corner of the first pixel, records from its centre."""
    moved: Array = np.asarray(points, float) + 0.5
    return moved


def _mark(kind: str, at: Point, size: float) -> str:
    """Marks that differ in form, not in colour alone: ring, square, cross, diamond."""
    x, y = float(at[0]) + 0.5, float(at[1]) + 0.5
    if kind == "tie":
        return ring_path(x, y, size)
    corners: dict[str, list[tuple[float, float]]] = {
        "hanger": [(-1, -1), (1, -1), (1, 1), (-1, 1)],
        "eye": [(0, -1.2), (1.2, 0), (0, 1.2), (-1.2, 0)],
    }
    if kind == "hook":
        falling = _path([(x - size, y - size), (x + size, y + size)], closed=False)
        return falling + _path([(x + size, y - size), (x - size, y + size)], closed=False)
    return _path([(x + dx * size, y + dy * size) for dx, dy in corners[kind]])


def whole(record: PhotoRecord, width: int, height: int) -> Drawing:
    """The whole photo: card, baits by number, and what was set aside."""
    shapes = []
    if record.card is not None and record.card.corners_px is not None:
        corners = _shifted(record.card.corners_px)
        shapes.append(Shape("card", _path(corners), _middle(corners), "card"))
    for thing in record.set_aside:
        outline = _shifted(thing.outline_px)
        if len(outline) > 2:
            shapes.append(Shape("aside", _path(outline), _middle(outline)))
    for bait in record.baits:
        outline = _shifted(_thinned(bait.measurement.outline_px))
        shapes.append(Shape("outline", _path(outline), _middle(outline), str(bait.measurement.number)))
    return Drawing((0, 0, width, height), tuple(shapes), max(width, height) / 100)


def bait(m: Measurement, window: tuple[int, int, int, int]) -> Drawing:
    """One bait: outline, length and depth lines, ties, hangers, hooks, eye and colour zones."""
    x0, y0, x1, y1 = window
    unit = max(x1 - x0, y1 - y0) / 100
    shapes = [Shape("outline", _path(_shifted(_thinned(m.outline_px, 2 * OUTLINE_POINTS))), m.nose_px)]
    for zone in m.zones:
        if len(zone.polygon_px) > 2:
            polygon = _shifted(zone.polygon_px)
            shapes.append(Shape("zone", _path(polygon), _middle(polygon), f"{zone.kind} zone"))
    shapes.append(Shape("length", _path(_shifted([m.nose_px, m.tail_px]), closed=False), m.tail_px))
    shapes.append(Shape("depth", _path(_depth_line(m), closed=False), m.nose_px))
    for kind, found in (("tie", m.line_ties), ("hanger", m.hangers), ("hook", m.hooks)):
        for i, at in enumerate(found.at_px if found is not None else (), 1):
            beside = (at[0] + 3 * unit, at[1] - 2 * unit)
            shapes.append(
                Shape(kind, _mark(kind, at, 1.5 * unit), beside, f"{LETTERS[kind]}{i}" if kind in LETTERS else "")
            )
    if m.eye is not None:
        at = m.eye.at_px
        shapes.append(Shape("eye", _mark("eye", at, 1.5 * unit), (at[0] + 3 * unit, at[1] - 2 * unit)))
    shapes.append(Shape("end", "", _beyond(m.tail_px, m.nose_px, 4 * unit), "nose"))
    shapes.append(Shape("end", "", _beyond(m.nose_px, m.tail_px, 4 * unit), "tail"))
    return Drawing((x0, y0, x1 - x0, y1 - y0), tuple(shapes), unit)


def _thinned(points: Polygon, n: int = OUTLINE_POINTS) -> Array:
    return resample_closed(points, n) if len(points) > n else np.asarray(points, float)


def _middle(points: Array) -> Point:
    x, y = (points.min(0) + points.max(0)) / 2
    return float(x), float(y)


def _beyond(start: Point, end: Point, by: float) -> Point:
    """A point on the line from start to end, beyond its end."""
    run = math.dist(start, end) or 1.0
    return end[0] + (end[0] - start[0]) / run * by, end[1] + (end[1] - start[1]) / run * by


def _depth_line(m: Measurement) -> Array:
    """A line as long as the depth and at right angles to the length, half way between the places of the extremes."""
    nose, tail = np.array(m.nose_px), np.array(m.tail_px)
    along = (tail - nose) / np.hypot(*(tail - nose))
    across = np.array([-along[1], along[0]])
    points = np.array(m.outline_px) - nose
    x, y = points @ along, points @ across
    middle = (x[np.argmax(y)] + x[np.argmin(y)]) / 2
    return _shifted(nose + middle * along + np.outer([y.min(), y.max()], across))


@dataclass(frozen=True)
class Overlay:
    """A measured outline and a candidate's, laid over each other in millimetres, nose left and back up."""

    drawing: Drawing
    same_length: bool
    """There was no scale: both are drawn at the candidate's length."""
    turned: str
    """How the candidate had to be turned to lie as the measured one, in words; empty when it had not."""


def overlay(m: Measurement, form: Form) -> Overlay | None:
    """None when the set has no outline of the candidate."""
    if form.outline_mm is None:
        return None
    scaled = m.outline_mm is not None
    if m.outline_mm is not None:
        seen = np.asarray(m.outline_mm, float)
    else:
        left = m.shows == "left"
        seen = to_frame(m.outline_px, m.nose_px, m.tail_px, left)
        seen = seen * (form.length_mm / max(1e-9, float(np.ptp(seen[:, 0]))))
    expected = np.asarray(form.outline_mm, float)
    centre = np.array([(expected[:, 0].min() + expected[:, 0].max()) / 2, 0.0])
    turned = [(expected - centre) * np.array(way) + centre for way in TURNS]
    own = resample_closed(seen, OUTLINE_POINTS)
    off = [_apart(own, resample_closed(other, OUTLINE_POINTS)) for other in turned]
    best = int(np.argmin(off)) if min(off) < 0.8 * off[0] else 0
    ties = () if m.line_ties is None else m.line_ties.at_mm or ()
    listed = () if form.line_ties is None else form.line_ties.at_mm or ()
    listed = tuple((np.asarray(listed, float).reshape(-1, 2) - centre) * np.array(TURNS[best]) + centre)
    every = np.vstack([own, turned[best], *[np.atleast_2d(t) for t in (*ties, *listed)]])
    low, high = every.min(0), every.max(0)
    unit = float((high - low).max()) / 100
    margin = 6 * unit
    view = (low[0] - margin, -high[1] - margin, high[0] - low[0] + 2 * margin, high[1] - low[1] + 2 * margin)
    flip = np.array([1.0, -1.0])
    shapes = [
        Shape("expected", fine_path(turned[best] * flip), (0, 0)),
        Shape("measured", fine_path(seen * flip), (0, 0)),
    ]
    for kind, places in (("expected-tie", listed), ("measured-tie", ties)):
        for x, y in places:
            shapes.append(Shape(kind, ring_path(float(x), -float(y), 1.4 * unit), (0, 0)))
    view4 = (float(view[0]), float(view[1]), float(view[2]), float(view[3]))
    return Overlay(Drawing(view4, tuple(shapes), unit), not scaled, TURN_WORDS[best])


def _apart(one: Array, other: Array) -> float:
    """Mean distance from each point of one outline to the nearest of the other."""
    gaps = np.hypot(one[:, None, 0] - other[None, :, 0], one[:, None, 1] - other[None, :, 1])
    return float((gaps.min(0).mean() + gaps.min(1).mean()) / 2)


def fine_path(points: Array) -> str:
    """A closed path through points in mm."""
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points) + "Z"
