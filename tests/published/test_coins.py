"""The 24 coins of `skimage.data.coins()` (Greek coins from Pompeii, Brooklyn Museum), which the documentation of
scikit-image separates in its segmentation examples: a real photograph, whose uneven light the ground model must follow.
"""

from __future__ import annotations

import cv2
import numpy as np
import skimage.data

from identify.photo import Photo
from identify.separate.ground import bare_ground
from identify.separate.morphology import closed, opened


def test_twenty_four_coins() -> None:
    grey = np.asarray(skimage.data.coins())  # type: ignore[no-untyped-call]
    linear = Photo("coins", "", np.dstack([grey] * 3), None).linear()
    ground, step = bare_ground(linear, np.ones(grey.shape, bool))
    move = np.array([[1 / step, 0, 0.5 / step - 0.5], [0, 1 / step, 0.5 / step - 0.5]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    bare = cv2.warpAffine(ground, move, grey.shape[::-1], flags=flags, borderMode=cv2.BORDER_REPLICATE)
    off = np.log(cv2.GaussianBlur(linear, (0, 0), 1.0)[..., 0] + 0.01) - np.log(bare[..., 0] + 0.01)
    things = opened(closed(off > 0.5, 3), 5)
    count, _, stats, _ = cv2.connectedComponentsWithStats(things.astype(np.uint8))
    areas = stats[1:, cv2.CC_STAT_AREA]
    assert count - 1 == 24
    # the smallest coin is about 38 pixels wide, the largest 64: none is a fragment, none are two
    assert areas.min() > 900
    assert areas.max() < 3600
