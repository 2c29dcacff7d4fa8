"""Photos through a lens that distorts: their stated uncertainty covers what it does to lengths.

The distortion is Brown's (1966) first radial term, written out here apart from the code under test.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
import pytest

from identify.card import find
from identify.geometry import Array, apply_homography
from identify.photo import Photo, read
from identify.settings import Settings
from tests.scenes.test_whole_way import DEMO, measured
from tests.unit.card_scenes import scene


def distorted(photo: Photo, at_corner: float) -> tuple[Photo, Callable[[Array], Array]]:
    """The photo as a lens with r' = r (1 + at_corner (r / R)²) makes it, R being half the diagonal, and where its
    points go.  Positive: pincushion; negative: barrel."""
    h, w = photo.pixels.shape[:2]
    centre = np.array([(w - 1) / 2, (h - 1) / 2])
    k = at_corner / float(centre @ centre)
    yy, xx = np.mgrid[:h, :w].astype(float)
    seen = np.stack([xx, yy], -1) - centre
    true = seen.copy()
    for _ in range(25):
        true = seen / (1 + k * (true**2).sum(-1, keepdims=True))
    source = (true + centre).astype(np.float32)
    pixels = cv2.remap(
        photo.pixels, source[..., 0], source[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )  # fmt: skip

    def move(points: Array) -> Array:
        d = points - centre
        return np.asarray(d * (1 + k * (d**2).sum(1, keepdims=True)) + centre)

    return replace(photo, pixels=np.asarray(pixels, np.uint8)), move


@pytest.mark.parametrize("at_corner", [-0.05, -0.005, 0.005, 0.05])
def test_lengths_away_from_the_card_hold_within_their_uncertainty(at_corner: float) -> None:
    made = scene(px_per_mm=4.5, picture=(1200, 900), offset=(-0.15, 0.1), tilt_deg=5)
    photo, move = distorted(made.photo, at_corner)
    found = find(photo, Settings())
    assert found.card.found, found.card.why_not
    assert found.lens is not None
    assert found.lens.seen == (abs(at_corner) > 0.02)
    assert ("lens-distortion" in {n.code for n in found.warnings}) == found.lens.seen
    held = []
    for middle in ((0.0, 45.0), (60.0, 40.0), (110.0, -20.0), (60.0, -50.0), (20.0, -60.0)):
        for half in (np.array([30.0, 0.0]), np.array([0.0, 30.0]), np.array([20.0, 20.0])):
            ends = move(apply_homography(made.to_px, np.array([middle - half, middle + half])))
            length = float(np.hypot(*np.diff(found.to_mm(ends), axis=0)[0])) / (2 * float(np.hypot(*half)))
            held.append(abs(length - 1) <= 2 * math.hypot(found.scale_u, found.lens.u(ends[0], ends[1])))
    assert np.mean(held) >= 0.85


def test_the_further_from_the_card_the_less_sure() -> None:
    made = scene(px_per_mm=4.5, picture=(1200, 900), offset=(0.0, 0.0), tilt_deg=0)
    lens = find(made.photo, Settings()).lens
    assert lens is not None
    near, far = (lens.u((x - 100, y), (x + 100, y)) for x, y in ((600, 620), (1050, 820)))
    assert near < 0.004
    assert far > 2 * near


@pytest.mark.parametrize("at_corner", [-0.03, 0.03])
def test_a_bait_measured_through_it(at_corner: float) -> None:
    photo = read(DEMO)
    plain, bent = measured(photo), measured(distorted(photo, at_corner)[0])
    for a, b in ((plain.length_mm, bent.length_mm), (plain.depth_mm, bent.depth_mm)):
        assert a is not None and b is not None
        assert abs(a.value - b.value) <= 2 * math.hypot(a.u, b.u)
        assert "lens distortion" in {p.what for p in b.parts}
