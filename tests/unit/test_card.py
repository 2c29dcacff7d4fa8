"""The card is found where it is, to a fraction of a pixel, and not where it is not."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from identify.calibration import Calibration
from identify.card import find
from identify.card.propose import propose, propose_by_texture
from identify.card.unions import propose_unions
from identify.card.walls import is_walled
from identify.errors import BadOption
from identify.photo import Photo
from identify.settings import ScaleLine, Settings
from tests.unit.card_scenes import Scene, corner_error, scene


def codes(found: Calibration) -> set[str]:
    return {n.code for n in found.warnings}


def assert_true(made: Scene, found: Calibration, corners_px: float = 0.3) -> None:
    assert found.card.found, found.card.why_not
    assert corner_error(np.array(found.card.corners_px), made.corners_px) < corners_px
    # a length of 70 mm in the card's plane, beside the card, within three times its stated uncertainty
    ends_mm = np.array([[-35.0, 50.0], [35.0, 50.0]])
    q = np.column_stack([ends_mm, np.ones(2)]) @ made.to_px.T
    seen = found.to_mm(q[:, :2] / q[:, 2:])
    length = float(np.hypot(*(seen[1] - seen[0])))
    assert length == pytest.approx(70, rel=0.002)
    assert abs(length / 70 - 1) < 3 * found.scale_u
    assert found.camera is not None
    assert found.camera.at_mm[2] == pytest.approx(made.camera_mm[2], rel=0.03)


GROUNDS = {
    "white": (0.80, 0.79, 0.77), "grey": (0.30, 0.30, 0.31), "blue": (0.03, 0.07, 0.25), "black": (0.02, 0.02, 0.02),
    "wood": (0.33, 0.19, 0.08), "like the card": (0.215, 0.215, 0.21),
}  # fmt: skip


@pytest.mark.parametrize("ground", GROUNDS.values(), ids=GROUNDS.keys())
def test_found_on_many_grounds(ground: tuple[float, float, float]) -> None:
    made = scene(ground=ground, seed=3)
    assert_true(made, find(made.photo, Settings()))


@pytest.mark.parametrize("roll", [0.0, 33.0, 77.0, 90.0, 160.0, 251.0])
def test_found_at_any_rotation(roll: float) -> None:
    made = scene(roll_deg=roll, tilt_deg=5, px_per_mm=4.0, radius_mm=0.0 if roll > 80 else 3.48)
    assert_true(made, find(made.photo, Settings()))


@pytest.mark.parametrize("tilt", [0.0, 10.0, 20.0])
def test_tilt_and_camera_are_recovered(tilt: float) -> None:
    made = scene(tilt_deg=tilt, offset=(0.0, 0.0), px_per_mm=5.0)
    found = find(made.photo, Settings())
    assert_true(made, found)
    assert found.card.tilt_deg == pytest.approx(tilt, abs=0.8)
    assert found.camera is not None
    # the frame's x and y may be turned by a quarter against the scene's; how far the foot lies off is the same
    assert np.hypot(*found.camera.at_mm[:2]) == pytest.approx(np.hypot(*made.camera_mm[:2]), abs=4)
    assert ("card-tilted" in codes(found)) == (tilt > 15)


@pytest.mark.parametrize("light", [(1.0, 1.0, 1.0), (1.25, 0.95, 0.70), (0.85, 1.0, 1.25)])
def test_gains_make_the_card_grey(light: tuple[float, float, float]) -> None:
    made = scene(light=light, fall_off=0.0)
    found = find(made.photo, Settings())
    assert found.gains == pytest.approx((light[1] / light[0], 1.0, light[1] / light[2]), rel=0.02)
    assert found.exposure == pytest.approx(1 / light[1], rel=0.02)
    luminance = 0.2126 * light[0] + 0.7152 * light[1] + 0.0722 * light[2]
    assert found.card.exposure_ev == pytest.approx(np.log2(luminance), abs=0.03)


def test_corners_go_clockwise_from_the_top_left() -> None:
    made = scene(roll_deg=10)
    corners = np.array(find(made.photo, Settings()).card.corners_px)
    assert np.argmin((corners**2).sum(1)) == 0
    x, y = corners.T
    assert (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() > 0  # y down: clockwise as seen


def test_among_other_things_the_card_is_taken() -> None:
    things = (
        ((0.0, 62.0, 85.6, 54.0), (0.55, 0.10, 0.09)),  # a red slip, exactly as large as the card
        ((75.0, 0.0, 40.0, 40.0), (0.2, 0.2, 0.2)),  # a grey square
        ((-75.0, 0.0, 45.0, 62.0), (0.8, 0.8, 0.78)),  # a white label
    )
    made = scene(things=things, px_per_mm=3.4, offset=(0.0, -0.08), ground=(0.35, 0.22, 0.1))
    assert_true(made, find(made.photo, Settings()))


NOT_CARDS = {
    "nothing": (),
    "another aspect": (((0.0, 0.0, 90.0, 48.0), (0.18, 0.18, 0.18)),),
    "nearly the aspect": (((0.0, 0.0, 80.0, 53.98), (0.18, 0.18, 0.18)),),
    "a blue slip": (((0.0, 0.0, 85.6, 53.98), (0.10, 0.22, 0.55)),),
    "a pink slip": (((0.0, 0.0, 85.6, 53.98), (0.55, 0.20, 0.42)),),
    "a black phone": (((0.0, 0.0, 147.0, 72.0), (0.012, 0.012, 0.014)),),
    "cut by the frame": (((100.0, 0.0, 85.6, 53.98), (0.18, 0.18, 0.18)),),
}


@pytest.mark.parametrize("things", NOT_CARDS.values(), ids=NOT_CARDS.keys())
def test_no_card_is_said_rather_than_a_false_one(things: tuple) -> None:  # type: ignore[type-arg]
    made = scene(card=None, things=things, roll_deg=5, offset=(0, 0), px_per_mm=4.2)
    found = find(made.photo, Settings())
    assert not found.card.found
    assert found.card.why_not and "--card" in found.card.why_not
    assert found.to_plane is None and found.scale.source == "none" and not found.colour_from_card
    assert "no-card" in codes(found)


def patchy(texture: float) -> NDArray[np.float32]:
    """A smooth rectangle of just the light of the textured ground around it (h, w, 3), and darker on one side."""
    rng = np.random.default_rng(4)
    picture = np.full((300, 400, 3), 0.4, np.float32)
    cloth = cv2.GaussianBlur(rng.standard_normal((300, 400)).astype(np.float32), (0, 0), 1.0)
    picture += (cloth * texture / cloth.std())[..., None]
    picture[100:200, 120:278] = 0.4
    return picture


def test_by_texture_a_card_as_bright_as_the_ground_is_offered() -> None:
    (quad,) = propose_by_texture(patchy(0.02), 158 / 100)
    assert corner_error(quad, np.array([[120, 100], [277, 100], [277, 199], [120, 199]], float)) < 5
    assert propose(patchy(0.002), 158 / 100) == []


def test_two_parts_in_light_and_shadow_make_one_quadrilateral() -> None:
    picture = patchy(0.02)
    picture[100:200, 200:278] = 0.25
    assert not any(np.ptp(q[:, 0]) > 140 for q in propose(picture, 158 / 100))
    first, *_ = (q for q in propose_unions(picture, 158 / 100) if np.ptp(q[:, 0]) > 140)  # the best filled
    assert corner_error(first, np.array([[120, 100], [277, 100], [277, 199], [120, 199]], float)) < 6
    picture[100:200, 200:278] = (0.15, 0.2, 0.45)  # of another hue, so no shadow
    assert not any(np.ptp(q[:, 0]) > 140 for q in propose_unions(picture, 158 / 100))


def test_two_cards_are_one_too_many() -> None:
    things = (((0.0, 70.0, 85.6, 53.98), (0.18, 0.18, 0.18)),)
    found = find(scene(things=things, px_per_mm=3.4, offset=(0.0, -0.1)).photo, Settings())
    assert not found.card.found
    assert {"no-card", "card-doubtful"} <= codes(found)


@pytest.mark.parametrize("level", [0, 128, 255])
@pytest.mark.parametrize("shape", [(1, 1), (30, 30), (99, 400), (600, 800)])
def test_blank_pictures_have_no_card(level: int, shape: tuple[int, int]) -> None:
    photo = Photo("blank", "0" * 64, np.full((*shape, 3), level, np.uint8), None)
    assert not find(photo, Settings()).card.found


def test_another_size_is_found_when_told() -> None:
    made = scene(size_mm=(297.0, 210.0), card=(0.7, 0.7, 0.7), ground=(0.3, 0.17, 0.07), px_per_mm=2.0, radius_mm=0)
    found = find(made.photo, Settings(card_size_mm=(210.0, 297.0), card_reflectance=0.7))
    assert found.card.found, found.card.why_not
    assert corner_error(np.array(found.card.corners_px), made.corners_px) < 0.3


def test_a_small_card_says_so() -> None:
    made = scene(px_per_mm=1.4)
    found = find(made.photo, Settings())
    assert found.card.found
    assert "card-small" in codes(found)


def test_without_focal_length_the_distance_is_less_sure() -> None:
    made = scene(f35=None)
    found = find(made.photo, Settings())
    assert "no-focal-length" in codes(found)
    assert found.camera is not None
    z, u = found.camera.at_mm[2], found.camera.u_mm[2]
    assert 0.1 < u / z < 0.5
    assert abs(z - made.camera_mm[2]) < 2.5 * u


@pytest.mark.parametrize("order", [(0, 1, 2, 3), (2, 0, 3, 1), (3, 2, 1, 0)])
def test_told_corners_in_any_order_are_made_sharp(order: tuple[int, ...]) -> None:
    made = scene()
    rough = made.corners_px + np.array([[1.5, -1], [-1, 1.2], [1, 1], [-1.5, 0.5]])
    told = tuple((float(x), float(y)) for x, y in rough[list(order)])
    found = find(made.photo, Settings(card_corners_px=told))  # type: ignore[arg-type]
    assert_true(made, found)
    assert "card-doubtful" not in codes(found)


def test_told_corners_without_an_edge_are_taken_as_told() -> None:
    made = scene(card=None)
    told = tuple((float(x), float(y)) for x, y in made.corners_px)
    found = find(made.photo, Settings(card_corners_px=told))  # type: ignore[arg-type]
    assert found.card.found
    assert "card-doubtful" in codes(found)
    sharp = find(scene().photo, Settings())
    assert found.scale_u > 2 * sharp.scale_u
    assert corner_error(np.array(found.card.corners_px), made.corners_px) < 0.1


@pytest.mark.parametrize("corners", [((0, 0), (0, 0), (9, 9), (5, 5)), ((0, 0), (10, 0), (20, 0), (30, 0))])
def test_told_corners_that_cannot_be_are_refused(corners: tuple) -> None:  # type: ignore[type-arg]
    with pytest.raises(BadOption):
        find(scene(card=None).photo, Settings(card_corners_px=corners))


def test_no_card_is_believed() -> None:
    found = find(scene().photo, Settings(no_card=True))
    assert not found.card.found
    assert found.to_plane is None


def test_a_line_gives_the_scale() -> None:
    made = scene(card=None, tilt_deg=0)
    found = find(made.photo, Settings(scale_line=ScaleLine((100, 100), (100 + 450, 100), 100.0)))
    assert found.scale.source == "line"
    assert found.scale.px_per_mm == pytest.approx(4.5)
    assert {"scale-line", "no-card"} <= codes(found)
    assert found.to_mm([[100, 100], [550, 100]]) == pytest.approx(np.array([[-50, 0], [50, 0]]))
    assert found.camera is not None
    assert found.camera.at_mm[2] == pytest.approx(made.camera_mm[2], rel=0.01)
    assert not found.colour_from_card


def test_card_and_line_that_agree_leave_the_card() -> None:
    made = scene(tilt_deg=0)
    ends = made.corners_px[:2]
    line = ScaleLine(tuple(ends[0]), tuple(ends[1]), 85.6)
    found = find(made.photo, Settings(scale_line=line))
    assert found.scale.source == "card"


def test_card_and_line_that_differ_follow_the_line() -> None:
    made = scene(tilt_deg=0)
    ends = made.corners_px[:2]
    line = ScaleLine(tuple(ends[0]), tuple(ends[1]), 2 * 85.6)
    plain = find(made.photo, Settings())
    found = find(made.photo, Settings(scale_line=line))
    assert found.scale.source == "line"
    assert "card-doubtful" in codes(found)
    assert plain.scale.px_per_mm and found.scale.px_per_mm
    assert found.scale.px_per_mm == pytest.approx(plain.scale.px_per_mm / 2, rel=0.01)
    assert found.gains == plain.gains


@pytest.mark.parametrize(
    "settings",
    [
        Settings(card_size_mm=(0, 50)),
        Settings(card_reflectance=0),
        Settings(scale_line=ScaleLine((5, 5), (5, 5), 10)),
        Settings(scale_line=ScaleLine((5, 5), (500, 5), -1)),
    ],
)
def test_senseless_settings_are_refused(settings: Settings) -> None:
    with pytest.raises(BadOption):
        find(scene(card=None).photo, settings)


def test_the_floor_of_a_compartment_is_no_card() -> None:
    floor = np.array([[100, 80], [270, 80], [270, 187], [100, 187]], float)
    walled = np.full((300, 400, 3), 0.3, np.float32)
    cv2.fillConvexPoly(walled, np.array([[80, 60], [290, 60], [290, 207], [80, 207]]), (0.36, 0.36, 0.36))
    for (a, b), light in zip(((0, 1), (1, 2), (2, 3), (3, 0)), (0.1, 0.2, 0.16, 0.5), strict=True):
        out = floor + np.array([[-9, -9], [9, -9], [9, 9], [-9, 9]])
        cv2.fillConvexPoly(walled, np.array([floor[a], floor[b], out[b], out[a]]).astype(np.int32), (light,) * 3)
    cv2.fillConvexPoly(walled, floor.astype(np.int32), (0.3, 0.3, 0.3))
    assert is_walled(walled, floor, 2.0)
    on_felt = np.full((300, 400, 3), 0.25, np.float32)
    on_felt[:, 330:] = 0.1  # a shadow
    cv2.fillConvexPoly(on_felt, floor.astype(np.int32), (0.18, 0.18, 0.18))
    assert not is_walled(on_felt, floor, 2.0)
    in_tray = walled.copy()
    card = floor + np.array([[12, 12], [-12, 12], [-12, -12], [12, -12]])
    cv2.fillConvexPoly(in_tray, card.astype(np.int32), (0.18, 0.18, 0.18))
    assert not is_walled(in_tray, card, 2.0)
