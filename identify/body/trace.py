"""From a close look at a bait to its body's outline.

A network's picture of the body's silhouette gives the contour where body and ground are equally likely, to a fraction
of a pixel.  In the photo itself each vertex then moves, by little, to where a model of a round body's limb places the
edge in linear light, and a robust smooth curve through them bridges what lies over the edge: rings, hooks, glare.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from identify.body import contour, doubt, limb, path, smooth, strip
from identify.closeup import Closeup
from identify.geometry import Array
from identify.photo import Photo
from identify.records import WARNINGS, Notice
from identify.stages import Body, Region, Window

Flags = NDArray[np.bool_]

LONGEST = 1100.0
"""Bodies longer than this many pixels are traced in a reduced picture."""

ABREAST = 4
"""Vertices that share a place of the limb until it is refined; a divisor of `contour.STATIONS`."""


@dataclass(frozen=True)
class Tuning:
    """How much each kind of evidence counts."""

    limb_cap: float = 12.0
    """Misfit of the limb model beyond which one place is as bad as another."""
    limb_prior: float = 1.5
    """Against leaving the place of the silhouette's edge, per pixel squared."""
    limb_stiff: float = 0.25
    """Against steps of the limb's place from ABREAST vertices to the next, per column squared."""
    sure: float = 0.6
    """Pixels within which an edge must be known to take full weight against the silhouette."""
    waves: float = 19.0
    """Vertices; shorter waves of the outline are smoothed away."""
    unclear: float = 2.6
    """Mean width of the step from body to ground, in the close-up's pixels, beyond which the outline is unclear."""


TUNING = Tuning()


def trace(photo: Photo, region: Region, seen: Closeup) -> Body:
    """Trace the outline of the body in `region`, hardware left out.

    Returns `contour.STATIONS` vertices, closer together where the outline bends.  Vertices where body and ground are
    hard to tell apart, beside hardware, or at the frame are not clear.  Warnings: touches-edge, outline-unclear.  Never
    raises: a region without area gives its window's rectangle, nothing of it clear.
    """
    found = contour.silhouette(seen)
    if found is None:
        return _nothing(region)
    rough, width = found
    points = seen.to_photo(rough)
    picture = _Picture.around(photo, points, max(1, math.ceil(float(np.ptp(points, axis=0).max()) / LONGEST)))
    beside = contour.hardware_beside(seen, rough)
    fitted, clear, u = _refine(picture, picture.inwards(points), beside | (width > contour.WIDE))
    ends, flanks = (v / seen.zoom for v in doubt.extents(rough, width))
    body = Body(picture.outwards(fitted), clear, u * picture.shrink, (), ends, flanks)
    return _finished(photo, region, body, float(width.mean()) > TUNING.unclear)


def _refine(picture: _Picture, points: Array, hidden: Flags) -> tuple[Array, Flags, float]:
    """Move each point to where the limb model places the edge; returns the smooth contour, which points have a clear
    edge, and the standard uncertainty that all edges share.

    The shared uncertainty is put together from the choice of blur and limb (a third of the blur: the two trade off
    against each other), the scatter of the edges, what was bridged, and a quarter of a pixel for sharpening and
    resampling.
    """
    normals = contour.normals(points)
    s = strip.unroll(picture.linear, points, normals, limb.OFFSETS)
    light = gaussian_filter1d(s.light, 1.5, axis=0, mode="wrap", truncate=3)
    blur = limb.best_blur(light)
    left = limb.misfit(light, blur)
    least = left.min(1)
    noise = np.maximum(np.maximum(least, np.median(least))[:, None] / (len(limb.OFFSETS) / 2), 1e-12)
    excess = np.minimum((left - least[:, None]) / noise, TUNING.limb_cap)
    cost = excess + TUNING.limb_prior * limb.PLACES**2
    coarse = cost.reshape(-1, ABREAST, cost.shape[1]).mean(1)
    column = np.repeat(path.closed_path(coarse, TUNING.limb_stiff, 6), ABREAST)
    offset, curve = limb.parabola(left, column)
    u = np.sqrt(2 * noise[:, 0] / np.maximum(curve, 1e-12))
    hidden = hidden | ~s.seen.all(1)
    # where the photo shows no edge, the silhouette stands
    sharp = np.clip((TUNING.sure / np.maximum(u, 1e-3)) ** 2, 0, 1)
    offset = np.where(hidden, 0.0, offset * sharp)
    fitted, residual = smooth.robust_fit(points, normals, offset, np.where(hidden, 0.3, 1.0), TUNING.waves, 0.15)
    clear = ~hidden
    scatter = float(np.std(residual[clear])) if clear.any() else 1.0
    return fitted, clear, math.hypot(blur / 3, scatter, 0.25, 0.5 * float(1 - clear.mean()))


def _finished(photo: Photo, region: Region, body: Body, unclear: bool) -> Body:
    """The outline kept within the photo, and the warnings."""
    last = np.array([photo.width - 1, photo.height - 1], float)
    inside = np.clip(body.outline_px, 0, last)
    at_frame = ((inside <= 1) | (inside >= last - 1)).any(1)
    codes = []
    if region.touches_edge or at_frame.any():
        codes.append("touches-edge")
    if unclear:
        codes.append("outline-unclear")
    notices = tuple(Notice(code, WARNINGS[code]) for code in codes)
    return replace(body, outline_px=inside, clear=body.clear & ~at_frame, warnings=notices)


def _nothing(region: Region) -> Body:
    x0, y0, x1, y1 = region.window
    corners = np.array([[x0, y0], [x1 - 1, y0], [x1 - 1, y1 - 1], [x0, y1 - 1]], float)
    notice = Notice("outline-unclear", WARNINGS["outline-unclear"])
    size = float(max(x1 - x0, y1 - y0))
    return Body(corners, np.zeros(4, bool), size, (notice,), size, size)


@dataclass(frozen=True, eq=False)
class _Picture:
    """The part of the photo around one body, reduced by `shrink`: linear RGB (h, w, 3)."""

    window: Window
    shrink: int
    linear: NDArray[np.float32]

    @classmethod
    def around(cls, photo: Photo, points: Array, shrink: int) -> _Picture:
        margin = 10 * shrink
        x0, y0 = np.maximum(np.floor(points.min(0) - margin), 0).astype(int)
        x1, y1 = np.minimum(np.ceil(points.max(0) + margin) + 1, [photo.width, photo.height]).astype(int)
        window = (int(x0), int(y0), max(int(x1), int(x0) + shrink), max(int(y1), int(y0) + shrink))
        return cls(window, shrink, photo.linear(window, shrink))

    def inwards(self, points_px: Array) -> Array:
        """Pixels of the photo to pixels of this picture."""
        own: Array = (points_px - np.array(self.window[:2]) + 0.5) / self.shrink - 0.5
        return own

    def outwards(self, points: Array) -> Array:
        """The inverse of `inwards`."""
        full: Array = (points + 0.5) * self.shrink - 0.5 + np.array(self.window[:2])
        return full
