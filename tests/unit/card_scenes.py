"""Drawn scenes of a card on a table, with known truth: a pinhole camera, soft edges, grain, noise, uneven light.

No published source: the geometry is that of a pinhole, written out here apart from the code under test.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array, apply_homography
from identify.photo import Photo


@dataclass(frozen=True, eq=False)
class Scene:
    """A photo with its truth.  `corners_px` (4, 2) of the card in the order (-,-) (+,-) (+,+) (-,+) of its frame with y
    down; `to_px`: homography from the card's plane (mm) to pixels; `camera_mm`: z towards the camera."""

    photo: Photo
    corners_px: Array
    to_px: Array
    camera_mm: Array


def _encode(linear: NDArray[np.float64]) -> NDArray[np.uint8]:
    v = np.clip(linear, 0, 1)
    srgb = np.where(v <= 0.0031308, 12.92 * v, 1.055 * np.power(v, 1 / 2.4) - 0.055)
    return np.round(srgb * 255).astype(np.uint8)


def coverage(to_px: Array, picture: tuple[int, int], centre: Array, size: tuple[float, float], radius: float) -> Array:
    """How much of each pixel (h, w) a rectangle of the plane covers: from the distance (mm) of the pixel's ray to the
    rectangle's edge, negative inside, in pixels by the local scale."""
    xx, yy = np.meshgrid(np.arange(picture[0], dtype=float), np.arange(picture[1], dtype=float))
    back = np.linalg.inv(to_px)
    q = [back[i, 0] * xx + back[i, 1] * yy + back[i, 2] for i in range(3)]
    x, y = q[0] / q[2] - centre[0], q[1] / q[2] - centre[1]
    dx, dy = np.abs(x) - size[0] / 2 + radius, np.abs(y) - size[1] / 2 + radius
    distance = np.hypot(np.maximum(dx, 0), np.maximum(dy, 0)) + np.minimum(np.maximum(dx, dy), 0) - radius
    slope = np.hypot(*np.gradient(distance))
    return np.asarray(np.clip(0.5 - distance / np.maximum(slope, 1e-9), 0, 1))


def scene(
    *,
    card: tuple[float, float, float] | None = (0.18, 0.18, 0.18),
    ground: tuple[float, float, float] = (0.62, 0.60, 0.58),
    light: tuple[float, float, float] = (1.0, 1.0, 1.0),
    size_mm: tuple[float, float] = (85.60, 53.98),
    radius_mm: float = 3.18,
    roll_deg: float = 12.0,
    tilt_deg: float = 8.0,
    f35: float | None = 26.0,
    px_per_mm: float = 4.5,
    picture: tuple[int, int] = (1000, 750),
    offset: tuple[float, float] = (0.06, -0.04),
    grain: float = 0.03,
    blur: float = 0.8,
    noise: float = 0.004,
    fall_off: float = 0.25,
    things: tuple[tuple[tuple[float, float, float, float], tuple[float, float, float]], ...] = (),
    seed: int = 1,
) -> Scene:
    """Draw a scene.  `things`: further rectangles (x, y, width, height in mm in the card's frame) and their colour.
    `offset`: of the card from the picture's centre, as a share of the picture's width."""
    rng = np.random.default_rng(seed)
    w, h = picture
    f = (f35 or 26.0) * np.hypot(w, h) / 43.27
    a, t = np.radians(roll_deg), np.radians(tilt_deg)
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    lean = np.array([[1, 0, 0], [0, np.cos(t), -np.sin(t)], [0, np.sin(t), np.cos(t)]])
    rotation = lean @ turn
    z = f / px_per_mm
    shift = np.array([offset[0] * w / f * z, offset[1] * w / f * z, z])
    k = np.array([[f, 0, (w - 1) / 2], [0, f, (h - 1) / 2], [0, 0, 1]])
    to_px = k @ np.column_stack([rotation[:, 0], rotation[:, 1], shift])
    camera = -rotation.T @ shift
    camera[2] *= -1
    linear = np.ones((h, w, 3)) * ground
    if grain:
        cloth = cv2.GaussianBlur(rng.standard_normal((h, w)).astype(np.float32), (0, 0), 1.2)
        linear *= (1 + cloth * (grain / cloth.std()))[..., None]

    def draw(centre: Array, size: tuple[float, float], radius: float, colour: tuple[float, float, float]) -> None:
        share = coverage(to_px, picture, centre, size, radius)[..., None]
        linear[:] = linear * (1 - share) + share * np.array(colour)

    for (x, y, tw, th), colour in things:
        draw(np.array([x, y]), (tw, th), 0.0, colour)
    if card is not None:
        draw(np.zeros(2), size_mm, radius_mm, card)
    xx, yy = np.meshgrid(np.linspace(-0.5, 0.5, w), np.linspace(-0.5, 0.5, h))
    linear *= (1 + fall_off * (0.8 * xx + 0.6 * yy))[..., None] * np.array(light)
    linear = cv2.GaussianBlur(linear, (0, 0), blur)
    linear += rng.standard_normal(linear.shape) * noise * np.sqrt(np.maximum(linear, 0.01))
    photo = Photo("scene.png", "0" * 64, _encode(linear), f35)
    half = np.array(size_mm) / 2
    corners = apply_homography(to_px, np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half)
    return Scene(photo, corners, to_px, camera)


def corner_error(found: Array, true: Array) -> float:
    """Largest distance of corners found from true ones, whichever comes first."""
    return min(float(np.hypot(*(found - np.roll(true, k, 0)).T).max()) for k in range(4))
