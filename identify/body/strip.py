"""The band along a contour unrolled into a strip."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array


@dataclass(frozen=True, eq=False)
class Strip:
    """A photo along the normals of a contour: row = station, column = offset (outwards positive).

    `light` (n, m, 3) linear RGB; `seen` (n, m) bool: within the photo.
    """

    light: NDArray[np.float32]
    seen: NDArray[np.bool_]


def unroll(linear: NDArray[np.float32], points: Array, normals: Array, offsets: Array) -> Strip:
    """Sample a picture (h, w, 3) along the normals of a contour, all in the picture's pixels."""
    at = points[:, None] + normals[:, None] * offsets[None, :, None]
    x, y = at[..., 0].astype(np.float32), at[..., 1].astype(np.float32)
    light = cv2.remap(linear, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    h, w = linear.shape[:2]
    seen = (x >= 0) & (y >= 0) & (x <= w - 1) & (y <= h - 1)
    return Strip(np.asarray(light, np.float32), seen)
