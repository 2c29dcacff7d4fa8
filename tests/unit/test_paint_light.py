"""What tells where the light comes from: the shadow beside the bait, the ground round the card, the flank itself."""

from __future__ import annotations

import numpy as np
import pytest

from identify.calibration import Calibration
from identify.encoding import srgb_encode
from identify.paint.gloss import washed_out
from identify.paint.layers import find_layers
from identify.paint.level import light_level
from identify.paint.shading import fit_shading
from identify.paint.shadow import light_from_shadow
from identify.photo import Photo
from identify.records import Card, Scale
from identify.stages import Body, Pose, Region

W, H = 400, 260


def photo_of(linear) -> Photo:
    return Photo("drawn", "", (srgb_encode(np.clip(linear, 0, 1)) * 255 + 0.5).astype(np.uint8), None)


def lying(shadow_side, back_is_left=True):
    """A dark slab from (100, 100) to (300, 160) with a shadow of half the light, 20 px wide, above or below it."""
    linear = np.full((H, W, 3), 0.5)
    y, x = np.mgrid[0:H, 0:W]
    beside = (x >= 100) & (x < 300)
    if shadow_side == "below":
        linear[beside & (y >= 160) & (y < 180)] *= 0.5
    elif shadow_side == "above":
        linear[beside & (y >= 80) & (y < 100)] *= 0.5
    body = beside & (y >= 100) & (y < 160)
    linear[body] = 0.1
    outline = np.array([[100, 100], [300, 100], [300, 160], [100, 160]], float)
    region = Region((0, 0, W, H), 1, body, body, np.full((H, W, 3), 0.5, np.float32), False)
    pose = Pose((100.0, 130.0), (300.0, 130.0), back_is_left, 1.0, 1.0, (), (), None, 0.0, (1.0, 0, 0, 0, 0, 0))
    return photo_of(linear), region, Body(outline, np.ones(4, bool), 0.3), pose


def test_a_shadow_on_the_belly_side_means_light_from_the_back() -> None:
    _, gy = light_from_shadow(*lying("below"), thickness_px=40.0)
    assert gy == pytest.approx(0.5 * 20 / 40 / 0.5, abs=0.12)
    _, other = light_from_shadow(*lying("above"), thickness_px=40.0)
    assert other == pytest.approx(-gy, abs=0.02)
    _, turned = light_from_shadow(*lying("below", back_is_left=False), thickness_px=40.0)
    assert turned == pytest.approx(-gy, abs=0.02)


def test_no_shadow_no_lean() -> None:
    assert light_from_shadow(*lying("none"), thickness_px=40.0) == pytest.approx((0.0, 0.0), abs=0.03)


def carded(left, right, tint=(1.0, 1.0, 1.0)):
    """Ground whose light differs between the bait's half (left) and the card's half (right)."""
    linear = np.full((H, W, 3), left)
    linear[:, 200:] = np.array(tint) * right
    linear[100:160, 260:350] = 0.18
    corners = ((260.0, 100.0), (350.0, 100.0), (350.0, 160.0), (260.0, 160.0))
    mask = np.zeros((H, 150), bool)
    mask[100:160, 40:120] = True
    region = Region((0, 0, 150, H), 1, mask, mask, np.full((H, 150, 3), left, np.float32), False)
    card = Card(True, corners, 1.0, 0.0, None, 0.0, (1.0, 1.0, 1.0), None)
    flat = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    cal = Calibration(card, Scale("card", 1.0, 0.01), flat, None, 0.01, 0.76, (1.0, 1.0, 1.0), 1.0, True, 0.02)
    return photo_of(linear), region, cal


def test_uneven_light_is_read_off_the_ground() -> None:
    assert light_level(*carded(0.44, 0.40)) == pytest.approx(1.1, abs=0.02)


def test_another_ground_under_the_card_is_not_taken_for_light() -> None:
    assert light_level(*carded(0.44, 0.20)) == 1.0
    assert light_level(*carded(0.44, 0.40, tint=(1.0, 0.8, 0.5))) == 1.0


def test_the_light_is_found_from_the_flank_alone() -> None:
    u = (np.arange(64) + 0.5) / 64
    s = np.linspace(-0.5, 0.5, 160)
    r = 2 * u - 1
    slope = 0.65 * r / np.sqrt(1 - r**2)
    n = np.stack([np.broadcast_to(s, (64, 160)), np.broadcast_to(slope[:, None], (64, 160)), np.ones((64, 160))], -1)
    n /= np.linalg.norm(n, axis=-1, keepdims=True)
    lit = 0.25 * (1 + n[..., 2]) / 2 + 0.75 * np.maximum(n[..., 2] + 0.4 * n[..., 0] + 0.8 * n[..., 1], 0)
    paint = np.where(u > 0.6, 0.15, 0.6)[:, None]
    rgb = np.repeat((paint * lit)[..., None], 3, axis=2).astype(np.float32)
    zone = np.where(np.abs(r) < 0.9, np.where(u > 0.6, 0, 1), -1)[:, None] * np.ones((1, 160), int)
    found = fit_shading(rgb, n, np.array([0.0, 0.0, 1.0]), zone, (0.2, 0.5))
    assert found.light[0] == pytest.approx(0.4, abs=0.15) and found.light[1] == pytest.approx(0.8, abs=0.15)
    assert np.exp(found.log_luminance) == pytest.approx([0.15, 0.6], rel=0.1)


def test_mirrored_lamp_is_told_from_bright_paint() -> None:
    rgb = np.full((40, 40, 3), (0.05, 0.12, 0.04), np.float32)
    rgb[:, 30:] *= 1.6  # better lit
    rgb[10:14] += 0.2  # a lamp
    washed = washed_out(rgb, np.zeros((40, 40), int))
    assert washed[10:14].all() and not washed[:10].any() and not washed[14:].any()


def test_layers_find_the_border_where_it_is() -> None:
    u, s = (np.arange(64) + 0.5) / 64, (np.arange(160) + 0.5) / 160
    for border in (0.3, 0.75):
        lab = np.where((u > border)[:, None, None], (40.0, -2.0, -30.0), (84.0, 1.0, 14.0)) * np.ones((64, 160, 3))
        layers = find_layers(lab, np.ones((64, 160), bool), s, u, 0.5)
        assert layers.border == pytest.approx(border, abs=0.03)
        assert not layers.back[u < border].any() and not layers.belly[u > border].any()
