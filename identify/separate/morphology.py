"""Growing and shrinking masks by discs, by Euclidean distance."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_EUCLID = (cv2.DIST_L2, 5)
Mask = NDArray[np.bool_]


def shrunk(mask: Mask, radius: float) -> Mask:
    """Erosion by a disc; the picture's rim does not erode."""
    away = cv2.distanceTransform(cv2.copyMakeBorder(mask.astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_REPLICATE), *_EUCLID)
    eroded: Mask = away[1:-1, 1:-1] > radius
    return eroded


def grown(mask: Mask, radius: float) -> Mask:
    """Dilation by a disc."""
    if not mask.any():
        return mask.copy()
    dilated: Mask = cv2.distanceTransform((~mask).astype(np.uint8), *_EUCLID) <= radius
    return dilated


def opened(mask: Mask, radius: float) -> Mask:
    """Morphological opening by a disc."""
    return grown(shrunk(mask, radius), radius)


def closed(mask: Mask, radius: float) -> Mask:
    """Morphological closing by a disc."""
    return ~opened(~mask, radius)
