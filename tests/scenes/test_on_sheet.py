"""Baits that lie on a sheet of paper which is the card itself: the sheet is found under them and they are measured in
its plane."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from identify.advice import look
from identify.geometry import Array, apply_homography, extent_across, max_feret
from identify.measure import measure
from identify.photo import Photo
from identify.records import PhotoRecord
from identify.reference import Form, read
from identify.settings import Settings
from tests.scenes.develop import photographed
from tests.scenes.drawer import _lay_bait, _rods, _table
from tests.scenes.light import card_shadow, light_of, shadows
from tests.scenes.pinhole import pinhole
from tests.scenes.shot import Shot
from tests.scenes.solid import as_listed, lie

SET = Path(__file__).parents[2] / "reference_sets" / "ammerfold-lakes"
A4_MM, WHITE, THICK_MM = (297.0, 210.0), 0.8, 0.1
SHEET = Settings(card_size_mm=A4_MM, card_reflectance=WHITE, card_thickness_mm=THICK_MM)


@pytest.fixture(scope="module")
def forms() -> dict[str, Form]:
    return {f"{f.model} {f.size}": f for f in read(SET).forms()}


def lying_on_paper(baits: list[tuple[Form, tuple[float, float], float]], shot: Shot) -> tuple[Photo, Array]:
    """A photo of baits (place in mm from the sheet's middle, turn in degrees), and the sheet's corners in pixels."""
    rng = np.random.default_rng(shot.seed)
    camera = pinhole(shot.picture, shot.f35, 0.0042 * shot.picture[0] / 1.4, shot.tilt_deg, shot.towards_deg)
    light = light_of(shot)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(A4_MM) / 2
    px = apply_homography(camera.plane(THICK_MM), corners)
    mask = np.zeros((shot.picture[1] * 2, shot.picture[0] * 2), np.uint8)
    cv2.fillConvexPoly(mask, np.round(((px + 0.5) * 2 - 0.5) * 16).astype(np.int32), 255, shift=4)
    share = cv2.resize(mask, shot.picture, interpolation=cv2.INTER_AREA).astype(np.float32)[..., None] / 255
    linear = _table(camera, shot, rng)
    linear *= card_shadow(np.column_stack([corners, np.full(4, THICK_MM)]), light, camera)[..., None]
    linear += cv2.GaussianBlur(share, (0, 0), shot.blur_px)[..., None] * (np.float32(WHITE) - linear)
    laid = []
    for form, at, turn in baits:
        solid = lie(as_listed(form), at, turn, False, 0.0, 0.0, THICK_MM)
        rods = _rods(solid, rng)
        lamp, dome = shadows(solid, [rod for _, group in rods for rod in group], light, camera, shot)
        linear *= cv2.resize(1 - light.lamp * lamp - light.dome * dome, shot.picture).astype(np.float32)[..., None]
        laid.append((solid, rods))
    for solid, rods in laid:
        _lay_bait(linear, solid, rods, light, camera, shot, rng)
    return photographed(linear, shot, rng), px


def off_corners(record: PhotoRecord, corners_px: Array) -> float:
    assert record.card is not None and record.card.corners_px is not None, record.card
    found = np.array(record.card.corners_px)
    return max(float(np.hypot(*(found - corner).T).min()) for corner in corners_px)


def test_baits_on_a_sheet_are_measured_in_its_plane(forms: dict[str, Form]) -> None:
    named = [forms["Cairn Deep 1"], forms["Low Otter 2"], forms["Twin Latch 2"]]
    places = [((-50.0, 45.0), 10.0), ((60.0, 30.0), -25.0), ((10.0, -50.0), 185.0)]
    shot = Shot((1600, 1200), ground="wood", tilt_deg=7.0, towards_deg=50.0, seed=3)
    photo, corners = lying_on_paper([(f, *p) for f, p in zip(named, places, strict=True)], shot)
    record = measure(photo, SHEET)
    assert off_corners(record, corners) < 1.0
    polygon = corners.astype(np.float32)
    assert not any(
        cv2.pointPolygonTest(polygon, np.mean(t.outline_px, 0).tolist(), False) > 0 for t in record.set_aside
    )
    assert "card-uneven" not in {n.code for n in record.warnings}
    assert all(bait.gap_to_card is None for bait in look(photo, record).baits)
    lengths = []
    for form in named:
        outline = np.asarray(form.outline_mm, float)
        ends = max_feret(outline)
        lengths.append((float(np.hypot(*(ends[1] - ends[0]))), extent_across(outline, *ends)))
    measured = [(b.measurement.length_mm, b.measurement.depth_mm) for b in record.baits]
    assert len(measured) == 3
    measured.sort(key=lambda m: m[0].value if m[0] else 0.0)
    for true, (length, depth) in zip(sorted(lengths), measured, strict=True):
        assert length is not None and depth is not None
        assert abs(length.value - true[0]) < 2.5 * length.u
        assert abs(depth.value - true[1]) < 2.5 * depth.u


def test_an_overexposed_sheet_still_gives_the_size(forms: dict[str, Form]) -> None:
    shot = Shot((1600, 1200), ground="wood", tilt_deg=5.0, ev=0.6, seed=6)
    photo, corners = lying_on_paper([(forms["Low Otter 2"], (20.0, 10.0), 170.0)], shot)
    record = measure(photo, SHEET)
    assert off_corners(record, corners) < 1.5
    assert "card-clipped" in {n.code for n in record.warnings}
    (bait,) = record.baits
    assert bait.measurement.length_mm is not None
    assert bait.measurement.length_mm.value == pytest.approx(forms["Low Otter 2"].length_mm, rel=0.02)


def test_a_bait_may_lie_over_the_edge_of_its_sheet(forms: dict[str, Form]) -> None:
    shot = Shot((1600, 1200), ground="blue cloth", tilt_deg=4.0, seed=5)
    photo, corners = lying_on_paper([(forms["Low Otter 2"], (-130.0, 20.0), 5.0)], shot)
    record = measure(photo, SHEET)
    assert off_corners(record, corners) < 1.5
    (bait,) = record.baits
    assert bait.measurement.length_mm is not None
    assert bait.measurement.length_mm.value == pytest.approx(forms["Low Otter 2"].length_mm, rel=0.04)
