"""From a rough mask to the body's outline: unroll, find the path, refine, smooth.

The photo is unrolled along the normals of a contour that is roughly right; in the strip the outline is the closed path
of strong edges with body inside and ground, lit or in shadow, outside (dynamic programming, as Amini, Weymouth and Jain
1990 solve active contours).  Twice: a wide band first, then a narrow one about the contour found.  Then each vertex
moves to where a model of a round body's limb places the edge in linear light, and a robust smooth curve through them
bridges what lies over the edge: rings, hooks, glare.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from identify.body import contour, doubt, limb, lobes, path, smooth, strip
from identify.calibration import Calibration
from identify.geometry import Array, max_feret
from identify.photo import Photo
from identify.records import WARNINGS, Notice
from identify.stages import Body, Region, Window

Flags = NDArray[np.bool_]

LONGEST = 1100.0
"""Bodies longer than this many pixels are traced in a reduced picture."""


@dataclass(frozen=True)
class Tuning:
    """How much each kind of evidence counts.  Lengths are shares of the body's length unless they say pixels."""

    band: float = 0.05
    """Half width of the first band."""
    trust: float = 0.0175
    """Standard deviation of the rough contour from the outline."""
    stiff: float = 0.5
    """Against steps of the path, per pixel squared."""
    cap: float = 4.0
    """Edges stronger than exp(cap) times the noise count no more."""
    region: float = 1.0
    """Body inside and ground outside, against the strength of the edge itself."""
    misplaced: float = 4.0
    """The same for broad stretches on the wrong side, beyond `spare`; only where `agree` holds."""
    spare: float = 0.4
    """Share of the band (times ten) that may lie on the wrong side at no cost: colours alone do not place an edge."""
    agree: tuple[float, float] = (0.75, 0.92)
    """Share of the band's inner and outer quarter that must be told apart rightly: none and full trust."""
    broad: int = 25
    """Vertices that a stretch must have so that it is no ring or hook."""
    beside: float = 0.1
    """How much evidence beside hardware counts when the path is sought."""
    beside_fit: float = 0.02
    """And in the smooth fit, against 1."""
    limb_cap: float = 12.0
    """Misfit of the limb model beyond which one place is as bad as another."""
    limb_prior: float = 2.5
    """Against leaving the place of the strongest edge, per pixel squared."""
    limb_stiff: float = 0.5
    """Against steps of the limb's place, per column squared."""
    sure: float = 0.15
    """Pixels within which an edge must be known to take full weight."""
    clear: float = 1.2
    """Pixels within which an edge must be known to be called clear."""
    unclear_share: float = 0.45
    """Share of the vertices that are not clear, beyond which the outline is called unclear."""


TUNING = Tuning()


def trace(photo: Photo, region: Region, calibration: Calibration) -> Body:
    """Trace the outline of the body in `region`, hardware left out.

    Returns `contour.STATIONS` vertices, closer together where the outline bends.  Vertices beside hardware, where no
    edge stands out, or at the frame are not clear.  Warnings: touches-edge, outline-unclear.  Never raises: a region
    without area gives its window's rectangle, nothing of it clear.

    The calibration is not needed: a band as wide as a share of the body's length does on every scale.
    """

    @cache
    def linear() -> NDArray[np.float32]:
        h, w = region.mask.shape
        return photo.linear(region.window, region.shrink)[:h, :w]

    points = contour.starting_contour(region, lambda lobe: lobes.ground_share(lobe, linear(), region.ground))
    if points is None:
        return _nothing(region)
    a, b = max_feret(points)
    length = float(np.hypot(*(b - a)))
    band = max(TUNING.band * length, 5.0)
    picture = _Picture.around(photo, region, points, band, max(1, math.ceil(length / LONGEST)))
    p = picture.inwards(points)
    beside = contour.hardware_beside(region, points, length)
    for share, waves in ((1.0, 24.0), (0.4, 14.0)):
        wide = band * share / picture.shrink
        step = max(wide / 25, 0.5)
        n = contour.normals(p)
        s = strip.unroll(picture.linear, picture.ground, p, n, np.arange(-wide, wide + step / 2, step))
        offset = s.offsets[_path(s, beside, TUNING.trust * length / picture.shrink * share)].astype(float)
        p, _ = smooth.robust_fit(p, n, offset, np.where(beside, TUNING.beside_fit, 1.0), waves, 0.3)
        p = contour.spaced(p)
        beside = contour.hardware_beside(region, picture.outwards(p), length)
    blur = None
    for waves in (14.0, 11.0):
        p, clear, soft, u, blur = _refine(picture, p, beside, waves, blur)
    ends, flanks = doubt.extents(picture.outwards(p), points, clear, soft * picture.shrink, u * picture.shrink)
    return _finish(photo, region, picture.outwards(p), clear, u * picture.shrink, ends, flanks)


def _path(s: strip.Strip, beside: Flags, trust: float) -> NDArray[np.int64]:
    """Column (n,) of the strip where the outline runs; `trust` in pixels."""
    edge = np.minimum(np.log1p(strip.edge_strength(s, 1.0)), TUNING.cap)
    body = strip.body_likelihood(s)
    span = float(s.offsets[-1] - s.offsets[0]) / s.step
    evidence = TUNING.region * np.cumsum(body, axis=1) / span
    quarter = body.shape[1] // 4
    told = min(float((body[:, :quarter] > 0).mean()), float((body[:, -quarter:] < 0).mean()))
    low, high = TUNING.agree
    certainty = float(np.clip((told - low) / (high - low), 0, 1))
    broad = np.clip(3 * uniform_filter1d(body, TUNING.broad, axis=0, mode="wrap"), -2, 2)
    right = np.cumsum(broad, axis=1) / span
    misplaced = np.maximum(right.max(1, keepdims=True) - right - TUNING.spare, 0)
    cost = (s.offsets / trust) ** 2 / 2 - edge - evidence + certainty * TUNING.misplaced * misplaced
    cost[beside] *= TUNING.beside
    cost[~s.seen] = cost.max()
    column = path.closed_path((cost[0::2] + cost[1::2]) / 2, TUNING.stiff * s.step, 2)
    return np.repeat(column, 2)


def _refine(
    picture: _Picture, points: Array, beside: Flags, waves: float, blur: float | None
) -> tuple[Array, Flags, Array, float, float]:
    """Move each point to where the limb model places the edge; returns the smooth contour, which points have a clear
    edge, how well each point's edge alone is placed (n,), the standard uncertainty that all edges share, and the
    photo's blur (pixels; looked for unless given).

    The shared uncertainty is put together from the choice of blur and limb (a third of the blur: the two trade off
    against each other), the scatter of the edges, what was bridged, and a quarter of a pixel for sharpening and
    resampling.
    """
    normals = contour.normals(points)
    s = strip.unroll(picture.linear, picture.ground, points, normals, limb.OFFSETS)
    light = gaussian_filter1d(s.light, 1.5, axis=0, mode="wrap", truncate=3)
    blur = blur or limb.best_blur(light)
    left = limb.misfit(light, blur)
    least = left.min(1)
    noise = np.maximum(np.maximum(least, np.median(least))[:, None] / (len(limb.OFFSETS) / 2), 1e-12)
    excess = np.minimum((left - least[:, None]) / noise, TUNING.limb_cap)
    cost = excess + TUNING.limb_prior * limb.PLACES**2
    column = np.repeat(path.closed_path((cost[0::2] + cost[1::2]) / 2, TUNING.limb_stiff, 6), 2)
    offset, curve = limb.parabola(left, column)
    u = np.sqrt(2 * noise[:, 0] / np.maximum(curve, 1e-12))
    hidden = beside | ~s.seen.all(1)
    weight = np.where(hidden, TUNING.beside_fit, np.clip((TUNING.sure / np.maximum(u, 1e-3)) ** 2, 0.02, 1))
    fitted, residual = smooth.robust_fit(points, normals, offset, weight, waves, 0.15)
    clear = ~hidden & (u < TUNING.clear) & (np.abs(residual) < 2 * TUNING.clear)
    scatter = float(np.std(residual[clear])) if clear.any() else 1.0
    return fitted, clear, u, math.hypot(blur / 3, scatter, 0.25, 0.5 * float(1 - clear.mean())), blur


def _finish(photo: Photo, region: Region, outline: Array, clear: Flags, u: float, ends: float, flanks: float) -> Body:
    """Keep the outline within the photo and add the warnings."""
    last = np.array([photo.width - 1, photo.height - 1], float)
    inside = np.clip(outline, 0, last)
    at_frame = ((inside <= 1) | (inside >= last - 1)).any(1)
    clear = clear & ~at_frame
    codes = []
    if region.touches_edge or at_frame.any():
        codes.append("touches-edge")
    if float((~clear).mean()) > TUNING.unclear_share:
        codes.append("outline-unclear")
    return Body(inside, clear, u, tuple(Notice(code, WARNINGS[code]) for code in codes), ends, flanks)


def _nothing(region: Region) -> Body:
    x0, y0, x1, y1 = region.window
    corners = np.array([[x0, y0], [x1 - 1, y0], [x1 - 1, y1 - 1], [x0, y1 - 1]], float)
    notice = Notice("outline-unclear", WARNINGS["outline-unclear"])
    size = float(max(x1 - x0, y1 - y0))
    return Body(corners, np.zeros(4, bool), size, (notice,), size, size)


@dataclass(frozen=True, eq=False)
class _Picture:
    """The part of the photo around one body, and its ground, reduced by `shrink`: linear RGB (h, w, 3)."""

    window: Window
    shrink: int
    linear: NDArray[np.float32]
    ground: NDArray[np.float32]

    @classmethod
    def around(cls, photo: Photo, region: Region, points: Array, band: float, shrink: int) -> _Picture:
        margin = 2 * band + 8 * shrink
        x0, y0 = np.maximum(np.floor(points.min(0) - margin), 0).astype(int)
        x1, y1 = np.minimum(np.ceil(points.max(0) + margin) + 1, [photo.width, photo.height]).astype(int)
        window = (int(x0), int(y0), int(x1), int(y1))
        linear = photo.linear(window, shrink)
        h, w = linear.shape[:2]
        corner = region.from_photo([[x0 + (shrink - 1) / 2, y0 + (shrink - 1) / 2]])[0]
        step = shrink / region.shrink
        ground = cv2.warpAffine(
            region.ground,
            np.array([[step, 0, corner[0]], [0, step, corner[1]]]),
            (w, h),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        return cls(window, shrink, linear, np.asarray(ground, np.float32))

    def inwards(self, points_px: Array) -> Array:
        """Pixels of the photo to pixels of this picture."""
        own: Array = (points_px - np.array(self.window[:2]) + 0.5) / self.shrink - 0.5
        return own

    def outwards(self, points: Array) -> Array:
        """The inverse of `inwards`."""
        full: Array = (points + 0.5) * self.shrink - 0.5 + np.array(self.window[:2])
        return full
