"""Drawn photos in which plain colours say what each pixel shows, with stand-ins for the two networks that read them, so
that all that is done with a network's picture can be held against a truth in closed form."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from identify.calibration import Calibration
from identify.closeup import Closeup
from identify.geometry import Array
from identify.photo import Photo
from identify.pixelnet import Plane
from identify.records import Card, Scale

RED, GREEN, CYAN = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 1.0, 1.0)
BLUE, YELLOW, MAGENTA = (0.0, 0.0, 1.0), (1.0, 1.0, 0.0), (1.0, 0.0, 1.0)
GREY = 0.45
NO_CARD = Card(False, None, None, None, None, None, None, "drawn")
NO_SCALE = Calibration(
    NO_CARD, Scale("none", None, None), None, None, 0.0, 0.8, (1.0, 1.0, 1.0), 1.0, False, 1.0
)  # fmt: skip


def scaled(px_per_mm: float) -> Calibration:
    """A photo's scale, the same all over."""
    k = 1 / px_per_mm
    plane = ((k, 0.0, 0.0), (0.0, k, 0.0), (0.0, 0.0, 1.0))
    return replace(NO_SCALE, scale=Scale("line", px_per_mm, 0.01), to_plane=plane, scale_u=0.001)


def distance(points: Array, centre: Array, axes: tuple[float, float], turn: float = 0.0) -> Array:
    """Distance (...) of points (..., 2) from an ellipse, outwards positive, to first order; `turn` in radians."""
    c, s = np.cos(turn), np.sin(turn)
    x, y = points[..., 0] - centre[0], points[..., 1] - centre[1]
    u, v = (x * c + y * s) / axes[0], (y * c - x * s) / axes[1]
    away: Array = (u * u + v * v - 1) / np.maximum(2 * np.hypot(u / axes[0], v / axes[1]), 1e-9)
    return away


def grid(shape: tuple[int, int]) -> Array:
    """The places (h, w, 2) of a picture's pixels."""
    return np.stack(np.meshgrid(np.arange(float(shape[1])), np.arange(float(shape[0]))), -1)


def covered(away: Array) -> Array:
    """How much of a pixel lies inside an edge, from the distance of its middle."""
    return np.clip(0.5 - away, 0, 1)


def ellipse(shape: tuple[int, int], centre: Iterable[float], axes: tuple[float, float], turn: float = 0.0) -> Array:
    """How much (h, w) of each pixel an ellipse covers."""
    return covered(distance(grid(shape), np.array(list(centre)), axes, turn))


def line(shape: tuple[int, int], start: tuple[float, float], end: tuple[float, float], width: float) -> Array:
    """How much (h, w) of each pixel a line with round ends covers."""
    (x, y), (dx, dy) = np.moveaxis(grid(shape) - start, -1, 0), np.subtract(end, start)
    t = np.clip((x * dx + y * dy) / (dx * dx + dy * dy), 0, 1)
    return covered(np.hypot(x - t * dx, y - t * dy) - width / 2)


def ring(shape: tuple[int, int], centre: tuple[float, float], radius: float, width: float) -> Array:
    """How much (h, w) of each pixel a ring of this middle radius covers."""
    away = np.hypot(*np.moveaxis(grid(shape) - np.array(centre), -1, 0))
    return covered(np.abs(away - radius) - width / 2)


def painted(*layers: tuple[Array, tuple[float, float, float]]) -> Photo:
    """Layers of colour (linear RGB), each over those before it, on grey."""
    linear = np.full((*layers[0][0].shape, 3), GREY)
    for cover, colour in layers:
        rows, columns = np.nonzero(cover)
        own = np.s_[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
        linear[own] += cover[own][..., None] * (np.array(colour) - linear[own])
    return photo_of(linear)


def photo_of(linear: Array) -> Photo:
    """Linear RGB (h, w, 3) as a photo in sRGB."""
    steps = np.linspace(0, 1, 4096)
    srgb = np.where(steps <= 0.0031308, 12.92 * steps, 1.055 * steps ** (1 / 2.4) - 0.055)
    codes = np.round(srgb * 255).astype(np.uint8)
    return Photo("drawn", "0" * 64, codes[np.round(np.clip(linear, 0, 1) * 4095).astype(int)], None)


def by_colour(linear: Plane, package: str, name: str) -> Plane:
    """In place of `pixelnet.probabilities`: bodies are red, wire and ties green, hangers cyan, hooks yellow, lips
    magenta, other things blue; peaks stand nowhere.  Where a drawn edge half covers a pixel, the plane reads a half."""
    r, g, b = np.moveaxis(linear, -1, 0)
    red, green, blue = r - np.maximum(g, b), g - np.maximum(r, b), b - np.maximum(r, g)
    cyan, yellow, magenta = np.minimum(g, b) - r, np.minimum(r, g) - b, np.minimum(r, b) - g
    nothing = np.zeros_like(r)
    planes = {
        "scene": (red, green, magenta, blue),
        "bait": (red, green, cyan, yellow, magenta, nothing, nothing, nothing, nothing),
    }
    return np.asarray(np.clip(planes[name], 0, 1), np.float32)


PLANES = ("body", "tie", "hanger", "hook", "lip", "tie_at", "hanger_at", "eye_at", "trace_at")


def closeup(shape: tuple[int, int], matrix: Array | None = None, px_per_mm: float = 5.0, **planes: Array) -> Closeup:
    """A close-up that shows nothing but the planes given; its pixels are the photo's without a `matrix`."""
    assert set(planes) <= set(PLANES)
    nothing = np.zeros(shape)
    shown = (np.asarray(planes.get(name, nothing), np.float32) for name in PLANES)
    return Closeup(np.eye(2, 3) if matrix is None else matrix, px_per_mm, *shown)


def spot(shape: tuple[int, int], at: tuple[float, float], height: float = 1.0, sigma: float = 2.0) -> Array:
    """A bell-shaped peak."""
    away = np.square(grid(shape) - np.array(at)).sum(-1)
    return np.asarray(height * np.exp(-away / (2 * sigma**2)))
