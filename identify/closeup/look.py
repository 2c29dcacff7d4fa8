"""One bait at a fixed scale, lying along x, and what a network says of each of its pixels.

Body, rings, hooks and eye are told apart together, because each is known by the others: a dark back on a black cloth is
seen by where the rest of the bait must end, a ring by the body that it sits on.
"""

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
from identify.pixelnet import Plane
from identify.stages import Region

PX_PER_MM = 5.0
"""Scale at which the network looks."""
MARGIN_MM = 8.0
"""Room around the body: a ring, and half the shank of a hook that hangs in it."""
TYPICAL_LENGTH_MM = 65.0
"""Of a bait; used without a scale.  Common practice, no published source."""
MOST_PIXELS = 1.2e5
"""A larger picture is looked at more coarsely: the network has learned from pictures of this size, and in one much
larger it takes ground far from everything for body."""
CUT_MM = 25.0
"""How much further to look where the body goes on beyond the picture."""
SIDE_PX, CUT_PX, DIM = 8, 1.0, 0.05
"""Body so near a side of the picture, in sum so wide there and nowhere seen more dimly on the way, may go on beyond it:
a thin tail is seen dimly where the picture ends."""
UNSURE_PX = 1.6
"""Mean width of the outline's step beyond which the network is asked again."""


@dataclass(frozen=True, eq=False)
class Closeup:
    """What is seen of one bait; every plane (h, w) float32 from 0 to 1.

    `body`: its silhouette, what hides it for the camera included.  `tie`, `hanger`, `hook`, `lip`: wire rings that a
    line is tied to or a hook hangs in, hooks, a plate at the nose.  `tie_at`, `hanger_at`, `eye_at`, `trace_at`: peaks
    at the middle of each ring and of the eye, and where a ring is lost.  `matrix` (2, 3): takes pixels of the photo to
    pixels of the planes; `px_per_mm`: the photo's at the bait, known or supposed.
    """

    matrix: Array
    px_per_mm: float
    body: Plane
    tie: Plane
    hanger: Plane
    hook: Plane
    lip: Plane
    tie_at: Plane
    hanger_at: Plane
    eye_at: Plane
    trace_at: Plane

    @property
    def zoom(self) -> float:
        """Pixels of the planes along one of the photo's."""
        return float(np.hypot(*self.matrix[0, :2]))

    @property
    def mm(self) -> float:
        """Pixels of the planes to a millimetre at the bait."""
        return self.zoom * self.px_per_mm

    def to_photo(self, points: ArrayLike) -> Array:
        """Points (n, 2) of the planes in pixels of the photo."""
        own = np.asarray(points, float).reshape(-1, 2)
        full: Array = (own - self.matrix[:, 2]) @ np.linalg.inv(self.matrix[:, :2]).T
        return full

    def from_photo(self, points_px: ArrayLike) -> Array:
        """The inverse of `to_photo`."""
        own: Array = np.asarray(points_px, float).reshape(-1, 2) @ self.matrix[:, :2].T + self.matrix[:, 2]
        return own


def look(photo: Photo, region: Region, calibration: Calibration) -> Closeup:
    """Look at one region closely.  Without a scale the length of its core is taken for a usual bait's."""
    contours, _ = cv2.findContours(region.core.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    rim = region.to_photo(np.concatenate(contours)[:, 0])
    centre, sides, angle = cv2.minAreaRect(rim.astype(np.float32))
    if sides[0] < sides[1]:
        angle += 90.0
    length = max(sides) + region.shrink
    scale = length / TYPICAL_LENGTH_MM
    if calibration.has_scale:
        scale = calibration.px_per_mm_at((float(centre[0]), float(centre[1])))
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    turn = np.array([[c, s], [-s, c]])
    lying = rim @ turn.T
    low, high = lying.min(0) - MARGIN_MM * scale, lying.max(0) + MARGIN_MM * scale
    planes, matrix = _seen(photo, turn, low, high, scale)
    planes[0] = _own(planes[0], rim, matrix)
    cut = _cut_sides(planes[0])
    if any(cut):  # the core was not all of the body
        more = CUT_MM * scale
        low, high = low - np.array(cut[:2]) * more, high + np.array(cut[2:]) * more
        planes, matrix = _seen(photo, turn, low, high, scale)
        planes[0] = _own(planes[0], rim, matrix)
    planes[1:] *= _within(photo, matrix, planes[0].shape)  # nothing but the body is supposed beyond the frame
    return Closeup(matrix, scale, *planes)


def _seen(photo: Photo, turn: Array, low: Array, high: Array, scale: float) -> tuple[Plane, Array]:
    """What the network says (k, h, w) of the rectangle `low` to `high` of the turned photo, and the matrix to it.

    Where it is of two minds about much of the outline it looks again, at the mirror images, and the mean counts: what
    it is sure of both ways it is sure of in earnest.
    """
    zoom = min(PX_PER_MM / scale, math.sqrt(MOST_PIXELS / float(np.prod(high - low))))
    width, height = (max(8, int(v)) for v in np.ceil((high - low) * zoom))
    matrix = np.column_stack([turn * zoom, -low * zoom])
    light = _sampled(photo, matrix, (width, height))
    planes = _asked(light)
    if unsureness(planes[0]) > UNSURE_PX:
        mirrored = (planes, _asked(light[::-1])[:, ::-1], _asked(light[:, ::-1])[:, :, ::-1])
        planes = np.mean(mirrored, 0, dtype=np.float32)
    return planes, matrix


def _asked(light: Plane) -> Plane:
    return pixelnet.probabilities(np.ascontiguousarray(light), "identify.closeup", "bait")


def unsureness(body: Plane) -> float:
    """How wide the step from body to ground is on average, in pixels: the area that may be either, over the border's
    length."""
    likely = (body > 0.5).astype(np.uint8)
    border = float(np.count_nonzero(likely - cv2.erode(likely, np.ones((3, 3), np.uint8))))
    return float(np.count_nonzero((body > 0.1) & (body < 0.9))) / max(border, 1.0)


def _own(body: Plane, rim_px: Array, matrix: Array) -> Plane:
    """The body without its neighbours': the part that fills most of the rim (n, 2), in pixels of the photo."""
    count, parts = cv2.connectedComponents((body > 0.5).astype(np.uint8))
    if count <= 2:
        return body
    core = np.zeros(body.shape, np.uint8)
    hull = cv2.convexHull((rim_px @ matrix[:, :2].T + matrix[:, 2]).astype(np.float32))
    cv2.fillPoly(core, [np.round(hull).astype(np.int32)], 1)
    covers = np.bincount(parts[core > 0], minlength=count)[1:]
    others = ((parts > 0) & (parts != 1 + int(np.argmax(covers)))).astype(np.uint8)
    return np.where(cv2.dilate(others, np.ones((5, 5), np.uint8)) > 0, np.float32(0), body)


def _cut_sides(body: Plane) -> tuple[bool, bool, bool, bool]:
    """Whether the body runs over the left, top, right and bottom side of its picture."""
    _, parts = cv2.connectedComponents((body > DIM).astype(np.uint8))
    sure = parts[body > 0.5]
    own = np.where(parts == np.bincount(sure).argmax(), body, 0.0) if len(sure) else body
    sides = (own[:, :SIDE_PX], own[:SIDE_PX].T, own[:, -SIDE_PX:], own[-SIDE_PX:].T)
    left, top, right, bottom = (bool(side.sum(0).mean() > CUT_PX) for side in sides)
    return left, top, right, bottom


def _within(photo: Photo, matrix: Array, shape: tuple[int, ...]) -> Plane:
    """1 where a pixel lies within the photo, else 0."""
    w, h = photo.width - 1, photo.height - 1
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], float) @ matrix[:, :2].T + matrix[:, 2]
    mask = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(mask, np.round(corners * 16).astype(np.int32), 1, shift=4)
    return mask.astype(np.float32)


def _sampled(photo: Photo, matrix: Array, size: tuple[int, int]) -> Plane:
    """The photo resampled to a grid of `size` (w, h); beyond the frame its edge goes on."""
    corners = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]], float)
    px = (corners - matrix[:, 2]) @ np.linalg.inv(matrix[:, :2]).T
    shrink = max(1, int(1 / max(float(np.hypot(*matrix[0, :2])), 1e-6)))
    x0, y0 = (int(v) // shrink * shrink for v in np.maximum(np.floor(px.min(0)) - 2 * shrink, 0))
    x1, y1 = np.minimum(np.ceil(px.max(0)) + 3 * shrink, [photo.width, photo.height]).astype(int)
    x1, y1 = max(int(x1), x0 + shrink), max(int(y1), y0 + shrink)
    part = photo.linear((x0, y0, x1, y1), shrink)
    own = matrix.copy()
    own[:, 2] += matrix[:, :2] @ (np.array([x0, y0], float) + (shrink - 1) / 2)
    own[:, :2] *= shrink
    left = 1 / float(np.hypot(*own[0, :2]))
    if left > 1.2:  # blur before taking fewer samples (sampling theorem)
        part = np.asarray(cv2.GaussianBlur(part, (0, 0), 0.35 * left), np.float32)
    moved = cv2.warpAffine(part, own, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved, np.float32)
