"""A photo as separation looks at it: reduced to a fixed scale, with what each pixel shows and the bare ground."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike

from identify import pixelnet
from identify.calibration import Calibration
from identify.geometry import Array
from identify.photo import Photo
from identify.separate.ground import Ground, Plane, settled_ground
from identify.separate.morphology import Mask

PX_PER_MM = 2.0
"""Scale at which the network looks: fitted at 2.5, a third more or less, it finds baits as well here in less time."""
LEAST_SIDE = 48
MOST_PIXELS = 1.3e6
_NOT_GROUND = 0.15


@dataclass(frozen=True, eq=False)
class Scene:
    """A photo reduced to some scale, and what a network says each pixel shows: planes (h, w) from 0 to 1.

    `body`: the silhouette of a bait's body, what hides it for the camera included; `wire`: rings and hooks; `lip`;
    `thing`: any other thing that lies on the ground.  `step`: pixels of the photo along one of the scene's;
    `px_per_mm`: the scene's own scale, known or guessed; `on_card` (h, w): True on the card.  `ground`: the bare
    ground, in the scene reduced by GROUND_STEP.
    """

    body: Plane
    wire: Plane
    lip: Plane
    thing: Plane
    step: float
    px_per_mm: float
    on_card: Mask
    ground: Ground

    def to_photo(self, points: ArrayLike) -> Array:
        """Points (n, 2) of the scene in pixels of the photo."""
        full: Array = (np.asarray(points, float) + 0.5) * self.step - 0.5
        return full

    def from_photo(self, points_px: ArrayLike) -> Array:
        """The inverse of `to_photo`."""
        own: Array = (np.asarray(points_px, float) + 0.5) / self.step - 0.5
        return own


GROUND_STEP = 4
"""Pixels of the scene along one of the ground's picture: light changes slowly."""


def look_at(photo: Photo, calibration: Calibration, px_per_mm: float | None = None) -> Scene | None:
    """Reduce a photo to PX_PER_MM and look at it; None when it is too small to hold a bait.

    `px_per_mm`: the photo's scale, known or supposed; the calibration's, if it has one, when it is not given.  Raises
    ValueError without both.
    """
    if px_per_mm is None:
        if not calibration.has_scale:
            raise ValueError("a photo without a scale is looked at in a supposed one")
        px_per_mm = calibration.px_per_mm_at((photo.width / 2, photo.height / 2))
    step = max(1.0, px_per_mm / PX_PER_MM, math.sqrt(photo.width * photo.height / MOST_PIXELS))
    w, h = int(photo.width / step), int(photo.height / step)
    if min(w, h) < LEAST_SIDE:
        return None
    linear = _reduced(photo, step, (w, h))
    body, wire, lip, thing = pixelnet.probabilities(linear, "identify.separate", "scene")
    on_card = _card_mask(calibration, (h, w), step)
    bare = (np.maximum(np.maximum(body, wire), np.maximum(lip, thing)) < _NOT_GROUND) & ~on_card
    size = (max(2, w // GROUND_STEP), max(2, h // GROUND_STEP))
    small = np.asarray(cv2.resize(linear, size, interpolation=cv2.INTER_AREA), np.float32)
    usable = cv2.resize(bare.astype(np.uint8), size, interpolation=cv2.INTER_AREA) > 0
    ground = settled_ground(small, 0.06 * float(np.median(small)) + 0.001, usable)
    return Scene(body, wire, lip, thing, step, px_per_mm / step, on_card, ground)


def _reduced(photo: Photo, step: float, size: tuple[int, int]) -> Plane:
    """The photo with one sample each `step` pixels, averaging what it stands for."""
    shrink = max(1, int(step))
    averaged = photo.linear((0, 0, photo.width, photo.height), shrink)
    k = step / shrink
    move = np.array([[k, 0, (k - 1) / 2], [0, k, (k - 1) / 2]], np.float32)
    if k > 1.2:  # blur before taking fewer samples (sampling theorem)
        averaged = np.asarray(cv2.GaussianBlur(averaged, (0, 0), 0.35 * k), np.float32)
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
