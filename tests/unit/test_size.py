"""Length and depth with every part of their uncertainty, each checked by moving what it comes from (JCGM 100, 5.1)."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from identify.calibration import Calibration, Camera, Lens
from identify.geometry import Array
from identify.records import Card, Quantity, Scale, Thickness
from identify.size import LIFT_MM, U_LIFT_MM, measure_size, widening
from identify.stages import Body

PX_PER_MM, Z = 8.0, 300.0
MIDDLE = np.array([1000.0, 750.0])
PARTS = {
    "scale", "lens distortion", "camera distance", "height of the silhouette", "propping on hooks", "outline",
    "angle of view", "slope",
}  # fmt: skip


def calibration(at: tuple[float, float] = (20.0, 35.0), z: float = Z, u_z: float = 6.0) -> Calibration:
    """A camera that looks straight down from 300 mm above the card."""
    s = 1 / PX_PER_MM
    flat = ((s, 0.0, -MIDDLE[0] * s), (0.0, s, -MIDDLE[1] * s), (0.0, 0.0, 1.0))
    card = Card(True, None, PX_PER_MM, 0.0, z, 0.0, (1.0, 1.0, 1.0), None)
    lens = Lens(4e-9, False, (1000.0, 750.0), (((900.0, 700.0), (1100.0, 700.0)),))
    return Calibration(
        card, Scale("card", PX_PER_MM, 0.01), flat, Camera((*at, z), (3.0, 3.0, u_z)), 0.002, 0.76, (1.0, 1.0, 1.0),
        1.0, True, 0.02, (), lens,
    )  # fmt: skip


def ellipse(length_px: float = 560.0, depth_px: float = 160.0, at: Array = MIDDLE) -> Body:
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    points = at + np.column_stack([length_px / 2 * np.cos(t), depth_px / 2 * np.sin(t)])
    return Body(points, np.ones(len(points), bool), 0.3, (), 1.2, 0.8)


def parts(q: Quantity | None) -> dict[str, float]:
    assert q is not None
    return {p.what: p.u for p in q.parts}


def value(q: Quantity | None) -> float:
    assert q is not None
    return q.value


def test_every_part_is_there_and_they_add_up() -> None:
    found = measure_size(ellipse(), calibration())
    assert set(parts(found.length_mm)) == PARTS
    assert set(parts(found.depth_mm)) == PARTS - {"slope"}
    for q in (found.length_mm, found.depth_mm, found.depth_to_length):
        assert q is not None
        assert q.u == pytest.approx(math.sqrt(sum(p.u**2 for p in q.parts)))
        assert all(p.u > 0 for p in q.parts)


def test_proportion_has_none_of_what_length_and_depth_share() -> None:
    found = measure_size(ellipse(), calibration())
    assert set(parts(found.depth_to_length)) == {"outline", "angle of view", "slope"}


def test_thickness_moves_a_size_by_its_part() -> None:
    body, at = ellipse(), calibration(at=(0.0, 0.0))
    taken = measure_size(body, at)
    assert taken.thickness_mm is not None
    t, u = taken.thickness_mm.value, taken.thickness_mm.u
    more = measure_size(body, at, Thickness(t + u, u, "told"))
    assert parts(taken.length_mm)["height of the silhouette"] == pytest.approx(
        value(taken.length_mm) - value(more.length_mm), rel=0.05
    )


def test_a_told_thickness_leaves_less_doubt() -> None:
    told = measure_size(ellipse(), calibration(), Thickness(14.0, 0.2, "told"))
    taken = measure_size(ellipse(), calibration())
    assert told.thickness_mm is not None and told.thickness_mm.source == "told"
    assert told.height_mm == pytest.approx(7.0 + LIFT_MM - 0.76)
    assert parts(told.length_mm)["height of the silhouette"] < 0.2 * parts(taken.length_mm)["height of the silhouette"]
    assert parts(told.length_mm)["propping on hooks"] == pytest.approx(
        parts(taken.length_mm)["propping on hooks"], rel=0.01
    )


def test_propping_moves_a_size_by_its_part(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = measure_size(ellipse(), calibration(at=(0.0, 0.0)))
    monkeypatch.setattr("identify.size.LIFT_MM", LIFT_MM + U_LIFT_MM)
    lifted = measure_size(ellipse(), calibration(at=(0.0, 0.0)))
    assert parts(plain.length_mm)["propping on hooks"] == pytest.approx(
        value(plain.length_mm) - value(lifted.length_mm), rel=0.05
    )


def test_camera_distance_moves_a_size_by_its_part() -> None:
    at = calibration(at=(0.0, 0.0))
    assert at.camera is not None
    plain = measure_size(ellipse(), at)
    nearer = measure_size(ellipse(), replace(at, camera=replace(at.camera, at_mm=(0.0, 0.0, Z - 6.0))))
    assert parts(plain.length_mm)["camera distance"] == pytest.approx(
        value(plain.length_mm) - value(nearer.length_mm), rel=0.1
    )


def test_without_a_focal_length_the_distance_is_the_largest_doubt() -> None:
    found = parts(measure_size(ellipse(), calibration(u_z=0.4 * Z)).length_mm)
    assert max(found, key=lambda what: found[what]) == "camera distance"


def test_scale_and_outline_are_passed_on() -> None:
    found = measure_size(ellipse(), calibration())
    assert parts(found.length_mm)["scale"] == pytest.approx(0.002 * value(found.length_mm))
    assert found.px_per_mm is not None
    assert parts(found.length_mm)["outline"] == pytest.approx(1.2 / found.px_per_mm)
    assert parts(found.depth_mm)["outline"] == pytest.approx(0.8 / found.px_per_mm)


def test_the_lens_counts_away_from_the_card() -> None:
    near = measure_size(ellipse(), calibration())
    far = measure_size(ellipse(at=MIDDLE + np.array([600.0, 500.0])), calibration())
    assert parts(far.length_mm)["lens distortion"] > 2 * parts(near.length_mm)["lens distortion"]


def test_widening_of_an_ellipse_is_near_the_closed_form() -> None:
    """√(1 + (T/D)² tan²θ) for an elliptic section; sections here are a little fuller, which widens a little more."""
    for ratio, degrees in ((0.65, 10.0), (0.65, 20.0), (1.0, 15.0)):
        tangent = math.tan(math.radians(degrees))
        closed = math.sqrt(1 + (ratio * tangent) ** 2) - 1
        assert closed < widening(ratio, tangent) - 1 < 2 * closed
    assert widening(0.65, 0.0) == 1.0


def test_without_a_scale_there_is_proportion_only() -> None:
    none = Calibration(
        Card(False, None, None, None, None, None, None, "none"), Scale("none", None, None), None, None, 0.0, 0.76,
        (1.0, 1.0, 1.0), 1.0, False, 1.0,
    )  # fmt: skip
    found = measure_size(ellipse(), none)
    assert found.length_mm is None and found.depth_mm is None and found.thickness_mm is None
    assert found.depth_to_length.value == pytest.approx(160 / 560, rel=0.001)
    assert set(parts(found.depth_to_length)) == {"outline", "tilt of the camera"}
