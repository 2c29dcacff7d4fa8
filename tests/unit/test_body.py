"""The body's outline: from a network's picture of it, and from the light at its edge, on scenes whose true outline is
known in closed form; and from the shipped network on demo photos."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from identify import closeup as closeups
from identify.body import contour, limb, path, trace
from identify.geometry import Array, extent_across, max_feret, polygon_area
from identify.photo import Photo, read
from identify.separate import separate
from identify.settings import Settings
from identify.stages import Body, Region
from tests.benchmarks.truth import ideal_calibration, ideal_region, photos
from tests.unit.drawn import closeup, covered, distance, grid, line, photo_of, ring, spot

SHAPE = (240, 420)
CENTRE, AXES, TURN = np.array([210.3, 120.6]), (150.4, 40.7), 0.3
AWAY = distance(grid(SHAPE), CENTRE, AXES, TURN)
GROUND = np.array([0.5, 0.48, 0.44])
DEMO = Path(__file__).parents[2] / "demo_photos"


def edge(off: float = 0.0, soft: float = 0.4) -> Array:
    """What a network says of the body: half at `off` pixels outside the true edge."""
    return np.asarray(1 / (1 + np.exp(np.clip((AWAY - off) / soft, -30, 30))))


def region(shape: tuple[int, int] = SHAPE, touches: bool = False) -> Region:
    core = AWAY[: shape[0], : shape[1]] < 0
    return Region((0, 0, shape[1], shape[0]), 1, core, core, np.zeros((*shape, 3), np.float32), touches)


def picture(
    body: tuple[float, float, float] = (0.1, 0.2, 0.4), blur: float = 0.8, root: float = 0.0, shadow: bool = False
) -> Photo:
    """The body on a plain ground, blurred in linear light.  `root`: share of its light that falls off towards the limb
    as on a round body."""
    linear = np.broadcast_to(GROUND, (*SHAPE, 3)).copy()
    if shadow:
        shade = cv2.warpAffine(covered(AWAY), np.array([[1.0, 0, 4], [0, 1, 12]]), SHAPE[::-1])
        linear *= (1 - 0.6 * cv2.GaussianBlur(shade, (0, 0), 5.0))[..., None]
    inside = covered(AWAY)[..., None]
    round_ = 1 - root + root * np.sqrt(np.clip(-AWAY, 0, 20) / 20)
    linear = linear * (1 - inside) + inside * round_[..., None] * np.array(body)
    linear = cv2.GaussianBlur(linear, (0, 0), blur)
    return photo_of(linear + np.random.default_rng(7).normal(0, 0.004, linear.shape))


def away(points: Array) -> Array:
    return distance(points, CENTRE, AXES, TURN)


# ------------------------------------------------------------------ the silhouette alone
@pytest.mark.parametrize("soft", [0.25, 0.4, 1.0])
def test_silhouette_lies_where_body_and_ground_are_equally_likely(soft: float) -> None:
    found = contour.silhouette(closeup(SHAPE, body=edge(soft=soft)))
    assert found is not None
    points, width = found
    assert len(points) == len(width) == contour.STATIONS
    assert polygon_area(points) > 0  # clockwise as seen: y points down
    assert abs(away(points).mean()) < 0.03
    assert np.abs(away(points)).max() < 0.15
    a, b = max_feret(points)
    assert np.hypot(*(b - a)) == pytest.approx(2 * AXES[0], abs=0.3)


def test_the_step_is_wider_where_the_network_is_less_sure() -> None:
    left = grid(SHAPE)[..., 0] < CENTRE[0]
    found = contour.silhouette(closeup(SHAPE, body=np.where(left, edge(soft=0.3), edge(soft=1.2))))
    assert found is not None
    points, width = found
    near, far = width[points[:, 0] < CENTRE[0] - 20], width[points[:, 0] > CENTRE[0] + 20]
    assert np.median(far) > 2 * np.median(near)


def test_stubs_and_specks_are_no_silhouette() -> None:
    body = np.maximum(edge(), line(SHAPE, (200, 120), (160, 20), 6))
    body = np.maximum(body, spot(SHAPE, (380, 30), sigma=3))
    found = contour.silhouette(closeup(SHAPE, body=body))
    assert found is not None
    assert np.abs(away(found[0])).max() < 2.5


@pytest.mark.parametrize("half_angle_deg", [8.0, 15.0, 30.0])
def test_a_pointed_tail_keeps_its_length(half_angle_deg: float) -> None:
    """A disk and the two tangents to it that meet in a point."""
    middle, radius, half = np.array([120.0, 120.0]), 45.0, np.radians(half_angle_deg)
    tip = middle + np.array([radius / np.sin(half), 0])
    place = grid((240, int(tip[0]) + 30))
    along, across = place[..., 0] - tip[0], np.abs(place[..., 1] - tip[1])
    wedge = across * np.cos(half) + along * np.sin(half)
    touch = middle[0] + radius * np.sin(half)
    from_disk = np.hypot(place[..., 0] - middle[0], place[..., 1] - middle[1]) - radius
    signed = np.where(place[..., 0] > touch, wedge, from_disk)
    body = np.asarray(1 / (1 + np.exp(np.clip(signed / 0.4, -30, 30))))
    found = contour.silhouette(closeup(place.shape[:2], body=body))
    assert found is not None
    a, b = max_feret(found[0])
    true = tip[0] - (middle[0] - radius)
    assert np.hypot(*(b - a)) == pytest.approx(true, rel=0.012)


def test_no_body_no_silhouette() -> None:
    assert contour.silhouette(closeup(SHAPE)) is None
    assert contour.silhouette(closeup(SHAPE, body=spot(SHAPE, (50, 50), sigma=1.0))) is None


def test_what_lies_beside_hardware_is_known() -> None:
    at = CENTRE + AXES[0] * np.array([np.cos(TURN), np.sin(TURN)])
    seen = closeup(SHAPE, body=edge(), tie=ring(SHAPE, (at[0], at[1]), 8, 4))
    points = contour.silhouette(seen)
    assert points is not None
    beside = contour.hardware_beside(seen, points[0])
    near = np.hypot(*(points[0] - at).T) < 14
    assert beside.any() and not beside[~near].any()


# ------------------------------------------------------------------ its pure parts
def test_the_cheapest_closed_path_is_closed_and_follows_the_valley() -> None:
    n, m = 120, 41
    valley = 20 + 8 * np.sin(2 * np.pi * np.arange(n) / n)
    cost = (np.arange(m)[None] - valley[:, None]) ** 2 / 20
    cost[30:33] = np.random.default_rng(1).uniform(0, 1, (3, m))  # rows that say nothing
    found = path.closed_path(cost, 0.5)
    assert np.abs(found - valley).max() < 2
    assert abs(int(found[0]) - int(found[-1])) <= 2


@pytest.mark.parametrize("at", [-1.3, 0.0, 0.8])
@pytest.mark.parametrize("blur", [0.8, 1.5])
def test_the_limb_model_finds_the_edge_of_its_own_profiles(at: float, blur: float) -> None:
    """A round body's profile drawn finely, blurred, and sampled; its half contrast lies well inside the edge."""
    fine = np.arange(-20, 20, 0.02)
    inside = at - fine
    light = np.where(inside > 0, 0.15 + 0.5 * np.sqrt(np.clip(inside, 0, None) / 20), 0.05)
    kernel = np.exp(-((np.arange(-8, 8.01, 0.02) / blur) ** 2) / 2)
    profile = np.interp(limb.OFFSETS, fine, np.convolve(light, kernel / kernel.sum(), "same"))
    left = limb.misfit(np.repeat(profile[None, :, None], 3, 2).astype(np.float32), blur)
    place, _ = limb.parabola(left, left.argmin(1))
    assert place[0] == pytest.approx(at, abs=0.25)
    half = limb.OFFSETS[np.flatnonzero(profile > (profile.max() + profile.min()) / 2)[-1]]
    assert half < at - 0.4


# ------------------------------------------------------------------ traced in the photo
@pytest.mark.parametrize("blur", [0.6, 1.2])
@pytest.mark.parametrize("off", [-0.6, 0.0, 0.6])
def test_a_silhouette_that_is_a_little_off_is_put_right_by_the_photo(off: float, blur: float) -> None:
    body = trace(picture(blur=blur), region(), closeup(SHAPE, body=edge(off)))
    assert np.abs(away(body.outline_px)).max() < 0.35
    assert abs(away(body.outline_px).mean()) < 0.1
    a, b = max_feret(body.outline_px)
    assert np.hypot(*(b - a)) == pytest.approx(2 * AXES[0], rel=0.002)
    assert extent_across(body.outline_px, a, b) == pytest.approx(2 * AXES[1], rel=0.004)
    assert body.clear.mean() > 0.95
    assert body.warnings == ()


def test_a_round_pale_body_on_dark_ground_is_not_shrunk() -> None:
    """Light falls off towards the limb, so half contrast lies up to a pixel inside the edge."""
    photo = picture(body=(0.9, 0.85, 0.5), root=0.7)
    dark = replace(photo, pixels=np.where(AWAY[..., None] > 0, photo.pixels // 6, photo.pixels))
    body = trace(dark, region(), closeup(SHAPE, body=edge(-0.5)))
    assert abs(away(body.outline_px).mean()) < 0.3


def test_where_the_photo_shows_no_edge_the_silhouette_stands() -> None:
    body = trace(picture(body=tuple(GROUND)), region(), closeup(SHAPE, body=edge()))
    assert np.abs(away(body.outline_px)).max() < 0.5


def test_soft_shadow_is_not_body() -> None:
    body = trace(picture(shadow=True), region(), closeup(SHAPE, body=edge()))
    assert np.abs(away(body.outline_px)).max() < 0.6


def test_rings_at_the_end_and_on_the_back_are_bridged() -> None:
    tip = CENTRE + (AXES[0] + 5) * np.array([np.cos(TURN), np.sin(TURN)])
    wire = np.maximum(ring(SHAPE, (tip[0], tip[1]), 8, 4), ring(SHAPE, (190.0, 74.0), 8, 4))
    plain = picture()
    pixels = np.round(plain.pixels * (1 - wire[..., None]) + 225 * wire[..., None]).astype(np.uint8)
    body = trace(replace(plain, pixels=pixels), region(), closeup(SHAPE, body=edge(), tie=wire))
    a, b = max_feret(body.outline_px)
    assert np.hypot(*(b - a)) == pytest.approx(2 * AXES[0], rel=0.005)
    assert np.abs(away(body.outline_px)).max() < 1
    assert not body.clear.all()


def test_body_cut_by_the_frame_runs_along_it_and_is_said_to() -> None:
    whole = picture()
    cut = replace(whole, pixels=whole.pixels[:, :300].copy())
    body = trace(cut, region((240, 300), touches=True), closeup(SHAPE, body=edge()))
    assert body.outline_px[:, 0].max() <= 299
    at_frame = body.outline_px[:, 0] > 298
    assert at_frame.any() and not body.clear[at_frame].any()
    assert "touches-edge" in [w.code for w in body.warnings]
    assert np.abs(away(body.outline_px[body.outline_px[:, 0] < 270])).max() < 0.6


def test_a_region_of_nothing_gives_its_rectangle_and_says_so() -> None:
    body = trace(picture(), region(), closeup(SHAPE))
    assert not body.clear.any()
    assert [w.code for w in body.warnings] == ["outline-unclear"]
    assert np.ptp(body.outline_px, axis=0) == pytest.approx([SHAPE[1] - 1, SHAPE[0] - 1])


@pytest.mark.parametrize("size", [2.0, 3.0, 6.0])
def test_tiny_bodies_do_not_crash(size: float) -> None:
    body = trace(picture(), region(), closeup(SHAPE, body=spot(SHAPE, (100, 60), sigma=size)))
    assert np.isfinite(body.outline_px).all() and np.isfinite(body.u_edge_px)


@pytest.mark.parametrize("times", [3, 5])
def test_a_large_picture_is_traced_reduced_to_the_same_place(times: int) -> None:
    small = picture()
    pixels = cv2.resize(small.pixels, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC)
    large = replace(small, pixels=np.asarray(pixels, np.uint8))
    # pixel x of the close-up lies at (x + 1/2) times - 1/2 of the photo
    matrix = np.array([[1 / times, 0, 0.5 / times - 0.5], [0, 1 / times, 0.5 / times - 0.5]])
    own = region()
    wide = Region((0, 0, SHAPE[1] * times, SHAPE[0] * times), times, own.mask, own.core, own.ground, False)
    body = trace(large, wide, closeup(SHAPE, matrix, body=edge(0.3)))
    assert np.abs(away((body.outline_px + 0.5) / times - 0.5)).max() < 0.5


# ------------------------------------------------------------------ the shipped network
def demo(file: str) -> tuple[Body, Array]:
    """The outline traced on a demo photo's only bait, and the true one."""
    (truth,) = (p for p in photos(DEMO) if p.truth["file"] == file)
    photo, calibration = read(truth.path), ideal_calibration(truth)
    (bait,) = truth.baits
    (found,) = separate(photo, calibration, Settings()).regions
    seen = closeups.look(photo, found, calibration)
    return trace(photo, found, seen), np.array(bait["apparent_polygon_px"], float)


@pytest.mark.parametrize("file", ["single-wood.jpg", "single-white-paper.jpg", "single-unlisted-colourway.jpg"])
def test_outlines_of_demo_photos(file: str) -> None:
    body, true = demo(file)
    (a, b), (c, d) = max_feret(true), max_feret(body.outline_px)
    assert np.hypot(*(d - c)) == pytest.approx(np.hypot(*(b - a)), rel=0.015)
    assert extent_across(body.outline_px, c, d) == pytest.approx(extent_across(true, a, b), rel=0.025)
    assert polygon_area(body.outline_px) == pytest.approx(abs(polygon_area(true)), rel=0.03)
    assert body.u_edge_px < 4


def test_a_core_that_is_a_millimetre_off_changes_little() -> None:
    """The close look starts from the core, and does not lean on it."""
    (truth,) = (p for p in photos(DEMO) if p.truth["file"] == "single-white-paper.jpg")
    photo, calibration = read(truth.path), ideal_calibration(truth)
    (bait,) = truth.baits
    px_per_mm = bait["length_px"] / bait["length_mm"]
    whole = ideal_region(truth, bait, px_per_mm)
    thin = cv2.erode(whole.core.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=round(px_per_mm)) > 0
    lengths = []
    for core in (whole.core, thin):
        own = replace(whole, core=core)
        a, b = max_feret(trace(photo, own, closeups.look(photo, own, calibration)).outline_px)
        lengths.append(float(np.hypot(*(b - a))))
    assert lengths[1] == pytest.approx(lengths[0], rel=0.005)
