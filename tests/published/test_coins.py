"""The 24 coins of `skimage.data.coins()` (Greek coins from Pompeii, Brooklyn Museum), which the documentation of
scikit-image separates in its segmentation examples: they must come apart with the primitives of the separate stage.
"""

from __future__ import annotations

import cv2
import numpy as np
import skimage.data

from identify.photo import Photo
from identify.separate.evidence import opened, part, settled_ground


def test_twenty_four_coins() -> None:
    grey = np.asarray(skimage.data.coins())  # type: ignore[no-untyped-call]
    linear = Photo("coins", "", np.dstack([grey] * 3), None).linear()
    floor = 0.06 * float(np.median(linear)) + 0.001
    usable = np.ones(grey.shape, bool)
    ground = settled_ground(linear, floor, usable)
    things = opened(part(linear, ground, usable, grain=6.0) == 2, 5)
    count, _, stats, _ = cv2.connectedComponentsWithStats(things.astype(np.uint8))
    areas = stats[1:, cv2.CC_STAT_AREA]
    assert count - 1 == 24
    # the smallest coin is about 38 pixels wide, the largest 64: none is a fragment, none are two
    assert areas.min() > 900
    assert areas.max() < 3600
