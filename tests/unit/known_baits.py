"""Measured photos of baits drawn from a formula, to learn profiles from."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from identify.geometry import Array
from identify.records import (
    Bait,
    Colour,
    Eye,
    Hangers,
    Hooks,
    LineTies,
    Lip,
    Measurement,
    Notice,
    Pattern,
    PhotoRecord,
    Quantity,
    View,
)
from identify.reference.enrol import Done, Editor, Wish
from identify.reference.frame import turned_places
from identify.reference.pieces import Facts
from identify.stages import as_polygon

PX = 10.0
T = np.linspace(0, np.pi, 70)


def body(length: float = 60.0, depth: float = 16.0, power: float = 1.2, notch: float = 0.0) -> Array:
    """A closed outline in mm, fuller at the nose, with a notch bitten out of the belly."""
    x = (1 - np.cos(T)) / 2
    half = np.sin(T) ** power * (1.15 - 0.5 * x)
    upper, lower = half, -0.9 * half + notch * np.exp(-(((x - 0.5) / 0.06) ** 2))
    outline = np.vstack([np.column_stack([x, upper]), np.column_stack([x, lower])[-2:0:-1]])
    whole = np.ptp(-0.9 * half) + half.max()
    return np.asarray(outline * (length, depth / whole))


def colour(lab: tuple[float, float, float], u: float = 3.0) -> Colour:
    return Colour(lab, u + 2, (4.0, 2.0, 2.0), lab, u, 0.9, "#808080", None, "grey")


def photo(
    name: str,
    length: float = 60.0,
    depth: float = 16.0,
    ties: Sequence[float] = (0.2, 0.35),
    u: float = 0.3,
    power: float = 1.2,
    notch: float = 0.0,
    way: int = 0,
    sure: float = 0.97,
    hangers: Sequence[float] = (0.4, 1.0),
    back: tuple[float, float, float] = (40.0, -2.0, -8.0),
    orientation: tuple[float, float] = (0.99, 0.99),
    warnings: tuple[str, ...] = (),
    scaled: bool = True,
) -> PhotoRecord:
    """A measured photo of one bait; `way`: how it was read the wrong way round."""
    unit = body(1.0, depth / length, power, notch)

    def placed(points: Array) -> Array:
        return turned_places(points, way) * length

    outline = placed(unit)
    tie_at = placed(np.array([[x, 0.5 * depth / length + 0.02] for x in ties]).reshape(-1, 2))
    hang_at = placed(np.array([[x, -0.45 * depth / length if x < 1 else 0.0] for x in hangers]).reshape(-1, 2))
    eye_at = placed(np.array([[0.12, 0.02]]))

    def px(points: Array) -> tuple[tuple[float, float], ...]:
        return as_polygon(points * (PX, -PX) + (200.0, 300.0))

    chances = np.full(6, (1 - sure) / 5)
    chances[len(ties)] = sure
    m = Measurement(
        number=1,
        outline_px=px(outline),
        outline_mm=as_polygon(outline) if scaled else None,
        view=View("side", 0.98),
        nose_px=px(np.zeros((1, 2)))[0],
        tail_px=px(np.array([[length, 0.0]]))[0],
        nose="left",
        back="up",
        axis_deg=0.0,
        shows="left",
        orientation_certainty=orientation,
        length_mm=Quantity(length, u) if scaled else None,
        depth_mm=Quantity(depth, u) if scaled else None,
        depth_to_length=Quantity(depth / length, 0.01 * depth / length),
        thickness_mm=None,
        px_per_mm=PX if scaled else None,
        line_ties=LineTies(len(ties), tuple(chances), px(tie_at), as_polygon(tie_at) if scaled else None),
        hangers=Hangers(len(hangers), px(hang_at), as_polygon(hang_at) if scaled else None),
        hooks=Hooks(1, ()),
        eye=Eye(px(eye_at)[0], as_polygon(eye_at)[0] if scaled else None, Quantity(3.6, 0.2) if scaled else None),
        lip=Lip(False, 0.02),
        back_colour=colour(back),
        belly_colour=colour((80.0, 0.0, 34.0)),
        zones=(),
        pattern=Pattern("plain", None, 0.0, 0.9),
        hard_to_read=(),
        warnings=tuple(Notice(code, code) for code in warnings),
    )
    sha = hashlib.sha256(name.encode()).hexdigest()
    return PhotoRecord(name, sha, 800, 600, "0.1.0", None, None, None, None, (), None, (), (Bait(m),))


def learn(
    editor: Editor,
    record: PhotoRecord,
    size: str = "1",
    piece: str | None = None,
    model: str = "Low Otter",
    **facts: object,
) -> Done:
    """Add a measured photo to a set as one of Kettlemoor Works."""
    told = Facts.model_validate({"size": size, **facts})
    wish = Wish(Path(record.photo), "Kettlemoor Works", model, told, piece, contributor="E. Marl")
    assert record.sha256 is not None
    return editor.add(wish, record, record.sha256)
