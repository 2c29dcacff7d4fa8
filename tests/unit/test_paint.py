"""Colours of a drawn bait: known paint under known light must come back, whatever side the light comes from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from identify.calibration import Calibration
from identify.colour import delta_e, lab_to_linear
from identify.encoding import srgb_encode
from identify.paint import read
from identify.photo import Photo
from identify.records import Card, Quantity, Scale, Thickness
from identify.stages import Body, Hardware, Paint, Pose, Region, Sizing

W, H, PPM = 720, 300, 9.0
LENGTH, DEPTH = 560.0, 150.0
X0, YC = 80.0, 150.0
BLUE, IVORY, PLUM, MOSS = (40.0, -2.0, -30.0), (84.0, 1.0, 14.0), (30.0, 24.0, -10.0), (40.0, -17.0, 27.0)


def half_depth(t):
    return DEPTH / 2 * np.sqrt(np.clip(1 - (2 * t - 1) ** 4, 0, 1))


def draw(paint, light=(0.0, 0.0, 0.3), seed=1):
    """A lenticular bait, nose left, back up, painted by `paint(s, u)` -> Lab, under light (g_x, g_y towards the back,
    ambient share)."""
    x, y = np.meshgrid(np.arange(W, dtype=float), np.arange(H, dtype=float))
    s = (x - X0) / LENGTH
    half = np.maximum(half_depth(s), 1e-3)
    r = (YC - y) / half
    inside = (np.abs(r) < 1) & (s > 0) & (s < 1)
    z = np.where(inside, 0.65 * half * np.sqrt(np.clip(1 - r**2, 0, 1)), 0)
    zy, zx = np.gradient(z)
    n = np.stack([-zx, zy, np.ones_like(z)], -1)  # towards tail, back, camera
    n /= np.linalg.norm(n, axis=-1, keepdims=True)
    gx, gy, a = light
    lit = np.maximum(n[..., 2] + gx * n[..., 0] + gy * n[..., 1], 0)
    f = a * (1 + n[..., 2]) / 2 + (1 - a) * lit
    rgb = lab_to_linear(paint(np.clip(s, 0, 1), np.clip((r + 1) / 2, 0, 1))) * f[..., None]
    linear = np.where(inside[..., None], rgb, 0.35)
    noise = np.random.default_rng(seed).normal(0, 0.006, linear.shape)
    pixels = np.clip(srgb_encode(np.clip(linear + noise * np.sqrt(linear), 0, 1)) * 255 + 0.5, 0, 255).astype(np.uint8)
    t = np.linspace(0, 1, 300)
    top = np.column_stack([X0 + LENGTH * t, YC - half_depth(t)])
    low = np.column_stack([X0 + LENGTH * t, YC + half_depth(t)])[::-1]
    outline = np.vstack([top, low])
    body = Body(outline, np.ones(len(outline), bool), 0.3)
    nose, tail = (X0, YC), (X0 + LENGTH, YC)
    sizing = Sizing(
        (nose, tail), Quantity(LENGTH / PPM, 0.2), Quantity(DEPTH / PPM, 0.2), Quantity(DEPTH / LENGTH, 0.01),
        Thickness(0.65 * DEPTH / PPM, 1.0), 6.0, PPM,
    )  # fmt: skip
    region = Region((0, 0, W, H), 1, inside, inside, np.full((H, W, 3), 0.35, np.float32), False)
    pose = Pose(nose, tail, True, 0.99, 0.99, (), (), None, 0.0, (1.0, 0, 0, 0, 0, 0))
    return Photo("drawn", "", pixels, None), region, body, sizing, Hardware((), (), (), ()), pose


def calibration(from_card=True):
    card = Card(from_card, None, PPM, 0.0, None, 0.0, (1.0, 1.0, 1.0), None)
    flat = ((1 / PPM, 0.0, 0.0), (0.0, 1 / PPM, 0.0), (0.0, 0.0, 1.0))
    scale = Scale("card", PPM, 0.01)
    return Calibration(card, scale, flat, None, 0.001, 0.76, (1.0, 1.0, 1.0), 1.0, from_card, 0.02)


def measure(paint, light=(0.0, 0.0, 0.3), from_card=True) -> Paint:
    return read(*draw(paint, light), calibration(from_card))


def two(back, belly, border=0.56, soft=0.02):
    def paint(s, u):
        k = np.clip((u - border) / (2 * soft) + 0.5, 0, 1)[..., None]
        return np.asarray(belly) * (1 - k) + np.asarray(back) * k

    return paint


def far(colour, lab):
    return float(delta_e(colour.lab, lab))


@pytest.mark.parametrize("light", [(0.0, 0.0, 0.3), (0.3, 0.8, 0.25), (-0.4, -0.7, 0.2)])
@pytest.mark.parametrize(("back", "belly"), [(BLUE, IVORY), (IVORY, BLUE)])
def test_back_and_belly_come_back_under_light_from_any_side(light, back, belly) -> None:
    paint = measure(two(back, belly), light)
    assert paint.back is not None and paint.belly is not None
    assert far(paint.back, back) < 5 and far(paint.back, back) < 2.5 * paint.back.u
    assert far(paint.belly, belly) < 5 and far(paint.belly, belly) < 2.5 * paint.belly.u
    assert paint.zones == () and paint.hard_to_read == () and paint.warnings == ()


def test_a_bait_of_one_colour_is_not_split_by_its_shading() -> None:
    paint = measure(two(MOSS, MOSS), (0.0, 0.7, 0.25))
    assert paint.back is not None and paint.belly is not None
    assert float(delta_e(paint.back.lab, paint.belly.lab)) < 4
    assert far(paint.back, MOSS) < 6


def test_hard_edge_is_plain_and_soft_edge_is_blend() -> None:
    hard, soft = measure(two(BLUE, IVORY, soft=0.02)), measure(two(BLUE, IVORY, soft=0.17))
    assert hard.pattern is not None and hard.pattern.kind == "plain" and hard.pattern.certainty > 0.8
    assert soft.pattern is not None and soft.pattern.kind == "blend" and soft.pattern.certainty > 0.8
    assert soft.back is not None and far(soft.back, BLUE) < 5


def with_zone(kind):
    ground = two(BLUE, IVORY)

    def paint(s, u):
        where = {
            "head": s < 0.18,
            "tail": s > 0.83,
            "throat": np.hypot((s - 0.14) / 0.14, u / 0.4) < 1,
            "side": np.abs(u - 0.48) < 0.12 * np.sqrt(np.clip(1 - ((s - 0.55) / 0.41) ** 2, 0, 1)),
        }[kind]
        return np.where(where[..., None], np.asarray(PLUM), ground(s, u))

    return paint


@pytest.mark.parametrize("kind", ["head", "tail", "throat", "side"])
def test_zones_of_other_paint_are_found_and_leave_back_and_belly_alone(kind) -> None:
    paint = measure(with_zone(kind))
    assert [z.kind for z in paint.zones] == [kind]
    assert far(paint.zones[0].colour, PLUM) < 7
    assert paint.back is not None and far(paint.back, BLUE) < 5
    assert paint.belly is not None and far(paint.belly, IVORY) < 5
    x = np.array(paint.zones[0].polygon_px)[:, 0]
    inside = {"head": x.max() < 225, "tail": x.min() > 500, "throat": x.max() < 280, "side": x.min() > 100}
    assert inside[kind]


def marked(kind):
    ground = two(MOSS, MOSS)
    rng = np.random.default_rng(4)
    spots = [(s, u) for s in np.linspace(0.24, 0.88, 8) for u in (0.42, 0.66)]
    spots = [(s + rng.normal(0, 0.006), u) for s, u in spots]

    def paint(s, u):
        if kind == "dots":
            hit = np.min([np.hypot((s - a) * LENGTH, (u - b) * DEPTH) for a, b in spots], axis=0) < 8
        else:
            hit = (np.min([np.abs(s - a) for a in np.linspace(0.22, 0.9, 7)], axis=0) < 0.016) & (u > 0.5)
        return np.where(hit[..., None], np.asarray(IVORY), ground(s, u))

    return paint


@pytest.mark.parametrize("kind", ["dots", "bars"])
def test_dots_and_bars_are_told_apart_and_kept_out_of_the_paint(kind) -> None:
    paint = measure(marked(kind))
    assert paint.pattern is not None and paint.pattern.kind == kind
    assert paint.pattern.lab is not None and float(delta_e(paint.pattern.lab, IVORY)) < 8
    assert 0.02 < paint.pattern.coverage < 0.3
    assert paint.back is not None and far(paint.back, MOSS) < 5


def barred(down: bool, width: float, spread: float, colour):
    """Triangular bars from the back down or from the belly up, fainter than dots, as unevenly as a hand paints them."""
    ground = two(MOSS, IVORY)
    rng = np.random.default_rng(5)
    at = np.linspace(0.22, 0.88, 7) + rng.normal(0, spread, 7)

    def paint(s, u):
        depth = (1 - u) if down else u
        hit = np.min([np.abs(s - a) for a in at], axis=0) < width * np.clip(1 - depth / 0.55, 0, 1)
        return np.where(hit[..., None], np.asarray(colour), ground(s, u))

    return paint


@pytest.mark.parametrize("down", [True, False])
@pytest.mark.parametrize(("width", "spread"), [(0.015, 0.0), (0.02, 0.008), (0.03, 0.012)])
def test_bars_that_taper_are_bars(down: bool, width: float, spread: float) -> None:
    paint = measure(barred(down, width, spread, BLUE))
    assert paint.pattern is not None and (paint.pattern.kind, paint.pattern.lab is None) == ("bars", False)
    assert paint.pattern.certainty > 0.6 and 0.01 < paint.pattern.coverage < 0.35
    assert paint.back is not None and far(paint.back, MOSS) < 6
    assert paint.belly is not None and far(paint.belly, IVORY) < 6


def test_knocks_here_and_there_are_no_bars() -> None:
    ground = two(MOSS, IVORY)

    def paint(s, u):
        hit = np.min([np.hypot((s - a) * 4, u - b) for a, b in ((0.3, 0.8), (0.37, 0.6), (0.7, 0.85))], axis=0) < 0.12
        return np.where(hit[..., None], np.asarray(IVORY), ground(s, u))

    found = measure(paint).pattern
    assert found is not None and found.kind != "bars"


def test_without_a_card_the_colours_stay_with_more_doubt_and_a_warning() -> None:
    told, untold = measure(two(BLUE, IVORY)), measure(two(BLUE, IVORY), from_card=False)
    assert "colour-uncorrected" in [w.code for w in untold.warnings]
    assert told.back is not None and untold.back is not None and untold.back.u > 2 * told.back.u


def test_crinkled_leaf_is_flagged() -> None:
    import cv2

    rng = np.random.default_rng(3)
    rough = cv2.GaussianBlur(rng.standard_normal((H, W)), (0, 0), 5.0)
    rough = rough / rough.std()

    def paint(s, u):
        lab = two((38.0, -2.0, -34.0), (78.0, -1.0, 2.0), soft=0.05)(s, u)
        leaf = (u > 0.2) & (u < 0.7) & (s > 0.12) & (s < 0.93)
        lab[..., 0] += np.where(leaf, 4.0 * rough, 0.0)
        return lab

    paint_read = measure(paint)
    assert paint_read.hard_to_read == ("leaf",) and "hard-to-read" in [w.code for w in paint_read.warnings]


def test_a_turned_picture_reads_the_same() -> None:
    photo, region, body, sizing, hardware, pose = draw(two(BLUE, IVORY), (0.2, 0.6, 0.25))
    first = read(photo, region, body, sizing, hardware, pose, calibration())
    half = np.array([W - 1, H - 1], float)
    a, b = half - np.array(pose.nose_px), half - np.array(pose.tail_px)
    nose, tail = (float(a[0]), float(a[1])), (float(b[0]), float(b[1]))
    second = read(
        replace(photo, pixels=photo.pixels[::-1, ::-1]),
        region,
        replace(body, outline_px=half - body.outline_px),
        replace(sizing, ends_px=(nose, tail)),
        hardware,
        replace(pose, nose_px=nose, tail_px=tail),
        calibration(),
    )
    assert first.back is not None and second.back is not None
    assert float(delta_e(first.back.lab, second.back.lab)) < 1.0
