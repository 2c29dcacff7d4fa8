"""One bait seen at a fixed scale: the photo resampled along the body's axis, so that every later step works in
millimetres whatever the photo's resolution and whichever way the bait lies.

View frame: pixels of the resampled picture, `PX_PER_MM` to the millimetre, x along the body's maximum Feret diameter
from `Sizing.ends_px[0]` to `ends_px[1]`, y down (the picture is turned, never mirrored).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from identify.geometry import Array, resample_closed
from identify.photo import Photo
from identify.stages import Body, Region, Sizing

Floats = NDArray[np.floating[Any]]
"""Pictures: float32 in fact, for speed."""

PX_PER_MM = 10.0
MARGIN_MM = 9.0
"""Room around the body: a ring and the shank of a hook that hangs in it."""
TYPICAL_LENGTH_MM = 65.0
"""Of a bait; used without a scale.  Common practice, no published source."""
STEP_MM = 0.25


@dataclass(frozen=True, eq=False)
class View:
    """The resampled picture and what is known of each of its pixels.

    `image`, `ground` (h, w, 3) float32: code values of the photo from 0 to 1, and of the ground as it would look there.
    `depth` (h, w) float32: signed distance to the outline in mm, positive inside the body.
    `outline` (n, 2) in view pixels, points STEP_MM apart, clockwise as seen; `normals` (n, 2) point outwards.
    `scale`: photo pixels per mm; `matrix` (2, 3) takes photo pixels to view pixels.
    """

    image: Floats
    ground: Floats
    depth: Floats
    outline: Array
    normals: Array
    scale: float
    matrix: Array

    def to_photo(self, points: ArrayLike) -> Array:
        """View pixels (n, 2) in pixels of the photo."""
        pts = np.atleast_2d(np.asarray(points, float))
        full: Array = (pts - self.matrix[:, 2]) @ np.linalg.inv(self.matrix[:, :2]).T
        return full

    def from_photo(self, points_px: ArrayLike) -> Array:
        """The inverse of `to_photo`."""
        own: Array = np.atleast_2d(np.asarray(points_px, float)) @ self.matrix[:, :2].T + self.matrix[:, 2]
        return own


def look(photo: Photo, region: Region, body: Body, sizing: Sizing) -> View:
    """Resample the photo around one bait."""
    start, end = (np.asarray(p, float) for p in sizing.ends_px)
    span = float(np.hypot(*(end - start)))
    scale = sizing.px_per_mm or span / TYPICAL_LENGTH_MM
    zoom = PX_PER_MM / scale
    c, s = (end - start) / span
    turn = np.array([[c, s], [-s, c]]) * zoom
    points = np.asarray(body.outline_px, float) @ turn.T
    low = points.min(0) - MARGIN_MM * PX_PER_MM
    width, height = (int(v) for v in np.ceil(points.max(0) + MARGIN_MM * PX_PER_MM - low))
    matrix = np.column_stack([turn, -low])

    x0, y0, x1, y1 = _window(matrix, width, height, photo)
    part, shift = photo.pixels[y0:y1, x0:x1], np.array([x0, y0], float)
    shrink = 1 / max(zoom, 1e-6)
    # blur before taking fewer samples (sampling theorem)
    source = cv2.GaussianBlur(part, (0, 0), 0.4 * shrink) if shrink > 1.3 else part
    top = np.iinfo(part.dtype).max
    image = np.divide(_warp(np.asarray(source), matrix, shift, 1, (width, height)), top, dtype=np.float32)

    gx0, gy0 = region.window[:2]
    power = np.asarray(cv2.pow(np.maximum(region.ground, 0), 1 / 2.4))
    encoded = np.clip(1.055 * power - 0.055, 0, 1)  # IEC 61966-2-1, not its foot
    ground = _warp(encoded, matrix, np.array([gx0, gy0], float), region.shrink, (width, height))

    n = max(40, round(_perimeter(points) / (STEP_MM * PX_PER_MM)))
    outline = resample_closed(points - low, n)
    return View(image, ground, _depth(outline, (width, height)), outline, _normals(outline), scale, matrix)


def with_outline(view: View, outline: Array) -> View:
    """The same view with another outline (view pixels)."""
    return replace(
        view,
        outline=outline,
        depth=_depth(outline, (view.depth.shape[1], view.depth.shape[0])),
        normals=_normals(outline),
    )


def _perimeter(points: Array) -> float:
    return float(np.hypot(*(np.roll(points, -1, 0) - points).T).sum())


def _window(matrix: Array, width: int, height: int, photo: Photo) -> tuple[int, int, int, int]:
    """The part of the photo that the view needs."""
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
    px = (corners - matrix[:, 2]) @ np.linalg.inv(matrix[:, :2]).T
    x0, y0 = np.maximum(np.floor(px.min(0)) - 2, 0).astype(int)
    x1, y1 = np.minimum(np.ceil(px.max(0)) + 3, [photo.width, photo.height]).astype(int)
    return int(x0), int(y0), max(int(x1), int(x0) + 1), max(int(y1), int(y0) + 1)


def _warp(part: NDArray[Any], matrix: Array, shift: Array, shrink: int, size: tuple[int, int]) -> Floats:
    """Resample an array whose pixel (0, 0) lies at `shift` of the photo, each pixel averaging shrink × shrink."""
    own = matrix.copy()
    own[:, :2] *= shrink
    own[:, 2] += matrix[:, :2] @ (shift + (shrink - 1) / 2)
    return np.asarray(cv2.warpAffine(part, own, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def _depth(outline: Array, size: tuple[int, int]) -> Floats:
    filled = np.zeros((size[1], size[0]), np.uint8)
    cv2.fillPoly(filled, [np.round(outline * 16).astype(np.int32)], 1, shift=4)
    inside = cv2.distanceTransform(filled, cv2.DIST_L2, 3)
    outside = cv2.distanceTransform(1 - filled, cv2.DIST_L2, 3)
    return np.asarray(np.where(filled > 0, inside - 0.5, 0.5 - outside) / PX_PER_MM, np.float32)


def _normals(outline: Array) -> Array:
    """Outward unit normals of a clockwise outline, smoothed over about 1.5 mm."""
    k = 3
    tangent = np.roll(outline, -k, 0) - np.roll(outline, k, 0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    # clockwise as seen with y down: the outside lies to the left of the walk, that is at (ty, -tx)
    normals: Array = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    return normals
