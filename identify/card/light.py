"""What the card says of the light: its colour, how bright, how even."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.card.medians import median
from identify.card.strips import LUMINANCE
from identify.geometry import Array

MOST_PIXELS = 3000
"""Of a patch that are looked at."""
SPARSE = 8
"""One pixel in so many, each way, tells how bright the rest of the picture is."""
SHADED_SHARE = 0.08
"""Least share of the card that a shadow covers, and that it leaves, to be told from things lying on it."""
SHADE = (0.18, 2.2)
"""How much darker a shadow may be (logarithm)."""
BETWEEN = 0.08
"""Largest share of pixels in the middle two fifths between shadow and light: a slope of light leaves a fifth there."""
SAME_TINT = 0.25
"""How far the light's colour may differ in shadow: sky or room instead of the lamp."""


@dataclass(frozen=True, eq=False)
class Patch:
    """Light from the inside of a quadrilateral of the reduced picture.

    `mean` (3,): linear RGB, robust against things and shadows on part of it.  `rough`: robust scatter about a plane in
    the logarithm of luminance.  `range`: how far that plane runs over the quadrilateral (logarithm).  `odd`: share of
    pixels far from it.  `shade`: by how much (logarithm) a part of it is darker than the rest, and `shaded` the smaller
    part's share, both 0 where it is lit alike.  `clipped`: share of pixels with a channel at the end of its range.
    `brighter`: luminance of the brightest hundredth of the rest of the picture over the patch's own.
    """

    mean: Array
    rough: float
    range: float
    odd: float
    clipped: float
    brighter: float
    pixels: int
    shade: float = 0.0
    shaded: float = 0.0

    @property
    def luminance(self) -> float:
        return float(self.mean @ LUMINANCE)

    @property
    def tint(self) -> tuple[float, float]:
        """How far from neutral: along magenta to green, and along amber to blue (natural logarithms of ratios)."""
        r, g, b = np.maximum(self.mean, 1e-5)
        return float(np.log(r / g) + np.log(b / g)), float(np.log(r / g) - np.log(b / g))


def read_patch(reduced: NDArray[np.float32], corners: Array, inset: float) -> Patch | None:
    """Light inside corners (4, 2) moved inwards by `inset` pixels of the reduced picture; None when nothing is left."""
    h, w = reduced.shape[:2]
    x0, y0 = np.maximum(np.floor(corners.min(0)), 0).astype(int)
    x1, y1 = np.minimum(np.ceil(corners.max(0)) + 1, [w, h]).astype(int)
    if x1 - x0 < 5 or y1 - y0 < 5:
        return None
    mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
    cv2.fillConvexPoly(mask, np.round((corners - [x0, y0]) * 16).astype(np.int32), 1, shift=4)
    padded = cv2.copyMakeBorder(mask, 1, 1, 1, 1, cv2.BORDER_CONSTANT)
    inner = cv2.distanceTransform(padded, cv2.DIST_L2, 3)[1:-1, 1:-1] > inset
    total = int(inner.sum())
    if total < 40:
        return None
    every = max(1, math.ceil(math.sqrt(total / MOST_PIXELS)))  # a part of the pixels, evenly spread, tells as much
    inner = inner[::every, ::every]
    yy, xx = (every * k for k in np.nonzero(inner))
    rgb = reduced[y0:y1:every, x0:x1:every][inner].astype(float)
    light = np.log(np.maximum(rgb @ LUMINANCE, 1e-4))
    basis = np.stack([np.ones(len(xx)), xx / (x1 - x0) - 0.5, yy / (y1 - y0) - 0.5])
    dark, shade = _shaded(light, rgb)
    light = light + shade * dark
    keep = np.abs(light - median(light)) < 0.6
    plane = np.zeros(3)
    rough = 1.0
    for _ in range(4):
        if keep.sum() < 12:
            return None
        kept = basis * keep
        # three well-scaled columns: the normal equations lose nothing, and are many times faster than an SVD
        plane = np.asarray(np.linalg.lstsq(kept @ basis.T, kept @ light, rcond=None)[0], float)
        left = np.abs(light - plane @ basis)
        rough = 1.4826 * median(left)
        keep = left <= max(3 * rough, 0.01)
    off = np.abs(light - plane @ basis)
    normal = off <= max(3.5 * rough, 0.02)
    at_corners = np.array([[1, -0.5, -0.5], [1, 0.5, -0.5], [1, 0.5, 0.5], [1, -0.5, 0.5]]) @ plane
    outside = np.ascontiguousarray(reduced[::SPARSE, ::SPARSE]) @ LUMINANCE.astype(np.float32)
    beside = np.ones(outside.shape, bool)
    beside[y0 // SPARSE : y1 // SPARSE + 1, x0 // SPARSE : x1 // SPARSE + 1] = False
    rest = outside[beside]
    larger = dark if dark.mean() > 0.5 else ~dark
    mean = rgb[normal & larger].mean(0) if (normal & larger).any() else rgb[normal].mean(0)
    bright = float(np.percentile(rest, 99)) if rest.size else 0.0
    return Patch(
        mean=mean,
        rough=rough,
        range=float(np.ptp(at_corners)),
        odd=float(np.mean(off > max(5 * rough, 0.06))),
        clipped=float(np.mean(((rgb > 0.97) | (rgb < 0.0008)).any(1))),
        brighter=bright / max(float(mean @ LUMINANCE), 1e-4),
        pixels=len(rgb),
        shade=shade,
        shaded=float(min(dark.mean(), 1 - dark.mean())) if shade else 0.0,
    )


def _shaded(light: Array, rgb: Array) -> tuple[NDArray[np.bool_], float]:
    """Which pixels lie in a shadow that covers part of the quadrilateral, and by how much they are darker.

    The threshold is where two levels explain most of the light's variance (Otsu 1979).  Light that merely runs over the
    card fills the gap between the two, and things of another colour are no shadow.
    """
    none = np.zeros(len(light), bool)
    counts, edges = np.histogram(light, 64)
    share = np.cumsum(counts) / len(light)
    middles = (edges[1:] + edges[:-1]) / 2
    moment = np.cumsum(counts * middles) / len(light)
    between = (moment[-1] * share - moment) ** 2 / np.maximum(share * (1 - share), 1e-9)
    dark = light < edges[int(np.argmax(between)) + 1]
    if not SHADED_SHARE < dark.mean() < 1 - SHADED_SHARE:
        return none, 0.0
    low, high = median(light[dark]), median(light[~dark])
    shade = float(high - low)
    gap = np.abs(light - (low + high) / 2) < 0.2 * shade
    if not SHADE[0] < shade < SHADE[1] or gap.mean() > BETWEEN:
        return none, 0.0
    tints = [np.log(np.maximum(np.median(rgb[k], axis=0), 1e-5)) for k in (dark, ~dark)]
    apart = (tints[0] - tints[0][1]) - (tints[1] - tints[1][1])
    return (dark, shade) if np.abs(apart).max() < SAME_TINT else (none, 0.0)
