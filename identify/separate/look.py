"""A photo as separation looks at it: reduced to a fixed scale, with what each pixel shows and the bare ground."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from identify import pixelnet
from identify.calibration import Calibration
from identify.geometry import Array
from identify.photo import Photo
from identify.records import Polygon
from identify.separate.ground import Plane, bare_ground
from identify.separate.morphology import Mask

PX_PER_MM = 1.6
"""Scale at which the network looks: enough to find baits, which are looked at closely after."""
LEAST_SIDE = 36
MOST_PIXELS = 1.3e6
_REDUCED = 1000
"""Longest side of the reduced picture that serves where it is fine enough: the card was looked for in it, too."""
_NOT_GROUND = 0.15
_OFF = 0.25
"""Logarithm by which a thing's light differs from that of the sheet it lies on."""
_OUTLINE_MM = 2.0
"""To each side of a large card's outline, what shows is neither ground nor a thing."""


@dataclass(frozen=True, eq=False)
class Scene:
    """A photo reduced to some scale, and what a network says each pixel shows: planes (h, w) from 0 to 1.

    `body`: the silhouette of a bait's body, what hides it for the camera included; `wire`: rings and hooks; `lip`;
    `thing`: any other thing that lies on the ground.  `step`: pixels of the photo along one of the scene's;
    `px_per_mm`: the scene's own scale, known or guessed.  `on_card` (h, w): True on the card, where no bait lies;
    `outline` (h, w): True there, and on the outline of a card so large that baits lie on it.  `ground` (gh, gw, 3):
    linear RGB of the bare ground, each of its pixels `ground_step` of the scene's along a side; `sheet`: the same for
    what is seen on such a card, whose corners are `sheet_px` in the photo.
    """

    body: Plane
    wire: Plane
    lip: Plane
    thing: Plane
    step: float
    px_per_mm: float
    on_card: Mask
    outline: Mask
    ground: Plane
    ground_step: int
    sheet: Plane | None = None
    sheet_px: Array | None = None

    def to_photo(self, points: ArrayLike) -> Array:
        """Points (n, 2) of the scene in pixels of the photo."""
        full: Array = (np.asarray(points, float) + 0.5) * self.step - 0.5
        return full

    def from_photo(self, points_px: ArrayLike) -> Array:
        """The inverse of `to_photo`."""
        own: Array = (np.asarray(points_px, float) + 0.5) / self.step - 0.5
        return own


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
    sheet_px = calibration.sheet_px
    inside = _drawn(calibration.card.corners_px, (h, w), step)
    bait = cv2.max(cv2.max(body, wire), lip)
    scale = px_per_mm / step
    if sheet_px is None:
        on_card = cv2.dilate(inside, np.ones((3, 3), np.uint8)) > 0
        ground, ground_step = bare_ground(linear, (cv2.max(bait, thing) < _NOT_GROUND) & ~on_card)
        return Scene(body, wire, lip, thing, step, scale, on_card, on_card, ground, ground_step)
    around = np.ones((2 * round(_OUTLINE_MM * scale) + 1,) * 2, np.uint8)
    outline = cv2.morphologyEx(inside, cv2.MORPH_GRADIENT, around) > 0
    on_sheet = inside > 0
    ground, ground_step = bare_ground(linear, (cv2.max(bait, thing) < _NOT_GROUND) & ~outline & ~on_sheet)
    sheet, _ = bare_ground(linear, (bait < _NOT_GROUND) & ~outline & on_sheet)
    # the network takes a sheet for a thing; what lies on it is another one only where it shows something else
    thing = np.where(on_sheet & ~_stands_off(linear, sheet, ground_step), np.float32(0), thing)
    nowhere = np.zeros((h, w), bool)
    return Scene(body, wire, lip, thing, step, scale, nowhere, outline, ground, ground_step, sheet, sheet_px)


def _stands_off(linear: Plane, ground: Plane, ground_step: int) -> Mask:
    """Where a picture (h, w) shows other light than the bare ground's."""
    move = np.array([[1, 0, (1 - ground_step) / 2], [0, 1, (1 - ground_step) / 2]], np.float32) / ground_step
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    bare = cv2.warpAffine(ground, move, linear.shape[1::-1], flags=flags, borderMode=cv2.BORDER_REPLICATE)
    ratio = np.abs(np.log(np.maximum(cv2.blur(linear, (3, 3)), 1e-4) / np.maximum(bare, 1e-4)))
    return np.asarray(ratio.max(-1) > _OFF)


def _reduced(photo: Photo, step: float, size: tuple[int, int]) -> Plane:
    """The photo with one sample each `step` pixels, averaging what it stands for."""
    averaged, shrink = photo.reduced(_REDUCED)
    if shrink > step:
        shrink = int(step)
        averaged = photo.linear(None, shrink)
    if (more := int(step / shrink)) > 1:
        h, w = (n // more for n in averaged.shape[:2])
        averaged = np.asarray(
            cv2.resize(averaged[: h * more, : w * more], (w, h), interpolation=cv2.INTER_AREA), np.float32
        )
        shrink *= more
    k = step / shrink
    if k > 1.2:  # blur before taking fewer samples (sampling theorem)
        averaged = np.asarray(cv2.GaussianBlur(averaged, (0, 0), 0.35 * k), np.float32)
    move = np.array([[k, 0, (k - 1) / 2], [0, k, (k - 1) / 2]], np.float32)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    out = cv2.warpAffine(averaged, move, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(out, np.float32)


def _drawn(corners_px: Polygon | None, shape: tuple[int, int], step: float) -> NDArray[np.uint8]:
    """Mask (h, w) of a figure in the photo, 1 inside."""
    mask = np.zeros(shape, np.uint8)
    if corners_px:
        points = (np.array(corners_px, float) + 0.5) / step - 0.5
        cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32)], 1, shift=4)
    return mask
