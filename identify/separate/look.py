"""A photo as separation looks at it: reduced to a fixed scale, with its bare ground."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike

from identify.calibration import Calibration
from identify.geometry import Array
from identify.photo import Photo
from identify.separate.ground import Ground, Plane, settled_ground
from identify.separate.morphology import Mask, shrunk
from identify.separate.pixels import COARSE_PX_PER_MM
from identify.stages import Window

GUESSED_MM = 150.0
"""How much of the table a photo without a scale is taken to show along its long side, for a first look."""
RIM_MM = 4.0
"""Width of a box's wall as seen, generously."""
LEAST_SIDE = 24
MOST_PIXELS = 1e6


@dataclass(frozen=True, eq=False)
class Scene:
    """A picture, or part of it, at some scale.

    `linear` (h, w, 3): linear RGB; `step`: pixels of the photo along one of its pixels; `px_per_mm`: its
    own scale, known or guessed; `origin`: where in the photo
    (pixel edges) its top left corner lies; `usable` (h, w): False on the card; `lit` (h, w, 3): the ground's traits.
    """

    linear: Plane
    step: float
    px_per_mm: float
    origin: tuple[float, float]
    usable: Mask
    ground: Ground
    lit: Plane

    def to_photo(self, points: ArrayLike) -> Array:
        """Points (n, 2) of the scene in pixels of the photo."""
        full: Array = (np.asarray(points, float) + 0.5) * self.step - 0.5 + np.array(self.origin)
        return full

    def from_photo(self, points_px: ArrayLike) -> Array:
        """The inverse of `to_photo`."""
        own: Array = (np.asarray(points_px, float) + 0.5 - np.array(self.origin)) / self.step - 0.5
        return own


def look_at(
    photo: Photo, calibration: Calibration, px_per_mm: float | None = None, within_px: Array | None = None
) -> Scene | None:
    """Reduce a photo to COARSE_PX_PER_MM and fit its ground; None when it is too small to hold a bait.

    `px_per_mm`: the photo's scale where the calibration has none; without both it is guessed.  `within_px`: a polygon
    (n, 2) of the photo to which the look is limited, such as a box whose floor is the ground of what lies in it.
    """
    if calibration.has_scale:
        px_per_mm = calibration.px_per_mm_at((photo.width / 2, photo.height / 2))
    if px_per_mm is None:
        px_per_mm = max(photo.width, photo.height) / GUESSED_MM
    step = max(1.0, px_per_mm / COARSE_PX_PER_MM, float(np.sqrt(photo.width * photo.height / MOST_PIXELS)))
    w, h = int(photo.width / step), int(photo.height / step)
    if min(w, h) < LEAST_SIDE:
        return None
    linear = _sampled(photo, (0.0, 0.0), step, (w, h))
    usable = ~_card_mask(calibration, (h, w), step)
    if within_px is not None:
        inside = np.zeros((h, w), np.uint8)
        cv2.fillPoly(inside, [np.round(((within_px + 0.5) / step - 0.5) * 16).astype(np.int32)], 1, shift=4)
        usable &= shrunk(inside > 0, RIM_MM * px_per_mm / step)
        if not usable.any():
            return None
    floor = 0.06 * float(np.median(linear)) + 0.001
    ground = settled_ground(linear, floor, usable)
    return Scene(linear, step, px_per_mm / step, (0.0, 0.0), usable, ground, ground.lit)


def closer(photo: Photo, scene: Scene, box: Window, factor: float = 2.0) -> Scene:
    """Part of a scene, `box` in its pixels, at `factor` times its scale (never finer than the photo)."""
    x0, y0, x1, y1 = box
    step = max(1.0, scene.step / factor)
    k = scene.step / step
    size = (max(1, int((x1 - x0) * k)), max(1, int((y1 - y0) * k)))
    origin = (x0 * scene.step, y0 * scene.step)
    linear = _sampled(photo, origin, step, size)
    lit = brought_to(scene.lit[y0:y1, x0:x1], size, k)
    usable = brought_to(scene.usable[y0:y1, x0:x1].astype(np.float32), size, k) > 0.5
    return Scene(linear, step, scene.px_per_mm * k, origin, usable, scene.ground, lit)


def brought_to(plane: Plane, size: tuple[int, int], factor: float) -> Plane:
    """A plane at `factor` times its scale: size (w, h), the top left corners of both coinciding."""
    move = np.array([[1 / factor, 0, (1 / factor - 1) / 2], [0, 1 / factor, (1 / factor - 1) / 2]], np.float32)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved = cv2.warpAffine(np.ascontiguousarray(plane), move, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved, np.float32)


def _sampled(photo: Photo, origin: tuple[float, float], step: float, size: tuple[int, int]) -> Plane:
    """The photo from `origin` (pixel edges) on, one sample each `step` pixels, averaging what it stands for."""
    shrink = max(1, int(step))
    x0, y0 = (int(o // shrink) * shrink for o in origin)
    x1 = min(photo.width, x0 + int((size[0] + 2) * step) + 2 * shrink)
    y1 = min(photo.height, y0 + int((size[1] + 2) * step) + 2 * shrink)
    averaged = photo.linear((x0, y0, x1, y1), shrink)
    k = step / shrink
    dx, dy = ((o - c) / shrink for o, c in zip(origin, (x0, y0), strict=True))
    move = np.array([[k, 0, (k - 1) / 2 + dx], [0, k, (k - 1) / 2 + dy]], np.float32)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    out = cv2.warpAffine(averaged, move, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(out, np.float32)


def _card_mask(calibration: Calibration, shape: tuple[int, int], step: float) -> Mask:
    mask = np.zeros(shape, np.uint8)
    corners = calibration.card.corners_px
    if corners:
        points = (np.array(corners, float) + 0.5) / step - 0.5
        cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32)], 1, shift=4)
        return cv2.dilate(mask, np.ones((3, 3), np.uint8)) > 0
    return mask > 0
