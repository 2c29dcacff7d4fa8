"""Drawn scenes: a bait-like ellipse with wire on grounds of several kinds, its shadow, and other things."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from identify.calibration import Calibration
from identify.geometry import Array
from identify.photo import Photo
from identify.records import Card, Scale
from identify.separate import separate
from identify.settings import Settings
from identify.stages import Separation

H, W = 480, 640
PX_PER_MM = 4.0


def no_scale() -> Calibration:
    card = Card(False, None, None, None, None, None, None, "no card")
    return Calibration(card, Scale("none", None, None), None, None, 0.0, 0.8, (1.0, 1.0, 1.0), 1.0, False, 1.0)


def scaled() -> Calibration:
    card = Card(False, None, None, None, None, None, None, "no card")
    k = 1 / PX_PER_MM
    plane = ((k, 0.0, 0.0), (0.0, k, 0.0), (0.0, 0.0, 1.0))
    return Calibration(
        card, Scale("line", PX_PER_MM, 0.01), plane, None, 0.01, 0.8, (1.0, 1.0, 1.0), 1.0, False, 1.0
    )  # fmt: skip


def to_photo(linear: Array) -> Photo:
    srgb = np.where(linear <= 0.0031308, linear * 12.92, 1.055 * np.clip(linear, 0, 1) ** (1 / 2.4) - 0.055)
    return Photo("drawn", "", np.round(np.clip(srgb, 0, 1) * 255).astype(np.uint8), None)


def ground(kind: str) -> Array:
    rng = np.random.default_rng(5)
    y, x = np.mgrid[0:H, 0:W]
    light = 1 - 0.35 * x / W - 0.1 * (y / H) ** 2
    if kind == "wood":
        grain = 0.18 * np.sin(y / 5 + 2 * np.sin(x / 90)) + 0.05 * rng.standard_normal((H, W))
        return np.asarray(
            np.array([0.45, 0.24, 0.10]) * (light * np.exp(grain))[..., None] ** np.array([1.0, 1.05, 1.1])
        )
    if kind == "felt":
        rough = cv2.GaussianBlur(rng.standard_normal((H, W)), (0, 0), 1.0)
        return np.asarray(np.array([0.22, 0.22, 0.21]) * (light * np.exp(0.25 * rough))[..., None])
    noise = np.exp(0.01 * rng.standard_normal((H, W)))
    colour = {"paper": [0.75, 0.73, 0.68], "blue": [0.03, 0.08, 0.25]}[kind]
    return np.asarray(np.array(colour) * (light * noise)[..., None])


def ellipse(centre: tuple[int, int], axes: tuple[int, int], angle: float = 0.0) -> NDArray[np.bool_]:
    mask = np.zeros((H, W), np.uint8)
    cv2.ellipse(mask, centre, axes, angle, 0, 360, 1, -1)
    return mask > 0


def put_bait(scene: Array, centre: tuple[int, int] = (320, 240), angle: float = 12.0) -> NDArray[np.bool_]:
    """Draw a bait of 60 × 17 mm with a soft shadow, a ring and a hook; returns its body."""
    body = ellipse(centre, (120, 34), angle)
    shadow = np.roll(body, (16, 14), (0, 1)).astype(float)
    scene *= (1 - 0.6 * cv2.GaussianBlur(shadow, (0, 0), 6.0))[..., None]
    hook = np.zeros((H, W), np.uint8)
    foot = (centre[0] + 20, centre[1] + 30)
    cv2.line(hook, foot, (foot[0], foot[1] + 50), 1, 3)
    cv2.ellipse(hook, (foot[0] + 12, foot[1] + 50), (12, 14), 0, 0, 180, 1, 3)
    scene[hook > 0] = [0.16, 0.15, 0.14]
    y = np.mgrid[0:H, 0:W][0]
    shade = 0.55 + 0.45 * np.clip((centre[1] + 34 - y) / 68, 0, 1)
    paint = np.where((y < centre[1])[..., None], [0.05, 0.16, 0.06], [0.62, 0.45, 0.08])
    scene[body] = (paint * shade[..., None])[body]
    return body


def iou(found: Separation, index: int, body: NDArray[np.bool_]) -> float:
    region = found.regions[index]
    assert region.shrink == 1
    whole = np.zeros(body.shape, bool)
    x0, y0, x1, y1 = region.window
    whole[y0:y1, x0:x1] = region.core
    return float((whole & body).sum() / (whole | body).sum())


@pytest.mark.parametrize("kind", ["paper", "felt", "wood", "blue"])
def test_bait_without_its_shadow_on_each_ground(kind: str) -> None:
    scene = ground(kind)
    body = put_bait(scene)
    found = separate(to_photo(np.asarray(cv2.GaussianBlur(scene, (0, 0), 0.7))), scaled(), Settings())
    assert len(found.regions) == 1
    assert iou(found, 0, body) > 0.92


def test_hook_is_in_the_mask_but_not_in_the_core() -> None:
    scene = ground("paper")
    put_bait(scene)
    region = separate(to_photo(scene), scaled(), Settings()).regions[0]
    column, row = np.round(region.from_photo([(340, 305)])[0]).astype(int)
    near = np.s_[row - 3 : row + 4, column - 3 : column + 4]
    assert region.mask[near].any()
    assert not region.core[near].any()
    assert not (region.core & ~region.mask).any() or (region.core & ~region.mask).sum() < 0.02 * region.core.sum()


def test_ground_is_what_lies_under_the_shadow() -> None:
    bare = ground("paper")
    scene = bare.copy()
    put_bait(scene)
    region = separate(to_photo(scene), scaled(), Settings()).regions[0]
    x0, y0, x1, y1 = region.window
    assert np.allclose(region.ground, bare[y0:y1, x0:x1], rtol=0.12)
    assert not region.mask.flags.writeable


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turning_the_picture_turns_the_core(turns: int) -> None:
    scene = ground("felt")
    body = put_bait(scene)
    turned = separate(to_photo(np.rot90(scene, turns).copy()), no_scale(), Settings())
    assert len(turned.regions) == 1
    assert iou(turned, 0, np.rot90(body, turns)) > 0.9


@pytest.mark.parametrize("tint", [(1.0, 0.75, 0.45), (0.6, 0.85, 1.0)])
def test_tint_of_the_light_changes_nothing(tint: tuple[float, float, float]) -> None:
    scene = ground("paper")
    body = put_bait(scene)
    found = separate(to_photo(scene * np.array(tint)), scaled(), Settings())
    assert len(found.regions) == 1
    assert iou(found, 0, body) > 0.92


def test_other_things_are_set_aside_with_a_reason() -> None:
    scene = ground("paper")
    scene[40:140, 60:240] = [0.10, 0.20, 0.50]
    cv2.circle(scene, (520, 100), 40, (0.55, 0.35, 0.08), -1)
    cv2.line(scene, (40, 420), (300, 450), (0.5, 0.03, 0.03), 16)
    body = put_bait(scene, (380, 300), -15.0)
    found = separate(to_photo(scene), scaled(), Settings())
    assert len(found.regions) == 1
    assert iou(found, 0, body) > 0.9
    reasons = " | ".join(s.reason for s in found.set_aside)
    assert len(found.set_aside) == 3
    for word in ("straight", "coin", "slender"):
        assert word in reasons


def test_baits_come_in_reading_order() -> None:
    scene = ground("felt")
    for centre in ((470, 110), (160, 120), (320, 360)):
        put_bait(scene, centre, 0.0)
    found = separate(to_photo(scene), scaled(), Settings())
    middles = [((r.window[0] + r.window[2]) / 2, (r.window[1] + r.window[3]) / 2) for r in found.regions]
    assert len(middles) == 3
    assert middles[0][0] < middles[1][0] and middles[2][1] > max(middles[0][1], middles[1][1])


@pytest.mark.parametrize("shape", [(30, 30), (1, 1), (300, 400), (5, 900)])
@pytest.mark.parametrize("fill", ["black", "white", "noise"])
def test_pictures_of_nothing(shape: tuple[int, int], fill: str) -> None:
    rng = np.random.default_rng(1)
    pixels = {
        "black": np.zeros((*shape, 3)),
        "white": np.full((*shape, 3), 255.0),
        "noise": 255 * rng.random((*shape, 3)),
    }
    found = separate(Photo("x", "", pixels[fill].astype(np.uint8), None), no_scale(), Settings())
    assert found.regions == ()
    assert [w.code for w in found.warnings] == ["no-bait"]
