"""The band along a contour unrolled into a strip, and what each of its pixels says about where the body ends."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from identify.geometry import Array

DARK = 0.004
"""Added to linear light before taking logarithms: about the noise of a dark pixel in an 8 bit photo."""


@dataclass(frozen=True, eq=False)
class Strip:
    """A photo along the normals of a contour: row = station, column = offset (outwards positive).

    `light` (n, m, 3) linear RGB; `ratio` (n, m, 3) log of light over ground; `seen` (n, m) bool: within the photo.
    """

    offsets: Array
    light: NDArray[np.float32]
    ratio: NDArray[np.float32]
    seen: NDArray[np.bool_]

    @property
    def step(self) -> float:
        """Pixels from column to column."""
        return float(self.offsets[1] - self.offsets[0])


def unroll(
    linear: NDArray[np.float32], ground: NDArray[np.float32], points: Array, normals: Array, offsets: Array
) -> Strip:
    """Sample a picture (h, w, 3) and its ground along the normals of a contour, all in the picture's pixels."""
    at = points[:, None] + normals[:, None] * offsets[None, :, None]
    x, y = at[..., 0].astype(np.float32), at[..., 1].astype(np.float32)
    light = cv2.remap(linear, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    below = cv2.remap(ground, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    h, w = linear.shape[:2]
    seen = (x >= 0) & (y >= 0) & (x <= w - 1) & (y <= h - 1)
    ratio = np.log((light + DARK) / (below + DARK))
    return Strip(offsets, np.asarray(light, np.float32), np.asarray(ratio, np.float32), seen)


def _along(values: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    out: NDArray[np.float32] = gaussian_filter1d(values, sigma, axis=0, mode="wrap", truncate=3)
    return out


def edge_strength(strip: Strip, blur: float) -> NDArray[np.float32]:
    """How strong a change of colour there is across each pixel of the strip (n, m), in units of the noise and texture
    of the ground beside it.

    A soft shadow changes little from pixel to pixel and counts little; changes of chroma, which shadows do not make,
    count by their own, smaller, noise.
    """
    smooth = _along(strip.ratio, 1.5)
    sigma = blur / strip.step
    slope = gaussian_filter1d(smooth, sigma, axis=1, order=1, truncate=3) / strip.step
    bright = slope.mean(2, keepdims=True)
    parts = np.concatenate([bright, slope[..., :1] - slope[..., 1:2], slope[..., 2:] - slope[..., 1:2]], axis=2)
    outer = parts[:, -max(4, len(strip.offsets) // 4) :].reshape(-1, 3)
    noise = np.median(np.abs(outer), axis=0) * 1.4826 + np.array([0.01, 0.006, 0.006])
    strength: NDArray[np.float32] = np.sqrt(((parts / noise) ** 2).sum(2))
    return strength


def body_likelihood(strip: Strip) -> NDArray[np.float32]:
    """Log of how much likelier each pixel (n, m) is as body than as ground, lit or in shadow; within ±2.

    Ground keeps its chroma when a shadow falls on it and does not get lighter.  The body looks as it does deeper
    inside at the same station, or like anything at all (gloss, pattern).
    """
    ratio = _along(strip.ratio, 1.0)
    light = ratio.mean(2)
    chroma = np.stack([ratio[..., 0] - ratio[..., 1], ratio[..., 2] - ratio[..., 1]], 2)
    m = len(strip.offsets)
    outer, inner = slice(m - max(4, m // 5), m), slice(0, max(3, m // 5))

    def spread(a: NDArray[np.float32], least: float) -> float:
        return max(float(1.4826 * np.median(np.abs(a - np.median(a)))), least)

    u_light = spread(light[:, outer], 0.04)
    u_chroma = np.array([spread(chroma[:, outer, k], 0.015) for k in range(2)])
    middle = np.median(light[:, outer])
    depth = np.clip(middle - light, 0, None)
    # the darker, the less sure its chroma, and light from the sky tints a shadow a little
    wide = u_chroma * (1 + 1.5 * depth[..., None]) + 0.03 * depth[..., None]
    off_chroma = ((chroma / wide) ** 2).sum(2) / 2
    lit = np.exp(-(((light - middle) / u_light) ** 2) / 2) / u_light / 2.5
    shaded = np.where(light < middle, 0.3, 0.3 * np.exp(-(((light - middle) / u_light) ** 2) / 2))
    as_ground = np.log(0.6 * lit + 0.4 * shaded + 1e-6) - off_chroma - np.log(wide.prod(2) * 6.3)
    within = ratio[:, inner]
    colour = np.median(within, axis=1)
    colour = _along(colour, 3.0)[:, None]
    u_body = np.maximum(np.abs(within - colour).mean((0, 1)) * 1.25, [0.1, 0.1, 0.1])
    near = np.exp(-(((ratio - colour) / u_body) ** 2).sum(2) / 2) / (u_body.prod() * 15.7)
    anything = 0.04
    as_body = np.log(0.7 * near + 0.3 * anything)
    out: NDArray[np.float32] = np.clip(as_body - as_ground, -2, 2).astype(np.float32)
    return out
