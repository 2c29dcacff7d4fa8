"""The 24 coins of `skimage.data.coins()` (Greek coins from Pompeii, Brooklyn Museum), which the documentation of
scikit-image separates in its segmentation examples: a real photograph, whose uneven light the ground model must follow.
"""

from __future__ import annotations

import cv2
import numpy as np
import skimage.data

from identify.photo import Photo
from identify.separate.ground import as_plane, settled_ground
from identify.separate.morphology import closed, opened


def test_twenty_four_coins() -> None:
    grey = np.asarray(skimage.data.coins())  # type: ignore[no-untyped-call]
    linear = Photo("coins", "", np.dstack([grey] * 3), None).linear()
    floor = 0.06 * float(np.median(linear)) + 0.001
    ground = settled_ground(linear, floor, np.ones(grey.shape, bool))
    off = as_plane(cv2.GaussianBlur(ground.stand_off(linear), (0, 0), 1.0))
    things = opened(closed(off[..., 0] > 1.5 * ground.bright, 3), 5)
    count, _, stats, _ = cv2.connectedComponentsWithStats(things.astype(np.uint8))
    areas = stats[1:, cv2.CC_STAT_AREA]
    assert count - 1 == 24
    # the smallest coin is about 38 pixels wide, the largest 64: none is a fragment, none are two
    assert areas.min() > 900
    assert areas.max() < 3600
