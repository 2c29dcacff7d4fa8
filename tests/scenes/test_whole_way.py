"""A demo photo turned, enlarged and tinted: what is measured must hold within its stated uncertainty."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from identify.card.pose import focal_px
from identify.colour import delta_e
from identify.geometry import apply_homography
from identify.measure import measure
from identify.photo import Photo, read
from identify.records import Measurement

DEMO = Path(__file__).parents[2] / "demo_photos" / "single-blue-cloth.jpg"


@pytest.fixture(scope="module")
def photo() -> Photo:
    return read(DEMO)


def measured(photo: Photo) -> Measurement:
    (bait,) = measure(photo).baits
    return bait.measurement


@pytest.fixture(scope="module")
def plain(photo: Photo) -> Measurement:
    return measured(photo)


def assert_same(one: Measurement, other: Measurement) -> None:
    for a, b in ((one.length_mm, other.length_mm), (one.depth_mm, other.depth_mm)):
        assert a is not None
        assert b is not None
        assert abs(a.value - b.value) <= 2 * math.hypot(a.u, b.u)
    assert one.line_ties is not None
    assert other.line_ties is not None
    assert one.line_ties.count == other.line_ties.count
    assert one.shows == other.shows
    for c, d in ((one.back_colour, other.back_colour), (one.belly_colour, other.belly_colour)):
        assert c is not None
        assert d is not None
        assert float(delta_e(c.lab, d.lab)) <= 2 * math.hypot(c.u, d.u)


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turned_photo(photo: Photo, plain: Measurement, turns: int) -> None:
    assert_same(plain, measured(replace(photo, pixels=np.ascontiguousarray(np.rot90(photo.pixels, turns)))))


def test_photo_enlarged_to_four_times_the_pixels(photo: Photo, plain: Measurement) -> None:
    large = np.asarray(cv2.resize(photo.pixels, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), np.uint8)
    assert_same(plain, measured(replace(photo, pixels=large)))


def test_photo_made_smaller(photo: Photo, plain: Measurement) -> None:
    small = np.asarray(cv2.resize(photo.pixels, None, fx=0.8, fy=0.8, interpolation=cv2.INTER_AREA), np.uint8)
    assert_same(plain, measured(replace(photo, pixels=small)))


@pytest.mark.parametrize(("axis", "degrees"), [(0, 3.0), (1, -4.0)])
def test_camera_turned_about_its_own_place(photo: Photo, plain: Measurement, axis: int, degrees: float) -> None:
    """Turning a camera without moving it is a homography K R K⁻¹ for any scene, raised things included (Hartley and
    Zisserman, Multiple View Geometry, 8.4): the card then looks tilted, and the bait lies elsewhere in the picture."""
    h, w = photo.pixels.shape[:2]
    assert photo.focal_35mm is not None
    f = focal_px(photo.focal_35mm, w, h)
    k = np.array([[f, 0, (w - 1) / 2], [0, f, (h - 1) / 2], [0, 0, 1]])
    turn, _ = cv2.Rodrigues(np.radians(degrees) * np.eye(3)[axis])
    warp = k @ turn @ np.linalg.inv(k)
    seen = cv2.warpPerspective(photo.pixels, warp, (w, h), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT_101)
    turned = measured(replace(photo, pixels=np.asarray(seen, np.uint8)))
    assert_same(plain, turned)
    corners = apply_homography(warp, np.array([plain.nose_px, plain.tail_px]))
    assert np.hypot(*(corners - [turned.nose_px, turned.tail_px]).T).max() < 8


def test_tinted_light(photo: Photo, plain: Measurement) -> None:
    tint = np.array([1.05, 1.0, 0.92])
    assert_same(plain, measured(replace(photo, pixels=np.clip(photo.pixels * tint, 0, 255).astype(np.uint8))))


def test_mirrored_photo_shows_the_other_flank(photo: Photo, plain: Measurement) -> None:
    mirrored = measured(replace(photo, pixels=np.ascontiguousarray(photo.pixels[:, ::-1])))
    assert mirrored.shows != plain.shows
    assert_same(plain, replace(mirrored, shows=plain.shows))
