"""Rings, eye and lip of drawn baits: wire rings on a noisy ground, sunk into the edge of a painted body."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from identify import network
from identify.calibration import Calibration
from identify.geometry import Array, max_feret
from identify.hardware import detect, polar, rings
from identify.hardware.view import PX_PER_MM, look
from identify.photo import Photo
from identify.records import Card, Quantity, Scale
from identify.stages import Body, Hardware, Region, Sizing

SIZE = (900, 560)
NO_CARD = Card(False, None, None, None, None, None, None, "drawn")
SCALED = Calibration(
    NO_CARD, Scale("line", 8.0, 0.01), ((0.125, 0.0, 0.0), (0.0, 0.125, 0.0), (0.0, 0.0, 1.0)), None, 0.001, 0.8,
    (1.0, 1.0, 1.0), 1.0, False, 0.1,
)  # fmt: skip


def drop(px: float, turn: float) -> Array:
    """Outline of a 60 mm body, nose left before it is turned, clockwise as seen."""
    t = np.linspace(0, np.pi, 150)
    x = (1 - np.cos(t)) / 2
    half = 7.5 * np.sin(t) * (1 + 0.5 * (0.5 - x))
    top = np.column_stack([60 * x, -half])
    bottom = np.column_stack([60 * x, half])[::-1]
    return place(np.vstack([top, bottom[1:-1]]), px, turn)


def place(mm: Array, px: float, turn: float) -> Array:
    """Millimetres (x from the nose, y down) to pixels of the drawn photo."""
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    return np.asarray((np.asarray(mm, float) - [30, 0]) @ np.array([[c, s], [-s, c]]) * px + np.array(SIZE) / 2)


def edge(x: float, side: int) -> tuple[float, float]:
    """A point of the outline at x mm, side -1 for the upper edge as drawn."""
    t = math.acos(1 - 2 * x / 60)
    return x, side * 7.5 * math.sin(t) * (1 + 0.5 * (0.5 - x / 60))


def draw(
    ties: list[tuple[float, int]], px: float = 8.0, turn: float = 0.0, wire: int = 225, ground: int = 120,
    shadow: bool = False, eye: float = 4.0, calibration: Calibration = SCALED,
) -> tuple[Hardware, Array]:  # fmt: skip
    """Draw a bait with rings of 4 mm at (x, side) and detect; also the rings' true centres."""
    rng = np.random.default_rng(5)
    fine = 4
    picture = np.full((SIZE[1] * fine, SIZE[0] * fine, 3), ground, np.uint8)
    shift = np.array([0.5, 0.5]) * fine - 0.5

    def at(points: Array) -> Array:
        return np.asarray(points * fine + shift)

    centres = place(np.array([(edge(x, s)[0], edge(x, s)[1] + s * 1.48) for x, s in ties]).reshape(-1, 2), px, turn)

    def ring(centre: Array, tone: int) -> None:
        c = tuple(int(v) for v in np.round(at(centre)))
        cv2.circle(picture, c, round(1.5 * px * fine), (tone, tone, tone), round(px * fine), cv2.LINE_AA)

    if shadow:
        for c in centres:
            ring(c + np.array([2.2, 1.0]) * px, round(ground * 0.6))
        picture = cv2.GaussianBlur(picture, (0, 0), 0.6 * px * fine)
    for c in centres:
        ring(c, wire)
    outline = drop(px, turn)
    cv2.fillPoly(picture, [np.round(at(outline)).astype(np.int32)], (70, 110, 60), cv2.LINE_AA)
    if eye:
        c = tuple(int(v) for v in np.round(at(place(np.array([[7.5, -1.5]]), px, turn)[0])))
        for share, tone in ((1.0, (20, 20, 20)), (0.82, (220, 210, 150)), (0.5, (15, 15, 15))):
            cv2.circle(picture, c, round(eye / 2 * share * px * fine), tone, -1, cv2.LINE_AA)
    small = cv2.resize(picture, SIZE, interpolation=cv2.INTER_AREA).astype(float)
    small = cv2.GaussianBlur(small, (0, 0), 0.7) + cv2.GaussianBlur(rng.normal(0, 6, small.shape), (0, 0), 0.7)
    photo = Photo("drawn", "", np.clip(small, 0, 255).astype(np.uint8), None)
    a, b = max_feret(outline)
    sizing = Sizing(
        ((a[0], a[1]), (b[0], b[1])), None, None, Quantity(0.25, 0.01), None, 0.0, px if calibration.has_scale else None
    )
    linear = np.full((SIZE[1], SIZE[0], 3), (ground / 255) ** 2.2, np.float32)
    blank = np.zeros(linear.shape[:2], bool)
    region = Region((0, 0, *SIZE), 1, blank, blank, linear, False)
    return detect(photo, region, Body(outline, np.ones(len(outline), bool), 0.3), sizing, calibration), centres


def sure(found: Hardware) -> Array:
    return np.array([r.at_px for r in found.rings if r.probability > 0.5]).reshape(-1, 2)


@pytest.mark.parametrize("turn", [0.0, 40.0, 180.0])
@pytest.mark.parametrize(("wire", "ground"), [(225, 120), (230, 235), (60, 120), (225, 40)])
def test_rings_are_found_in_place(turn: float, wire: int, ground: int) -> None:
    if (wire, ground) == (230, 235):
        wire = 205  # bright wire on bright ground: hardly to be seen, but not invisible
    found, true = draw([(18.0, -1), (30.0, -1)], turn=turn, wire=wire, ground=ground)
    places = sure(found)
    for c in true:
        assert np.hypot(*(places - c).T).min() < 0.5 * 8
    assert len(places) == len(true)


def test_none_are_claimed_on_a_bare_body() -> None:
    found, _ = draw([])
    assert len(sure(found)) == 0
    assert found.hooks == ()


def test_a_ring_is_not_its_shadow() -> None:
    found, true = draw([(22.0, -1)], shadow=True)
    assert len(sure(found)) == 1
    assert np.hypot(*(sure(found)[0] - true[0])) < 0.5 * 8


def test_size_and_place_scale_with_the_picture() -> None:
    for px in (6.0, 10.0):
        calibration = Calibration(
            NO_CARD, Scale("line", px, 0.01), ((1 / px, 0.0, 0.0), (0.0, 1 / px, 0.0), (0.0, 0.0, 1.0)), None, 0.001,
            0.8, (1.0, 1.0, 1.0), 1.0, False, 0.1,
        )  # fmt: skip
        found, _ = draw([(22.0, -1)], px=px, calibration=calibration)
        best = max(found.rings, key=lambda r: r.probability)
        assert best.outer_diameter_px / px == pytest.approx(4.0, abs=0.7)


def test_the_eye_is_found_and_measured() -> None:
    found, _ = draw([(22.0, -1)], turn=15.0)
    eye = found.eyes[0]
    true = place(np.array([[7.5, -1.5]]), 8.0, 15.0)[0]
    assert eye.probability > 0.5
    assert np.hypot(*(np.array(eye.at_px) - true)) < 0.5 * 8
    assert eye.diameter_px / 8 == pytest.approx(4.0, abs=0.4)


def test_no_eye_no_claim() -> None:
    found, _ = draw([(22.0, -1)], eye=0.0)
    assert all(e.probability < 0.5 for e in found.eyes)


def test_without_a_scale_the_length_serves() -> None:
    unscaled = Calibration(NO_CARD, Scale("none", None, None), None, None, 0.0, 0.8, (1.0, 1.0, 1.0), 1.0, False, 1.0)
    found, true = draw([(18.0, -1), (30.0, -1)], calibration=unscaled)
    places = sure(found)
    assert len(places) == 2
    assert all(np.hypot(*(places - c).T).min() < 0.5 * 8 for c in true)


def test_few_pixels_are_warned_of() -> None:
    calibration = Calibration(
        NO_CARD, Scale("line", 4.0, 0.01), ((0.25, 0.0, 0.0), (0.0, 0.25, 0.0), (0.0, 0.0, 1.0)), None, 0.001, 0.8,
        (1.0, 1.0, 1.0), 1.0, False, 0.1,
    )  # fmt: skip
    found, _ = draw([(22.0, -1)], px=4.0, calibration=calibration)
    assert [w.code for w in found.warnings] == ["resolution-low"]


def test_networks_refuse_other_inputs() -> None:
    net = network.load("identify.hardware", "rings")
    with pytest.raises(ValueError, match="other inputs"):
        net.probabilities(np.zeros((1, 2)), ("a", "b"))
    p = net.probabilities(np.zeros((3, len(net.names))), net.names)
    assert p.sum(1) == pytest.approx(np.ones(3))


def test_apart_keeps_the_best_of_neighbours() -> None:
    centre = np.array([[0.0, 0.0], [5.0, 0.0], [40.0, 0.0], [80.0, 0.0]])
    assert rings.apart(centre, np.array([1.0, 2.0, 0.5, 0.0]), 1.0, 9) == [1, 2]


def test_sample_reads_along_the_direction() -> None:
    """On a picture whose value is x, the sample at angle 0 from direction (1, 0) grows by the radius."""
    picture = np.tile(np.arange(100, dtype=np.float32), (50, 1))
    start = np.array([[1.0, 0.0]])
    got = polar.sample(picture, np.array([[50.0, 20.0]]), start, np.array([0.0, 90.0, 180.0]), np.array([0.0, 1.0]))
    assert got[0, :, 1] == pytest.approx([50 + PX_PER_MM, 50, 50 - PX_PER_MM])


def test_the_view_leads_back_to_the_photo() -> None:
    outline = drop(8.0, 30.0)
    a, b = max_feret(outline)
    photo = Photo("drawn", "", np.zeros((SIZE[1], SIZE[0], 3), np.uint8), None)
    blank = np.zeros((SIZE[1], SIZE[0]), bool)
    region = Region((0, 0, *SIZE), 1, blank, blank, np.zeros((*blank.shape, 3), np.float32), False)
    sizing = Sizing(((a[0], a[1]), (b[0], b[1])), None, None, Quantity(0.25, 0.01), None, 0.0, 8.0)
    view = look(photo, region, Body(outline, np.ones(len(outline), bool), 0.3), sizing)
    assert view.to_photo(view.from_photo(outline)) == pytest.approx(outline)
    ends = view.from_photo([a, b])
    assert ends[0, 1] == pytest.approx(ends[1, 1])
    assert abs(ends[1, 0] - ends[0, 0]) == pytest.approx(60 * PX_PER_MM, rel=0.01)
    outside = view.outline + view.normals * 10
    assert view.depth[tuple(np.round(outside[::20, ::-1]).astype(int).T)] == pytest.approx(-1.0, abs=0.2)
