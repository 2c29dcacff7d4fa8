"""The quick drawer itself, and what is measured on its photos: sizes hold within their stated uncertainty."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from identify.colour import delta_e
from identify.geometry import apply_homography, extent_across, max_feret
from identify.measure import measure
from identify.rank import prepare
from identify.reference import Form, read
from tests.scenes import pinhole
from tests.scenes.drawer import Drawn, draw
from tests.scenes.made import any_piece, shot_of
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


def test_true_pieces_scatter_as_the_set_says_and_lose_what_pieces_lose() -> None:
    p = prepare(read(SET).forms())
    i = next(k for k, f in enumerate(p.forms) if f.model == "Cairn Deep" and f.size == "1")
    rng = np.random.default_rng(2)
    made = [any_piece(rng, p, i) for _ in range(400)]
    off = np.log([[m.length_mm / p.forms[i].length_mm, m.depth_mm / (p.forms[i].depth_mm or 1)] for m in made])
    assert off.std(0) == pytest.approx([0.17 / 42.0, 0.15 / 19.04], rel=0.15)
    assert np.mean([len(m.ties_mm) for m in made]) == pytest.approx(2 * (1 - p.noise.tie_lost), abs=0.04)
    listed = [m.colourway in p.forms[i].colourways for m in made]
    assert np.mean(listed) == pytest.approx(1 - p.noise.colour_unlisted, abs=0.1)


@pytest.mark.parametrize("photos", ["good", "fair", "poor"])
def test_shots_are_as_good_as_they_say(photos: str, forms: dict[str, Form]) -> None:
    drawn = draw(as_listed(forms["Low Otter 2"]), shot_of(np.random.default_rng(1), photos))
    depth_px = drawn.px_per_mm * drawn.piece.depth_mm
    assert {"good": 170 < depth_px < 350, "fair": 80 < depth_px < 170, "poor": 30 < depth_px < 80}[photos]
    w, h = drawn.shot.picture
    seen = np.vstack([drawn.outline_px, drawn.corners_px])
    assert (seen > 0).all() and (seen < (w, h)).all()
