"""From a rough mask to the body's outline: unroll, find the path, refine, smooth.

The photo is unrolled along the normals of a contour that is roughly right; in the strip the outline is the closed path
of strong edges with body inside and ground, lit or in shadow, outside (dynamic programming).  Twice: a wide band first,
then a narrow one about the contour found.  Then each vertex moves to half contrast in linear light, and a robust smooth
curve through them bridges what lies over the edge: rings, hooks, glare.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from identify.body import contour, limb, path, smooth, strip
from identify.calibration import Calibration
from identify.geometry import Array, max_feret
from identify.photo import Photo
from identify.records import WARNINGS, Notice
from identify.stages import Body, Region, Window


@dataclass(frozen=True)
class Tuning:
    """How much each kind of evidence counts when the path is sought."""

    region: float = 1.0
    """Body inside, ground outside, against the strength of the edge itself."""
    region_sure: float = 4.0
    """The same where that tells the middle of the body from the ground further out, besides."""
    agree_lo: float = 0.75
    hw: float = 0.1
    hww: float = 0.02
    broad: int = 25
    dead: float = 0.4
    agree_hi: float = 0.92
    band: float = 0.05
    """Half width of the first band, as a share of the body's length."""
    trust: float = 0.0175
    """Standard deviation of the rough contour from the outline, as a share of the body's length."""
    stiff: float = 0.5
    """Against steps of the path."""
    cap: float = 4.0
    """Edges stronger than exp(cap) times the noise count no more."""
    limb_cap: float = 12.0
    limb_prior: float = 2.5
    limb_stiff: float = 1.0
    sure: float = 0.15
    """Pixels within which an edge must be known to take full weight."""
    clear: float = 0.7
    """Pixels within which an edge must be known to be called clear."""


TUNING = Tuning()

LONGEST = 1100.0
"""Bodies longer than this many pixels are traced in a reduced picture."""


def trace(photo: Photo, region: Region, calibration: Calibration) -> Body:
    """Trace the outline of the body in `region`, hardware left out.

    Never raises: a region without area gives its window's rectangle, nothing of it clear.
    """
    points = contour.starting_contour(region)
    if points is None:
        return _nothing(region)
    a, b = max_feret(points)
    length = float(np.hypot(*(b - a)))
    band = max(TUNING.band * length, 5.0)
    picture = _Picture.around(photo, region, points, band, max(1, int(np.ceil(length / LONGEST))))
    p = picture.inwards(points)
    beside = contour.hardware_beside(region, points, length)
    for share, waves in ((1.0, 24.0), (0.4, 14.0)):
        wide = band * share / picture.shrink
        step = max(wide / 25, 0.5)
        n = contour.normals(p)
        s = strip.unroll(picture.linear, picture.ground, p, n, np.arange(-wide, wide + step / 2, step))
        offset = s.offsets[_path(s, beside, TUNING.trust * length / picture.shrink * share)].astype(float)
        p, _, _ = smooth.robust_fit(p, n, offset, np.where(beside, TUNING.hww, 1.0), waves, 0.3)
        p = contour.spaced(p)
        beside = contour.hardware_beside(region, picture.outwards(p), length)
    for waves in (14.0, 11.0):
        p, kept, u = _refine(picture, p, beside, waves)
    return Body(picture.outwards(p), kept, u * picture.shrink)


def _refine(
    picture: _Picture, points: Array, beside: NDArray[np.bool_], waves: float
) -> tuple[Array, NDArray[np.bool_], float]:
    """Move each point to where the limb model places the edge; returns the smooth contour, which points had a clear
    edge, and the scatter of the edges about it."""
    normals = contour.normals(points)
    s = strip.unroll(picture.linear, picture.ground, points, normals, limb.OFFSETS)
    light = gaussian_filter1d(s.light, 1.5, axis=0, mode="wrap", truncate=3)
    blur = limb.best_blur(light)
    left = limb.misfit(light, blur)
    least = left.min(1)
    noise = np.maximum(least, np.median(least))[:, None] / (len(limb.OFFSETS) / 2)
    excess = np.minimum((left - least[:, None]) / noise, TUNING.limb_cap)
    cost = excess + TUNING.limb_prior * limb.PLACES**2
    column = np.repeat(path.closed_path((cost[0::2] + cost[1::2]) / 2, TUNING.limb_stiff / 2, 6), 2)
    offset, curve = limb.parabola(left, column)
    u = np.sqrt(2 * noise[:, 0] / np.maximum(curve, 1e-12))
    weight = np.where(beside, TUNING.hww, np.clip((TUNING.sure / np.maximum(u, 1e-3)) ** 2, 0.02, 1))
    fitted, residual, kept = smooth.robust_fit(points, normals, offset, weight, waves, 0.15)
    clear = ~beside & (u < TUNING.clear) & (np.abs(residual) < 3 * TUNING.clear)
    return fitted, clear, float(np.std(residual[kept]))


def _path(s: strip.Strip, beside: NDArray[np.bool_], trust: float) -> NDArray[np.int64]:
    gradient = strip.edge_strength(s, 1.0)
    body = strip.body_likelihood(s)
    evidence = np.cumsum(body, axis=1)
    m = body.shape[1]
    agrees = min(float((body[:, : m // 4] > 0).mean()), float((body[:, -(m // 4) :] < 0).mean()))
    share = float(np.clip((agrees - TUNING.agree_lo) / (TUNING.agree_hi - TUNING.agree_lo), 0, 1))
    evidence *= s.step / (s.offsets[-1] - s.offsets[0])
    broad = np.clip(3 * uniform_filter1d(body, TUNING.broad, axis=0, mode="wrap"), -2, 2)
    wrong = np.cumsum(broad, axis=1) * s.step / (s.offsets[-1] - s.offsets[0])
    worse = wrong.max(1, keepdims=True) - wrong
    evidence = TUNING.region * evidence - share * TUNING.region_sure * np.maximum(worse - TUNING.dead, 0)
    edge = np.minimum(np.log1p(gradient), TUNING.cap)
    cost = -(edge + evidence)
    cost += (s.offsets / trust) ** 2 / 2
    cost[beside] *= TUNING.hw
    half = (cost[0::2] + cost[1::2]) / 2
    column = path.closed_path(half, TUNING.stiff * (s.step), 2)
    return np.repeat(column, 2)


class _Picture:
    """The part of the photo around one body, and its ground, in pixels of their own."""

    def __init__(self, window: Window, shrink: int, linear: NDArray[np.float32], ground: NDArray[np.float32]) -> None:
        self.window, self.shrink, self.linear, self.ground = window, shrink, linear, ground

    @classmethod
    def around(cls, photo: Photo, region: Region, points: Array, band: float, shrink: int) -> _Picture:
        low = np.floor(points.min(0) - 2 * band - 4).astype(int)
        high = np.ceil(points.max(0) + 2 * band + 5).astype(int)
        x0, y0 = np.maximum(low, 0)
        x1, y1 = np.minimum(high, [photo.width, photo.height])
        window = (int(x0), int(y0), int(x1), int(y1))
        linear = photo.linear(window, shrink)
        h, w = linear.shape[:2]
        corner = region.from_photo([[x0 + (shrink - 1) / 2, y0 + (shrink - 1) / 2]])[0]
        to_ground = np.array([[shrink / region.shrink, 0, corner[0]], [0, shrink / region.shrink, corner[1]]])
        ground = cv2.warpAffine(
            region.ground,
            to_ground,
            (w, h),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        return cls(window, shrink, linear, np.asarray(ground, np.float32))

    def inwards(self, points_px: Array) -> Array:
        own: Array = (points_px - np.array(self.window[:2]) + 0.5) / self.shrink - 0.5
        return own

    def outwards(self, points: Array) -> Array:
        full: Array = (points + 0.5) * self.shrink - 0.5 + np.array(self.window[:2])
        return full


def _nothing(region: Region) -> Body:
    x0, y0, x1, y1 = region.window
    corners = np.array([[x0, y0], [x1 - 1, y0], [x1 - 1, y1 - 1], [x0, y1 - 1]], float)
    notice = Notice("outline-unclear", WARNINGS["outline-unclear"])
    return Body(corners, np.zeros(4, bool), float(max(x1 - x0, y1 - y0)), (notice,))
