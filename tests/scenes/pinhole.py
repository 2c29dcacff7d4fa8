"""A pinhole camera above a table, for drawn scenes; written out apart from the code under test.

The table's frame: millimetres, x right, y away from the photographer, z up from the table; the camera looks at its
origin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from identify.geometry import Array

FILM_DIAGONAL_MM = 43.27


@dataclass(frozen=True, eq=False)
class Pinhole:
    """`place_mm` (3,) of the camera; `axes` (3, 3): its rows point right, down and ahead; `f_px`, `picture` (w, h)."""

    place_mm: Array
    axes: Array
    f_px: float
    picture: tuple[int, int]

    def project(self, points_mm: ArrayLike) -> Array:
        """Pixels (..., 2) of points (..., 3)."""
        seen = (np.asarray(points_mm, float) - self.place_mm) @ self.axes.T
        w, h = self.picture
        px: Array = self.f_px * seen[..., :2] / seen[..., 2:] + [(w - 1) / 2, (h - 1) / 2]
        return px

    def rays(self, points_px: ArrayLike) -> Array:
        """Directions (..., 3), not of length 1, in which the camera sees pixels (..., 2)."""
        w, h = self.picture
        flat = (np.asarray(points_px, float) - [(w - 1) / 2, (h - 1) / 2]) / self.f_px
        directions: Array = np.concatenate([flat, np.ones((*flat.shape[:-1], 1))], -1) @ self.axes
        return directions

    def plane(self, height_mm: float) -> Array:
        """Homography (3, 3) from the plane at a height above the table (mm) to pixels."""
        w, h = self.picture
        lens = np.array([[self.f_px, 0, (w - 1) / 2], [0, self.f_px, (h - 1) / 2], [0, 0, 1]])
        shift = self.axes @ (np.array([0.0, 0.0, height_mm]) - self.place_mm)
        matrix: Array = lens @ np.column_stack([self.axes[:, 0], self.axes[:, 1], shift])
        return matrix


def pinhole(
    picture: tuple[int, int], f35: float, px_per_mm: float, tilt_deg: float = 0.0, towards_deg: float = 0.0,
    roll_deg: float = 0.0,
) -> Pinhole:  # fmt: skip
    """A camera that sees the table's origin in the middle of the picture at `px_per_mm`, leaning by `tilt_deg` so that
    it stands on the side of `towards_deg` (counter-clockwise from +x), turned about its own axis by `roll_deg`."""
    f_px = f35 * float(np.hypot(*picture)) / FILM_DIAGONAL_MM
    tilt, towards, roll = np.radians([tilt_deg, towards_deg, roll_deg])
    ahead = -np.array([np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)])
    right = np.array([1.0, 0.0, 0.0]) - ahead[0] * ahead
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    c, s = np.cos(roll), np.sin(roll)
    axes = np.array([c * right + s * down, c * down - s * right, ahead])
    return Pinhole(-ahead * f_px / px_per_mm, axes, f_px, picture)
