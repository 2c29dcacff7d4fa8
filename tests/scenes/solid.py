"""A bait as a solid, from a form of a reference set: where it lies, how the camera sees its outline, and the place,
normal and paint of its surface under each pixel.

Sections are superellipses, a little fuller than ellipses; thickness follows the depth along the body.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np

from identify.colour import lab_to_linear
from identify.geometry import Array
from identify.outline import heights_at
from identify.rank.ageing import aged
from identify.reference.profile import Colourway, Form
from tests.scenes.pinhole import Pinhole

STATIONS, ROUND = 120, 48
FINE = 4096
FULL = 0.9
"""Thickness along the body follows depth to this power."""
PLAIN = Colourway("", "Grey over white", (45.0, 0.0, 0.0), (88.0, 0.0, 4.0))
HEAD, TAIL, STRIPE, THROAT = 0.18, 0.17, 0.12, 0.40
"""How far zones of paint reach: head and tail along the body, a stripe to either side of the middle of the flank, a
throat upwards."""


@dataclass(frozen=True, eq=False)
class Piece:
    """One bait: a form with its own length and depth; places (k, 2) in mm of the rings that are there; how many hooks
    hang on them; what it is painted with, and how that has aged (yellowing, fading)."""

    form: Form
    length_mm: float
    depth_mm: float
    thickness_mm: float
    ties_mm: Array
    hangers_mm: Array
    hooks: int
    colourway: Colourway
    ageing: tuple[float, float] = (0.0, 0.0)
    power: float = 2.2
    gloss: float = 0.15
    """How rough the clear coat is: the spread of its highlights in radians."""


def as_listed(form: Form) -> Piece:
    """A piece that is exactly as the set says, in its first colourway."""
    assert form.outline_mm is not None and form.depth_mm is not None
    places = [np.array((r.at_mm if r else None) or (), float).reshape(-1, 2) for r in (form.line_ties, form.hangers)]
    return Piece(
        form, form.length_mm, form.depth_mm, form.thickness_mm or 0.65 * form.depth_mm, places[0], places[1],
        min(form.hooks or 0, len(places[1])), form.colourways[0] if form.colourways else PLAIN,
    )  # fmt: skip


def resized(piece: Piece, longer: float, deeper: float) -> Piece:
    """The piece with its length and depth, and all that sits on it, changed by factors."""
    return replace(
        piece, length_mm=piece.length_mm * longer, depth_mm=piece.depth_mm * deeper,
        thickness_mm=piece.thickness_mm * deeper, ties_mm=piece.ties_mm * (longer, deeper),
        hangers_mm=piece.hangers_mm * (longer, deeper),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Solid:
    """A piece lying on the table: `x`, `top`, `bottom`, `half` (n,) in its own frame; `turn` (3, 3) and `shift` (3,)
    bring that frame onto the table; `up`: +1 when its own z axis points up."""

    piece: Piece
    x: Array
    top: Array
    bottom: Array
    half: Array
    turn: Array
    shift: Array
    up: float

    def on_table(self, points: Array) -> Array:
        """Points (..., 3) of the bait's frame on the table."""
        placed: Array = points @ self.turn.T + self.shift
        return placed

    def rings(self, stations: int = STATIONS, around: int = ROUND) -> Array:
        """Points (s, a, 3) of the surface in the bait's frame, in closed rings from nose to tail."""
        chosen = np.linspace(0, len(self.x) - 1, stations).round().astype(int)
        angle = np.linspace(0, 2 * np.pi, around, endpoint=False)
        bend = 2 / self.piece.power
        across, along = (np.sign(v) * np.abs(v) ** bend for v in (np.sin(angle), np.cos(angle)))
        top, bottom, half = (v[chosen, None] for v in (self.top, self.bottom, self.half))
        y = (top + bottom) / 2 + (top - bottom) / 2 * across
        points: Array = np.stack([np.broadcast_to(self.x[chosen, None], y.shape), y, half * along], -1)
        return points

    def outline_mm(self) -> Array:
        """The side outline (m, 3) in the middle plane, in the bait's frame."""
        flat = np.vstack([np.column_stack([self.x, self.top]), np.column_stack([self.x, self.bottom])[-2:0:-1]])
        return np.column_stack([flat, np.zeros(len(flat))])


def lie(
    piece: Piece, at_mm: tuple[float, float], theta_deg: float, flip: bool = False, roll_deg: float = 0.0,
    pitch_deg: float = 0.0, lift_mm: float = 0.0,
) -> Solid:  # fmt: skip
    """Lay a piece on the table: its middle at `at_mm`, nose to tail in the direction of `theta_deg`.  `flip`: it shows
    its right flank."""
    outline = np.asarray(piece.form.outline_mm, float) / [piece.form.length_mm, piece.form.depth_mm or 1.0]
    stations = (1 - np.cos(np.linspace(0, np.pi, STATIONS + 2)[1:-1])) / 2
    heights = heights_at(outline, stations) * piece.depth_mm
    ends = [[float(outline[i(outline[:, 0]), 1]) * piece.depth_mm] * 2 for i in (np.argmin, np.argmax)]
    top, bottom = (np.r_[ends[0][k], heights[k], ends[1][k]] for k in (0, 1))
    x = np.r_[0.0, stations, 1.0] * piece.length_mm
    section = (top - bottom) / (top - bottom).max()
    half = piece.thickness_mm / 2 * section**FULL
    roll, pitch, theta = np.radians([roll_deg, pitch_deg, theta_deg])
    lean, _ = cv2.Rodrigues(np.array([roll, 0.0, 0.0]))
    slope, _ = cv2.Rodrigues(np.array([0.0, pitch, 0.0]))
    spin, _ = cv2.Rodrigues(np.array([0.0, 0.0, theta]))
    over = np.diag([1.0, -1.0, -1.0]) if flip else np.eye(3)
    turn = spin @ lean @ slope @ over
    solid = Solid(piece, x, top, bottom, half, turn, np.zeros(3), -1.0 if flip else 1.0)
    middle = turn @ np.array([piece.length_mm / 2, float(top.max() + bottom.min()) / 2, 0.0])
    lowest = float((solid.rings() @ turn.T)[..., 2].min())
    return replace(solid, shift=np.array([at_mm[0] - middle[0], at_mm[1] - middle[1], lift_mm - lowest]))


def bands(rings: Array) -> Iterator[Array]:
    """Convex polygons (k, 2) that together are what rings (s, a, 2) of a surface cover."""
    flat = rings.astype(np.float32)
    for one, other in pairwise(flat):
        yield np.asarray(cv2.convexHull(np.concatenate([one, other]))[:, 0], float)


def covered(rings_px: Array, corner: tuple[int, int], size: tuple[int, int], finer: int) -> Array:
    """How much (h, w), from 0 to 1, of the pixels of a window a surface covers; `finer`: so many parts a side."""
    mask = np.zeros((size[1] * finer, size[0] * finer), np.uint8)
    for band in bands((rings_px - corner + 0.5) * finer - 0.5):
        cv2.fillConvexPoly(mask, np.round(band * 16).astype(np.int32), 255, shift=4)
    small = mask if finer == 1 else cv2.resize(mask, size, interpolation=cv2.INTER_AREA)
    share: Array = small.astype(np.float32) / 255
    return share


def surface(solid: Solid, camera: Pinhole, points_px: Array) -> tuple[Array, Array]:
    """Where (k, 3), in the bait's frame, the camera sees the surface at pixels (k, 2), and the normals (k, 3) there on
    the table.  Pixels beside the body are taken to its limb."""
    eye = ((camera.place_mm - solid.shift) @ solid.turn).astype(np.float32)
    ray = (camera.rays(points_px) @ solid.turn).astype(np.float32)
    ray = ray / ray[:, 2:]
    power = np.float32(solid.piece.power)
    middle, swell = (solid.top + solid.bottom) / 2, np.maximum((solid.top - solid.bottom) / 2, 1e-3)
    rows = (middle, swell, solid.half, *(np.gradient(row, solid.x) for row in (middle, swell, solid.half)))
    even = np.linspace(0, solid.x[-1], FINE)
    table = np.array([np.interp(even, solid.x, row) for row in rows], np.float32)
    z = np.zeros(len(points_px), np.float32)
    for step in range(4):
        x, y = (eye[k] + ray[:, k] * (z - eye[2]) for k in (0, 1))
        station = np.clip(x * np.float32(FINE / solid.x[-1]), 0, FINE - 1).astype(np.int32)
        centre, height, half = table[0][station], table[1][station], table[2][station]
        v = np.clip((y - centre) / height, -1, 1)
        risen = half * np.float32(solid.up) * (1 - np.abs(v) ** power) ** (1 / power)
        z = risen if step == 0 else (z + risen) / 2  # near the limb whole steps would swing
    bend, widen, taper = table[3][station], table[4][station], table[5][station]
    u = np.clip(z / np.maximum(half, 1e-3), -1, 1)
    own_y = np.abs(v) ** (power - 1) * np.sign(v) / height
    own_z = np.abs(u) ** (power - 1) * np.sign(u) / np.maximum(half, 1e-3)
    own_x = -own_y * (bend + v * widen) - np.abs(u) ** power * taper / np.maximum(half, 1e-3)
    normal = np.stack([own_x, own_y, own_z], -1)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    return np.stack([x, y, z], -1), normal @ solid.turn.T.astype(np.float32)


def paint(solid: Solid, at: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Reflectance (k, 3), linear sRGB, of the paint at places (k, 3) of the bait's frame, and how much of it (k,) is
    leaf."""
    piece = solid.piece
    way, length = piece.colourway, piece.length_mm
    x, y = at[:, 0], at[:, 1]
    top, bottom = np.interp(x, solid.x, solid.top), np.interp(x, solid.x, solid.bottom)
    s, u = x / length, (y - bottom) / np.maximum(top - bottom, 1e-3)

    def light(lab: tuple[float, float, float]) -> Array:
        return np.clip(lab_to_linear(aged(lab, *piece.ageing)), 0.012, 0.9)

    wave = 0.012 * np.sin(9 * s + rng.uniform(0, 6))
    soft = 0.018 if way.pattern == "plain" else 0.17
    k = np.clip((u + wave - 0.56) / (2 * soft) + 0.5, 0, 1)
    k = (k * k * (3 - 2 * k))[:, None]
    back, belly = light(way.back_lab or PLAIN.back_lab or (0, 0, 0)), light(way.belly_lab or (88.0, 0.0, 4.0))
    shown = belly + k * (back - belly)

    def over(share: Array, colour: Array) -> None:
        nonlocal shown
        shown = shown + np.clip(share, 0, 1)[:, None] * (colour - shown)

    mark = light(way.pattern_lab or (15.0, 0.0, 0.0))
    if way.pattern == "bars":
        for q in np.linspace(0.22, 0.9, 7) * length:
            wide = length * 0.022 * np.clip((u - 0.36) / 0.5, 0.15, 1)
            over((wide - np.abs(x - q - 0.03 * length * (1 - u))) * 1.6 + 0.5, mark)
    if way.pattern == "dots":
        for q in rng.uniform((0.2, 0.36), (0.92, 0.8), (11, 2)):
            middle = float(np.interp(q[0] * length, solid.x, solid.bottom + q[1] * (solid.top - solid.bottom)))
            over((0.017 * length - np.hypot(x - q[0] * length, y - middle)) * 6 + 0.5, mark)
    foil = np.zeros(len(x))
    if way.finish == "leaf":
        foil = np.clip((u - 0.2) * 12, 0, 1) * np.clip((0.78 - u) * 8, 0, 1) * np.clip((s - 0.12) * 30, 0, 1)
        foil *= np.clip((0.93 - s) * 30, 0, 1) * 0.75
    for zone in way.zones:
        if zone.kind == "head":
            far = HEAD + 0.05 * (u - 0.5) - s
        elif zone.kind == "tail":
            far = s - (1 - TAIL) - 0.05 * (u - 0.5)
        elif zone.kind == "side":
            far = (STRIPE * np.sqrt(np.clip(1 - ((s - 0.55) / 0.41) ** 2, 0, 1)) - np.abs(u - 0.48)) * 0.25
            far = np.where(np.abs(s - 0.55) > 0.41, -1.0, far)
        else:
            far = (1 - np.hypot((s - 0.14) / 0.14, np.maximum(0, u) / THROAT)) * 0.14
        share = np.clip(far / 0.012 + 0.5, 0, 1)
        over(share, light(zone.lab))
        foil = foil * (1 - share)
    eye = piece.form.eye
    if eye is not None and eye.at_mm is not None and eye.kind != "none":
        radius = (eye.diameter_mm or 0.06 * length) / 2
        scale = (length / piece.form.length_mm, piece.depth_mm / (piece.form.depth_mm or piece.depth_mm))
        away = np.hypot(x - eye.at_mm[0] * scale[0], y - eye.at_mm[1] * scale[1])
        for part, colour in ((1.0, (0.02, 0.02, 0.02)), (0.8, (0.75, 0.68, 0.42)), (0.5, (0.02, 0.02, 0.02))):
            over((part * radius - away) * 8 + 0.5, np.array(colour))
            foil = foil * (away > radius)
    return shown, foil
