"""The quick drawer itself, and what is measured on its photos: sizes hold within their stated uncertainty."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from identify.colour import delta_e
from identify.geometry import apply_homography, extent_across, max_feret
from identify.measure import measure
from identify.reference import Form, read
from tests.scenes import pinhole
from tests.scenes.drawer import Drawn, draw
from tests.scenes.shot import Shot, any_shot
from tests.scenes.solid import as_listed, covered, lie, resized, surface

SET = Path(__file__).parents[2] / "reference_sets" / "ammerfold-lakes"


@pytest.fixture(scope="module")
def forms() -> dict[str, Form]:
    return {f"{f.model} {f.size}": f for f in read(SET).forms()}


def test_the_camera_is_a_pinhole() -> None:
    camera = pinhole.pinhole((1440, 1080), 26.0, 8.0, 10.0, 40.0, 5.0)
    on_plane = np.array([[0.0, 0.0], [30.0, -20.0], [-50.0, 10.0]])
    for height in (0.0, 0.76, 9.0):
        points = np.column_stack([on_plane, np.full(3, height)])
        assert np.allclose(camera.project(points), apply_homography(camera.plane(height), on_plane))
        rays = camera.rays(camera.project(points))
        back = camera.place_mm + rays * ((height - camera.place_mm[2]) / rays[:, 2])[:, None]
        assert np.allclose(back, points)
    assert np.allclose(camera.project([0.0, 0.0, 0.0]), [719.5, 539.5])
    near, far = (np.ptp(camera.project(np.array([[-1, 0, z], [1, 0, z]]))[:, 0]) for z in (20.0, 0.0))
    distance = float(camera.place_mm[2])
    assert near / far == pytest.approx(distance / (distance - 20.0), rel=0.02)


def test_the_body_lies_on_the_table_and_is_seen_where_it_is(forms: dict[str, Form]) -> None:
    piece = as_listed(forms["Cairn Deep 2"])
    for flip in (False, True):
        solid = lie(piece, (10.0, -5.0), 30.0, flip, roll_deg=4.0, lift_mm=0.5)
        assert solid.on_table(solid.rings())[..., 2].min() == pytest.approx(0.5, abs=0.05)
        camera = pinhole.pinhole((800, 600), 50.0, 8.0, 8.0)
        share = covered(camera.project(solid.on_table(solid.rings())), (0, 0), (800, 600), 4)
        rows, columns = np.nonzero(share == 1)
        at, normals = surface(solid, camera, np.column_stack([columns, rows]))
        deep = share[rows, columns] > 0
        seen = camera.project(solid.on_table(at.astype(float)))
        off = np.hypot(*(seen - np.column_stack([columns, rows])).T)
        assert np.percentile(off[deep], 95) < 0.3
        assert (normals[:, 2] > -0.2).all()


@pytest.mark.parametrize("name", ["Cairn Deep 1", "Low Otter 2", "Sickle Bough 1"])
def test_what_is_measured_is_what_was_drawn(forms: dict[str, Form], name: str) -> None:
    rng = np.random.default_rng(11)
    drawn = draw(resized(as_listed(forms[name]), 1.02, 0.98), replace(any_shot(rng), ground="paper"))
    record = measure(drawn.photo)
    (bait,) = record.baits
    m = bait.measurement
    assert m.length_mm is not None and m.depth_mm is not None and m.line_ties is not None
    outline = np.asarray(drawn.piece.form.outline_mm) * (1.02, 0.98)
    ends = max_feret(outline)
    for found, true in (
        (m.length_mm, float(np.hypot(*(ends[1] - ends[0])))),
        (m.depth_mm, extent_across(outline, *ends)),
    ):
        assert abs(found.value - true) < 3 * found.u
    assert m.line_ties.count == len(drawn.ties_px)
    for place in drawn.ties_px:
        assert min(np.hypot(*np.subtract(at, place)) for at in m.line_ties.at_px) < drawn.px_per_mm
    assert (m.shows == "right") == drawn.shot.flip
    assert m.back_colour is not None and drawn.piece.colourway.back_lab is not None
    assert float(delta_e(m.back_colour.lab, drawn.piece.colourway.back_lab)) < 3 * m.back_colour.u


def test_the_same_shot_gives_the_same_photo_and_another_seed_another(forms: dict[str, Form]) -> None:
    def pixels(seed: int) -> Drawn:
        return draw(as_listed(forms["Long Lamp 1"]), Shot(picture=(480, 360), seed=seed))

    assert np.array_equal(pixels(1).photo.pixels, pixels(1).photo.pixels)
    assert not np.array_equal(pixels(1).photo.pixels, pixels(2).photo.pixels)
