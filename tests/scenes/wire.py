"""Bent wire in drawn scenes: rings, treble hooks and thin lips as polished rods."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from identify.geometry import Array
from tests.scenes.pinhole import Pinhole

FINER = 3
STROKES = np.linspace(-0.86, 0.86, 7)
"""Strips of a rod seen from above, as fractions of its radius."""


@dataclass(frozen=True, eq=False)
class Rod:
    """A bent rod: points (n, 3) in mm on the table and its radius."""

    points: Array
    radius_mm: float


def ring(centre: Array, across: Array, along: Array, outer_mm: float, wire_mm: float) -> Rod:
    """A closed ring in the plane of two unit vectors (3,)."""
    angle = np.linspace(0, 2 * np.pi, 27)[:, None]
    return Rod(centre + (outer_mm - wire_mm) / 2 * (np.cos(angle) * across + np.sin(angle) * along), wire_mm / 2)


def treble(base: Array, out: Array, gap_mm: float, wire_mm: float, shank_mm: float, spin: float) -> list[Rod]:
    """A treble hook whose eye hangs at `base` and whose shank points along the unit vector `out`."""
    side = np.cross([0.0, 0.0, 1.0], out)
    side /= np.linalg.norm(side)
    up = np.cross(out, side)
    rods = [Rod(base + np.array([[0.9], [shank_mm]]) * out, wire_mm * 0.62), ring(base, out, side, 2.8, wire_mm * 0.9)]
    bend = np.linspace(0.35, np.pi, 9)
    for k in range(3):
        a = spin + 2 * np.pi * k / 3
        away = np.cos(a) * side + np.sin(a) * up
        r = np.r_[gap_mm / 2 * (1 - np.cos(bend)), gap_mm * 0.97]
        q = np.r_[shank_mm + gap_mm / 2 * np.sin(bend), shank_mm * 0.62]
        rods.append(Rod(base + q[:, None] * out + r[:, None] * away, wire_mm / 2))
    lowest = min(float(rod.points[:, 2].min()) for rod in rods) - wire_mm / 2
    lift = np.array([0.0, 0.0, max(0.0, -lowest)])
    return [Rod(rod.points + lift * np.linspace(0, 1, len(rod.points))[:, None] ** 0.5, rod.radius_mm) for rod in rods]


def draw(
    rods: Sequence[Rod], camera: Pinhole, corner: tuple[int, int], size: tuple[int, int],
    shade: Callable[[Array], Array],
) -> tuple[Array, Array]:  # fmt: skip
    """The light (h, w, 3) of rods in a window, times how much (h, w) of each pixel they cover.  `shade` gives the light
    (k, 3) of normals (k, 3)."""
    mask = np.zeros((size[1] * FINER, size[0] * FINER), np.uint8)
    canvas = np.zeros((*mask.shape, 3), np.float32)
    starts = np.vstack([rod.points[:-1] for rod in rods])
    ends = np.vstack([rod.points[1:] for rod in rods])
    radii = np.concatenate([np.full(len(rod.points) - 1, rod.radius_mm) for rod in rods])
    order = np.argsort(starts[:, 2] + ends[:, 2], kind="stable")
    starts, ends, radii = starts[order], ends[order], radii[order]
    to_eye = camera.place_mm - starts
    distance = np.linalg.norm(to_eye, axis=1, keepdims=True)
    to_eye /= distance
    along = ends - starts
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-9)
    beside = np.cross(along, to_eye)
    beside /= np.maximum(np.linalg.norm(beside, axis=1, keepdims=True), 1e-9)
    facing = np.cross(beside, along)
    px = radii * camera.f_px / distance[:, 0] * FINER
    normals = STROKES[:, None, None] * beside + np.sqrt(1 - STROKES**2)[:, None, None] * facing
    lights = shade(normals.reshape(-1, 3)).reshape(len(STROKES), len(starts), 3)
    shifts = STROKES[:, None, None] * beside * radii[:, None]
    ends_px = [(camera.project(p + shifts) - corner + 0.5) * FINER - 0.5 for p in (starts, ends)]
    middle = [np.round((camera.project(p) - corner + 0.5) * FINER * 16 - 8).astype(int) for p in (starts, ends)]
    strip = np.maximum(1, np.ceil(px * (STROKES[1] - STROKES[0]))).astype(int)
    first, last = (np.round(p * 16).astype(int) for p in ends_px)
    whole = np.maximum(1, np.round(2 * px)).astype(int)
    for i in range(len(starts)):
        cv2.line(mask, middle[0][i].tolist(), middle[1][i].tolist(), 255, int(whole[i]), shift=4)
        for k in (0, 6, 1, 5, 2, 4, 3):  # the ridge last
            light = lights[k, i].tolist()
            cv2.line(canvas, first[k, i].tolist(), last[k, i].tolist(), light, int(strip[i]), shift=4)
    canvas[mask == 0] = 0
    share = cv2.resize(mask, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    return np.asarray(cv2.resize(canvas, size, interpolation=cv2.INTER_AREA)), share
