"""What a card (or a known line) in the photo makes known: millimetres, the camera's place, and true colour.

Card frame: millimetres in the plane of the card's top face, origin at the card's centre, z towards the camera.  Its x
and y run as in the picture (y down), along the card's sides where there is a card.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from identify.geometry import Array, apply_homography
from identify.records import Card, Notice, Scale
from identify.settings import Point

SHEET_MM = 90.0
"""Shortest side of a card that a bait may lie on as on a sheet of paper: the usual bait with room around it."""

Matrix3 = tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]


@dataclass(frozen=True)
class Camera:
    """Where the camera stood, in the card frame (mm), with standard uncertainties."""

    at_mm: tuple[float, float, float]
    u_mm: tuple[float, float, float]


@dataclass(frozen=True)
class Lens:
    """How far the lens may distort radially: r' = r (1 + k r²) about `centre_px`, `k` (per pixel squared) a standard
    deviation about 0; `seen`: straight sides show it.  `reference_px`: the lines whose lengths gave the scale."""

    k: float
    seen: bool
    centre_px: Point
    reference_px: tuple[tuple[Point, Point], ...]

    def u(self, start_px: ArrayLike, end_px: ArrayLike) -> float:
        """Relative standard uncertainty that it leaves in a length between two points: by how much more it stretches
        that than the lines which gave the scale."""
        own = self._stretch(np.asarray(start_px, float), np.asarray(end_px, float))
        reference = [self._stretch(np.array(a), np.array(b)) for a, b in self.reference_px]
        return abs(own - sum(reference) / len(reference)) if reference else abs(own)

    def _stretch(self, start: Array, end: Array) -> float:
        ends = np.stack([start, end]) - self.centre_px
        moved = ends * (1 + self.k * (ends**2).sum(1, keepdims=True))
        return float(np.hypot(*(moved[1] - moved[0])) / max(np.hypot(*(ends[1] - ends[0])), 1e-9)) - 1


@dataclass(frozen=True)
class Calibration:
    """Belongs to one photo and travels with it.

    `to_plane`: homography from pixels to the card frame's plane z = 0, or None without a scale.  `scale_u`: relative
    standard uncertainty of lengths in that plane, but for what the `lens` does (None: it does nothing).
    `card_thickness_mm`: how far the plane z = 0 lies above the table.  `colour_from_card`: False when gains are only
    (1, 1, 1).
    """

    card: Card
    scale: Scale
    to_plane: Matrix3 | None
    camera: Camera | None
    scale_u: float
    card_thickness_mm: float
    gains: tuple[float, float, float]
    exposure: float
    """Multiplies linear RGB after the gains so that values are reflectances; 1 without a card."""
    colour_from_card: bool
    u_exposure: float
    """Relative standard uncertainty of reflectance from the card alone (noise, uneven light)."""
    warnings: tuple[Notice, ...] = ()
    lens: Lens | None = None

    @property
    def has_scale(self) -> bool:
        """Whether lengths can be given in millimetres."""
        return self.to_plane is not None

    @property
    def sheet_px(self) -> Array | None:
        """Corners (4, 2), clockwise as seen, of a card so large that baits lie on it as on any ground; None where the
        card is none."""
        if self.card.corners_px is None or not self.has_scale:
            return None
        corners = np.asarray(self.card.corners_px, float)
        mm = self.to_mm(corners)
        return corners if np.hypot(*(mm[[1, 2, 3, 0]] - mm).T).min() >= SHEET_MM else None

    def on_sheet(self, point_px: ArrayLike) -> bool:
        """Whether a point is seen on a card so large that baits lie on it."""
        if (corners := self.sheet_px) is None:
            return False
        along, to = np.roll(corners, -1, 0) - corners, np.asarray(point_px, float) - corners
        return bool((along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0] > 0).all())

    def below(self, point_px: ArrayLike) -> Calibration:
        """What holds for a bait that is seen there: if it lies on a large card, it lies in the plane of its top."""
        return replace(self, card_thickness_mm=0.0) if self.on_sheet(point_px) else self

    def to_mm(self, points_px: ArrayLike, height_mm: float = 0.0) -> Array:
        """Points (n, 2) of the picture that lie `height_mm` above the plane of the card's top, in the card frame.

        A ray through the plane point P from the camera C meets the height h at P + (C - P) h / Z (pinhole geometry).
        Raises ValueError without a scale.
        """
        if self.to_plane is None:
            raise ValueError("this photo has no scale")
        flat = apply_homography(self.to_plane, points_px)
        if self.camera is None or height_mm == 0.0:
            return flat
        x, y, z = self.camera.at_mm
        return flat + (np.array([x, y]) - flat) * (height_mm / z)

    def to_px(self, points_mm: ArrayLike, height_mm: float = 0.0) -> Array:
        """The inverse of `to_mm`."""
        if self.to_plane is None:
            raise ValueError("this photo has no scale")
        pts = np.atleast_2d(np.asarray(points_mm, float))
        if self.camera is not None and height_mm != 0.0:
            x, y, z = self.camera.at_mm
            pts = (pts - np.array([x, y]) * (height_mm / z)) / (1 - height_mm / z)
        return apply_homography(np.linalg.inv(np.asarray(self.to_plane)), pts)

    def px_per_mm_at(self, point_px: ArrayLike, height_mm: float = 0.0) -> float:
        """Local scale at a point: geometric mean over directions."""
        x, y = np.asarray(point_px, float)
        step = np.array([[x, y], [x + 1, y], [x, y + 1]])
        mm = self.to_mm(step, height_mm)
        a, b = mm[1] - mm[0], mm[2] - mm[0]
        return float(1 / np.sqrt(abs(a[0] * b[1] - a[1] * b[0])))

    def reflectance(self, linear: NDArray[np.float32]) -> NDArray[np.float32]:
        """Linear sRGB of the photo, white balanced and scaled so that a matt surface reads its reflectance."""
        return linear * (np.asarray(self.gains, np.float32) * np.float32(self.exposure))
