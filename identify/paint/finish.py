"""Finishes whose colour depends on the light: metal leaf on the flank.

Leaf is laid on in crinkled scraps, so the middle of the flank shows a texture of the size of the cracks that the rim's
paint does not.  A noisy photo is rough at the size of a pixel, and on the rim as well; both are taken off.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.card.medians import median, quantile
from identify.geometry import Array

FLANK, RIM = (0.24, 0.68), (0.19, 0.80)
CRINKLED = 0.36
"""L* by which leaf is rougher than the rim."""
TIMES_RIM = 2.5
BRIGHT = 35.0
"""L* that metal lit like the card is never below; in near black paint mere noise is rough in L*."""
STEEP = 2.0
"""Rows whose typical Lab changes more than this to the next lie on an edge of paint."""


def is_leaf(lab: Array, clean: NDArray[np.bool_], profile: Array, s: Array, u: Array) -> bool:
    """Whether the flank is metal leaf.  `clean` (h, w): usable cells without marks and zones of other paint."""
    lightness = lab[..., 0].astype(np.float32)
    detail = lightness - _course(lightness)
    flat = np.linalg.norm(np.gradient(profile, axis=0), axis=1) < STEEP
    inside = clean & ((s > 0.18) & (s < 0.90))
    flank = _roughness(detail, inside & (flat & (u > FLANK[0]) & (u < FLANK[1]))[:, None])
    rim = _roughness(detail, inside & (flat & ((u < RIM[0]) | (u > RIM[1])))[:, None])
    if flank is None or median(lightness[inside]) < BRIGHT:
        return False
    rim = 0.3 if rim is None else max(rim, 0.1)
    return flank - rim > CRINKLED and flank > TIMES_RIM * rim


def _course(lightness: NDArray[np.float32]) -> NDArray[np.float32]:
    """How lightness runs along the body, without detail: of blocks of 5 columns medians of 5."""
    h, w = lightness.shape
    narrow = np.pad(cv2.resize(lightness, (w // 5, h), interpolation=cv2.INTER_AREA), ((0, 0), (2, 2)), "edge")
    middle = np.median([narrow[:, k : k + w // 5] for k in range(5)], axis=0).astype(np.float32)
    return np.asarray(cv2.resize(middle, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)


def _spread(values: NDArray[Any]) -> float:
    return (quantile(values, 0.84) - quantile(values, 0.16)) / 2


def _roughness(detail: NDArray[np.float32], cells: NDArray[np.bool_]) -> float | None:
    """Spread of L* at the scale of three cells, with the part of white noise taken off; None for too few cells."""
    if cells.sum() < 150:
        return None
    fine = _spread(detail[cells])
    coarse = _spread(cv2.blur(detail, (3, 3))[cells])
    structure = coarse**2 - (fine**2 - coarse**2) / 8  # white noise keeps a ninth of its variance in a 3 × 3 mean
    return float(np.sqrt(max(structure, 0.0)))
