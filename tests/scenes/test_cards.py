"""Drawn scenes of what photo sets lack for the card: other sizes, a shadow across it, covered, cut off, hardly seen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
import pytest

from identify.card import find
from identify.errors import BadOption
from identify.geometry import Array
from identify.photo import Photo
from identify.settings import Settings
from tests.unit.card_scenes import Scene, _encode, corner_error, scene

GROUNDS = {"white": (0.80, 0.79, 0.77), "blue": (0.03, 0.07, 0.25), "wood": (0.33, 0.19, 0.08)}
SIZES = {
    "A4": (297.0, 210.0, 1.9, "wood"), "A6": (148.0, 105.0, 3.2, "blue"), "square": (60.0, 60.0, 5.0, "white"),
    "large square": (150.0, 150.0, 2.8, "wood"), "small": (40.0, 30.0, 6.0, "blue"),
    "long": (150.0, 50.0, 4.0, "white"),
}  # fmt: skip
SKIN = (0.45, 0.25, 0.18)


def repainted(photo: Photo, paint: Callable[[Array], Array]) -> Photo:
    """The photo with its linear light changed."""
    return replace(photo, pixels=_encode(paint(photo.linear().astype(float))))


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES.keys())
def test_other_sizes_are_found_and_give_their_scale(size: tuple[float, float, float, str]) -> None:
    long, short, px_per_mm, ground = size
    made = scene(
        size_mm=(long, short), card=(0.5, 0.5, 0.5), ground=GROUNDS[ground], px_per_mm=px_per_mm, radius_mm=0.0,
        roll_deg=20, tilt_deg=6, offset=(0.0, 0.0),
    )  # fmt: skip
    found = find(made.photo, Settings(card_size_mm=(short, long), card_reflectance=0.5))  # either way round
    assert found.card.found, found.card.why_not
    assert corner_error(np.array(found.card.corners_px), made.corners_px) < 0.4
    ends = found.to_mm(made.corners_px[:2])
    assert abs(float(np.hypot(*(ends[1] - ends[0]))) / long - 1) < max(3 * found.scale_u, 0.001)


@pytest.mark.parametrize(
    "size", [(0.0, 50.0), (8.56, 5.4), (2000.0, 1500.0), (300.0, 20.0), (float("nan"), 50.0), (-85.6, 53.98)]
)
def test_sizes_that_cannot_be_are_refused(size: tuple[float, float]) -> None:
    with pytest.raises(BadOption, match="card"):
        find(scene(card=None).photo, Settings(card_size_mm=size))


def test_the_wrong_size_told_is_not_found_and_says_what_to_do() -> None:
    found = find(scene().photo, Settings(card_size_mm=(148.0, 105.0)))
    assert not found.card.found
    assert found.card.why_not is not None and "--card-size" in found.card.why_not


def shaded(made: Scene, turned_deg: float, left: float, soft_px: float) -> Photo:
    """The scene with everything beyond a line through the card in a shadow that leaves a share of the light."""
    height, width = made.photo.pixels.shape[:2]
    yy, xx = np.mgrid[:height, :width].astype(float)
    a = np.radians(turned_deg)
    middle = made.corners_px.mean(0)
    beyond = (xx - middle[0]) * np.cos(a) + (yy - middle[1]) * np.sin(a) > 15
    shadow = cv2.GaussianBlur(beyond.astype(np.float32), (0, 0), soft_px)
    return repainted(made.photo, lambda light: light * (1 - (1 - left) * shadow)[..., None])


@pytest.mark.parametrize(
    ("ground", "turned", "left", "soft"), [("white", 10, 0.5, 1.0), ("blue", 70, 0.25, 10.0), ("wood", 130, 0.6, 3.0)]
)
def test_a_shadow_across_it(ground: str, turned: float, left: float, soft: float) -> None:
    made = scene(ground=GROUNDS[ground], px_per_mm=5)
    found = find(shaded(made, turned, left, soft), Settings())
    assert found.card.found, found.card.why_not
    assert corner_error(np.array(found.card.corners_px), made.corners_px) < 0.4
    assert "card-uneven" in {n.code for n in found.warnings}
    # the exposure is right for the card in the light or in the shadow, and its uncertainty covers the other
    assert min(abs(np.log(found.exposure)), abs(np.log(found.exposure * left))) < 0.15
    assert abs(np.log(left)) < 2.5 * found.u_exposure


@pytest.mark.parametrize("split", [0.3, 0.45, 0.8])
def test_a_two_toned_thing_of_its_size_on_even_ground_is_no_card(split: float) -> None:
    wide = 85.6 * split
    parts = (
        ((wide / 2 - 42.8, 0.0, wide, 53.98), (0.22, 0.22, 0.22)),
        ((wide / 2, 0.0, 85.6 - wide, 53.98), (0.11, 0.11, 0.11)),
    )
    found = find(scene(card=None, things=parts, radius_mm=0.0, px_per_mm=5).photo, Settings())
    if found.card.found:  # each part is a grey rectangle of its own, which may have the card's proportion
        seen = np.array(found.card.corners_px)
        assert float(np.hypot(*(seen - np.roll(seen, 1, 0)).T).max()) < 0.75 * 85.6 * 5


@pytest.mark.parametrize(("ground", "beyond_mm"), [("white", 3.0), ("wood", 25.0)])
def test_cut_by_the_frame(ground: str, beyond_mm: float) -> None:
    made = scene(
        ground=GROUNDS[ground], px_per_mm=6, offset=(0.5 - (45 - beyond_mm) * 6 / 1000, 0.0), roll_deg=5, tilt_deg=5
    )
    found = find(made.photo, Settings())
    assert not found.card.found
    assert found.card.why_not is not None and "reaches over the edge of the photo" in found.card.why_not


def fingered(made: Scene, reach_mm: float) -> Photo:
    """The scene with a finger over one of the card's corners."""
    mask = np.zeros(made.photo.pixels.shape[:2], np.uint8)
    corner = made.corners_px[1]
    out = corner - made.corners_px.mean(0)
    out /= np.hypot(*out)
    middle = corner + out * (60 - reach_mm) * 4.8
    axes = (288, round(5.4 * reach_mm))
    cv2.ellipse(
        mask, np.round(middle).astype(int).tolist(), axes, np.degrees(np.arctan2(out[1], out[0])), 0, 360, 1, -1
    )
    soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.8)[..., None]
    return repainted(made.photo, lambda light: light * (1 - soft) + soft * np.array(SKIN))


@pytest.mark.parametrize("ground", ["blue", "wood"])
def test_a_finger_over_a_corner(ground: str) -> None:
    made = scene(ground=GROUNDS[ground], px_per_mm=6)
    little = find(fingered(made, 10), Settings())
    assert little.card.found  # its sides are seen well enough
    assert corner_error(np.array(little.card.corners_px), made.corners_px) < 0.4
    assert "card-covered" in {n.code for n in little.warnings}
    much = find(fingered(made, 30), Settings())
    assert not much.card.found
    assert much.card.why_not is not None and "part of it is covered" in much.card.why_not


def test_nothing_over_it_is_not_called_covered() -> None:
    assert "card-covered" not in {n.code for n in find(scene(px_per_mm=6).photo, Settings()).warnings}


@pytest.mark.parametrize("level", [0.20, 0.21, 0.155])
def test_on_a_ground_that_it_hardly_stands_out_from(level: float) -> None:
    made = scene(ground=(level, level, level), grain=0.02, px_per_mm=5, seed=5)
    found = find(made.photo, Settings())
    assert found.card.found, found.card.why_not
    assert corner_error(np.array(found.card.corners_px), made.corners_px) < 0.6


def test_two_cards_are_named() -> None:
    things = (((0.0, 70.0, 85.6, 53.98), (0.18, 0.18, 0.18)),)
    found = find(scene(things=things, px_per_mm=3.4, offset=(0.0, -0.1)).photo, Settings())
    assert not found.card.found
    assert found.card.why_not is not None and "2 things could be the grey card" in found.card.why_not


def test_white_paper_taken_for_a_grey_card_says_so() -> None:
    made = scene(card=(0.85, 0.85, 0.85), ground=(0.2, 0.12, 0.05))
    found = find(made.photo, Settings())
    assert not found.card.found
    assert found.card.why_not is not None and "white rather than grey" in found.card.why_not
