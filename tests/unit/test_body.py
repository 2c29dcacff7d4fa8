"""The body's outline on drawn scenes whose true outline is known in closed form."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from identify.body import trace
from identify.calibration import Calibration
from identify.geometry import Array, extent_across, max_feret, polygon_area
from identify.photo import Photo
from identify.records import Card, Scale
from identify.stages import Region

NO_SCALE = Calibration(
    Card(False, None, None, None, None, None, None, "no card"),
    Scale("none", None, None),
    None,
    None,
    0.0,
    0.76,
    (1.0, 1.0, 1.0),
    1.0,
    False,
    1.0,
)
CENTRE = np.array([210.3, 120.6])
A, B, TURN = 150.4, 40.7, 0.3
GROUND = np.array([0.5, 0.48, 0.44])


def inside(shape: tuple[int, int], a: float = A, b: float = B) -> NDArray[np.float32]:
    """Anti-aliased picture of the ellipse, 4 × 4 samples a pixel."""
    yy, xx = (np.mgrid[: shape[0] * 4, : shape[1] * 4] + 0.5) / 4 - 0.5
    u = (xx - CENTRE[0]) * np.cos(TURN) + (yy - CENTRE[1]) * np.sin(TURN)
    v = -(xx - CENTRE[0]) * np.sin(TURN) + (yy - CENTRE[1]) * np.cos(TURN)
    fine = ((u / a) ** 2 + (v / b) ** 2 < 1).astype(np.float32)
    return np.asarray(cv2.resize(fine, shape[::-1], interpolation=cv2.INTER_AREA), np.float32)


def picture(
    body: tuple[float, float, float] = (0.1, 0.2, 0.4),
    wires: bool = False,
    shadow: bool = False,
    blur: float = 0.8,
    shape: tuple[int, int] = (240, 420),
) -> tuple[Photo, Region]:
    rng = np.random.default_rng(7)
    linear = np.broadcast_to(GROUND, (*shape, 3)).astype(np.float32).copy()
    if shadow:
        shade = cv2.GaussianBlur(inside(shape), (0, 0), 5)
        moved = cv2.warpAffine(shade, np.float32([[1, 0, 4], [0, 1, 12]]), shape[::-1])
        linear *= (1 - 0.6 * moved)[..., None]
    m = inside(shape)[..., None]
    linear = linear * (1 - m) + np.float32(body) * m
    mask = inside(shape) > 0.5
    if wires:
        for x, y in ((CENTRE[0] + (A + 5) * np.cos(TURN), CENTRE[1] + (A + 5) * np.sin(TURN)), (190.0, 74.0)):
            ring = np.zeros(shape, np.uint8)
            cv2.circle(ring, (round(x), round(y)), 8, 255, 4, cv2.LINE_AA)
            linear = linear * (1 - ring[..., None] / 255) + 0.75 * ring[..., None] / 255
            mask |= ring > 127
    linear = cv2.GaussianBlur(linear, (0, 0), blur) + rng.normal(0, 0.004, linear.shape)
    encoded = np.where(linear < 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-6) ** (1 / 2.4) - 0.055)
    pixels = np.clip(encoded * 255 + 0.5, 0, 255).astype(np.uint8)
    photo = Photo("drawn", "0" * 64, pixels, None)
    h, w = shape[0] // 2, shape[1] // 2
    core = cv2.resize(inside(shape, A - 5, B + 3), (w, h), interpolation=cv2.INTER_AREA) > 0.5
    small = cv2.resize(mask.astype(np.float32), (w, h), interpolation=cv2.INTER_AREA) > 0.5
    ground = np.broadcast_to(GROUND, (h, w, 3)).astype(np.float32)
    return photo, Region((0, 0, shape[1], shape[0]), 2, small, core, ground, False)


def distance(points: Array) -> Array:
    """Signed distance of points from the ellipse, outwards positive, to first order."""
    turn = np.array([[np.cos(TURN), -np.sin(TURN)], [np.sin(TURN), np.cos(TURN)]])
    u, v = ((points - CENTRE) @ turn).T
    f = (u / A) ** 2 + (v / B) ** 2 - 1
    away: Array = f / np.hypot(2 * u / A**2, 2 * v / B**2)
    return away


@pytest.mark.parametrize("blur", [0.6, 1.2])
def test_plain_body_is_traced_to_a_tenth_of_a_pixel(blur: float) -> None:
    body = trace(*picture(blur=blur), NO_SCALE)
    assert np.abs(distance(body.outline_px)).max() < 0.35
    assert abs(distance(body.outline_px).mean()) < 0.1
    a, b = max_feret(body.outline_px)
    assert np.hypot(*(b - a)) == pytest.approx(2 * A, rel=0.002)
    assert extent_across(body.outline_px, a, b) == pytest.approx(2 * B, rel=0.004)
    assert body.clear.mean() > 0.95
    assert body.warnings == ()


def test_outline_runs_clockwise_as_seen() -> None:
    body = trace(*picture(), NO_SCALE)
    assert polygon_area(body.outline_px) > 0  # y points down
    assert 200 <= len(body.outline_px) <= 400 and len(body.clear) == len(body.outline_px)


def test_rings_at_the_end_and_on_the_back_do_not_lengthen_the_body() -> None:
    body = trace(*picture(wires=True), NO_SCALE)
    a, b = max_feret(body.outline_px)
    assert np.hypot(*(b - a)) == pytest.approx(2 * A, rel=0.012)
    assert np.abs(distance(body.outline_px)).max() < 2
    assert not body.clear.all()


def test_soft_shadow_is_not_body() -> None:
    body = trace(*picture(shadow=True), NO_SCALE)
    assert np.abs(distance(body.outline_px)).max() < 1


def test_dark_body_on_pale_ground_and_pale_body_are_found_alike() -> None:
    for colour in ((0.02, 0.02, 0.02), (0.8, 0.7, 0.2)):
        body = trace(*picture(body=colour), NO_SCALE)
        assert abs(distance(body.outline_px).mean()) < 0.15


def test_region_of_nothing_gives_its_rectangle_and_says_so() -> None:
    photo, region = picture()
    nothing = np.zeros_like(region.mask)
    body = trace(photo, Region(region.window, region.shrink, nothing, nothing, region.ground, False), NO_SCALE)
    assert not body.clear.any()
    assert [w.code for w in body.warnings] == ["outline-unclear"]


def test_body_cut_by_the_frame_is_bridged_along_it_and_said_so() -> None:
    photo, region = picture()
    cut = Photo("cut", photo.sha256, photo.pixels[:, :300], None)
    half = region.mask.shape[1] * 300 // 420
    part = Region(
        (0, 0, 300, 240), 2, region.mask[:, :half], region.core[:, :half], region.ground[:, :half].copy(), True
    )
    body = trace(cut, part, NO_SCALE)
    assert body.outline_px[:, 0].max() <= 299
    at_frame = body.outline_px[:, 0] > 297
    assert at_frame.any() and not body.clear[at_frame].any()
    assert "touches-edge" in [w.code for w in body.warnings]
    assert np.abs(distance(body.outline_px[body.outline_px[:, 0] < 270])).max() < 0.6


@pytest.mark.parametrize("pixels", [1, 4, 30])
def test_tiny_masks_do_not_crash(pixels: int) -> None:
    photo, region = picture()
    speck = np.zeros_like(region.mask)
    speck[60, 100 : 100 + pixels] = True
    body = trace(photo, Region(region.window, region.shrink, speck, speck, region.ground, False), NO_SCALE)
    assert np.isfinite(body.outline_px).all() and np.isfinite(body.u_edge_px)


def test_reduced_tracing_of_a_large_picture_gives_the_same_place() -> None:
    photo, region = picture()
    large = Photo(
        "large", photo.sha256, cv2.resize(photo.pixels, None, fx=5, fy=5, interpolation=cv2.INTER_CUBIC), None
    )
    body = trace(large, Region((0, 0, 2100, 1200), 10, region.mask, region.core, region.ground, False), NO_SCALE)
    assert np.abs(distance((body.outline_px + 0.5) / 5 - 0.5)).max() < 0.5
