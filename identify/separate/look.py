"""A photo as separation looks at it: reduced to a fixed scale, with its bare ground."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from identify.calibration import Calibration
from identify.geometry import Array
from identify.photo import Photo
from identify.separate.evidence import Mask, first_look, grown
from identify.separate.ground import Ground, Plane, fit_ground, refine_ground, traits_of
from identify.separate.pixels import PX_PER_MM

GUESSED_MM = 150.0
"""How much of the table a photo without a scale is taken to show along its long side, for a first look."""
LEAST_SIDE = 24
MOST_PIXELS = 4e6


@dataclass(frozen=True, eq=False)
class Scene:
    """`linear` (h, w, 3): the picture at PX_PER_MM; `step`: pixels of the photo along one of its pixels; `usable`
    (h, w): False on the card; `ground`: the bare ground, its `lit` covering the picture."""

    linear: Plane
    step: float
    usable: Mask
    ground: Ground

    @property
    def lit(self) -> Plane:
        """The ground's traits at every pixel."""
        return self.ground.lit

    def to_photo(self, points: Array) -> Array:
        """Points (n, 2) of the scene in pixels of the photo."""
        full: Array = (np.asarray(points, float) + 0.5) * self.step - 0.5
        return full


def look_at(photo: Photo, calibration: Calibration, px_per_mm: float | None = None) -> Scene | None:
    """Reduce a photo to PX_PER_MM and fit its ground; None when it is too small to hold a bait.

    `px_per_mm`: the photo's scale where the calibration has none; without both it is guessed.
    """
    if calibration.has_scale:
        px_per_mm = calibration.px_per_mm_at((photo.width / 2, photo.height / 2))
    if px_per_mm is None:
        px_per_mm = max(photo.width, photo.height) / GUESSED_MM
    step = max(px_per_mm / PX_PER_MM, float(np.sqrt(photo.width * photo.height / MOST_PIXELS)))
    w, h = int(photo.width / step), int(photo.height / step)
    if min(w, h) < LEAST_SIDE:
        return None
    linear = _reduced(photo, step, (w, h))
    usable = ~_card_mask(calibration, (h, w), step)
    floor = 0.06 * float(np.median(linear)) + 0.001
    traits = traits_of(linear, floor)
    ground = fit_ground(traits, floor, usable)
    _, maybe = first_look(cv2.GaussianBlur(ground.stand_off(linear), (0, 0), 1.0), ground)
    ground = refine_ground(traits, ground, ~grown(maybe, 3) & usable, 0.05 * max(h, w))
    return Scene(linear, step, usable, ground)


def _reduced(photo: Photo, step: float, size: tuple[int, int]) -> Plane:
    """The photo sampled every `step` pixels, each sample averaging what it stands for."""
    shrink = max(1, int(step))
    averaged = photo.linear(None, shrink)
    k = step / shrink
    move = np.array([[k, 0, (k - 1) / 2], [0, k, (k - 1) / 2]], np.float32)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    out: Plane = cv2.warpAffine(averaged, move, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return out


def _card_mask(calibration: Calibration, shape: tuple[int, int], step: float) -> Mask:
    mask = np.zeros(shape, np.uint8)
    corners = calibration.card.corners_px
    if corners:
        points = (np.array(corners, float) + 0.5) / step - 0.5
        cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32)], 1, shift=4)
        mask = cv2.dilate(mask, np.ones((5, 5), np.uint8))
    return mask > 0
