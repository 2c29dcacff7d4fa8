"""Path data against SVG 1.1 (W3C Recommendation, second edition, 2011), chapter 8: the examples triangle01, cubic01 and
quad01, the equivalent spellings of 8.3.1, and the grammar of 8.3.9 (quoted from memory); areas against closed forms,
crossings against shapely."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import LinearRing, Point, Polygon

from identify.geometry import Array, polygon_area
from identify.reference.placement import distance_to
from identify.reference.svgpath import FLATNESS, PathFault, crossing, parse


def points(data: str) -> Array:
    (path,) = parse(data)
    return path.points


def test_triangle01() -> None:
    (path,) = parse("M 100 100 L 300 100 L 200 300 z")
    assert path.closed
    np.testing.assert_array_equal(path.points, [[100, 100], [300, 100], [200, 300]])


@pytest.mark.parametrize(
    "data",
    [
        "M 100 100 L 200 200 L 300 100 Z",
        "M100 100L200 200 300 100Z",  # superfluous white space and repeated commands left out
        "M 100 100 200 200 300 100 Z",  # further pairs of a moveto are linetos
        "m 100 100 l 100 100 l 100 -100 z",
        "m100,100 100,100 100-100z",
        "M1e2+100L2.e2 200,.3E3 100 100 100Z",
    ],
)
def test_equivalent_spellings(data: str) -> None:
    np.testing.assert_array_equal(points(data), [[100, 100], [200, 200], [300, 100]])


def test_numbers_need_no_separator_where_none_is_needed() -> None:
    np.testing.assert_array_equal(points("M0.6.5L10-20 5 5"), [[0.6, 0.5], [10, -20], [5, 5]])


def test_horizontal_and_vertical() -> None:
    box = [[10, 10], [20, 10], [30, 10], [30, 20], [10, 20]]
    np.testing.assert_array_equal(points("M10 10H20 30V20H10Z"), box)
    np.testing.assert_array_equal(points("m10 10h10 10v10h-20z"), box)


def near(curve: Array, place: tuple[float, float]) -> bool:
    ring = np.vstack([curve, curve[::-1]])
    return bool(distance_to(ring, np.array([place]))[0] <= FLATNESS)


def test_cubic01() -> None:
    curve = points("M100,200 C100,100 250,100 250,200 S400,300 400,200")
    assert near(curve, (175, 125)) and near(curve, (250, 200)) and near(curve, (325, 275))
    same = points("M100,200 c0-100 150-100 150,0 s150,100 150,0")
    np.testing.assert_allclose(curve, same)


def test_quad01() -> None:
    curve = points("M200,300 Q400,50 600,300 T1000,300")
    assert near(curve, (400, 175)) and near(curve, (600, 300)) and near(curve, (800, 425))
    np.testing.assert_allclose(curve, points("M200,300 q200-250 400,0 t400,0"))


def test_a_smooth_curve_after_another_command_starts_at_the_point_itself() -> None:
    np.testing.assert_allclose(points("M0 0 L10 0 S20 10 30 0"), points("M0 0 L10 0 C10 0 20 10 30 0"))
    np.testing.assert_allclose(points("M0 0 L10 0 T30 0"), points("M0 0 L10 0 Q10 0 30 0"))


def test_after_z_a_path_goes_on_at_its_start() -> None:
    first, second = parse("m10 10 l10 0 l0 10 z l-5 0 l0 -5 z")
    np.testing.assert_array_equal(first.points, [[10, 10], [20, 10], [20, 20]])
    np.testing.assert_array_equal(second.points, [[10, 10], [5, 10], [5, 5]])


def test_areas_of_curves() -> None:
    k = 4 / 3 * (np.sqrt(2) - 1)  # the four-curve circle, 0.027 % too large in radius at most
    r = 50.0
    q = k * r
    arcs = f"C{r} {q} {q} {r} 0 {r}S{-r} {q} {-r} 0C{-r} {-q} {-q} {-r} 0 {-r}S{r} {-q} {r} 0"
    circle = f"M{r} 0{arcs}Z"
    assert abs(polygon_area(points(circle))) == pytest.approx(np.pi * r * r, rel=5e-4)
    # a parabola's segment has two thirds of its box (Archimedes)
    assert abs(polygon_area(points("M0 0Q30 40 60 0Z"))) == pytest.approx(2 / 3 * 60 * 20, rel=1e-3)


@pytest.mark.parametrize(
    ("data", "code"),
    [
        ("M0 0 A10 10 0 0 1 20 0 Z", "outline-command"),
        ("M0 0 X5 5", "outline-command"),
        ("L0 0 L10 10", "outline-syntax"),
        ("", "outline-syntax"),
        ("M0 0 L10", "outline-syntax"),
        ("M0 0 L10 ten", "outline-syntax"),
        ("M0 0 L10 10 Z 5 5", "outline-syntax"),
        ("M0 0 L1#0 10", "outline-syntax"),
    ],
)
def test_what_is_refused(data: str, code: str) -> None:
    with pytest.raises(PathFault) as fault:
        parse(data)
    assert fault.value.code == code


def test_crossings_agree_with_shapely() -> None:
    rng = np.random.default_rng(7)
    seen = set()
    for _ in range(300):
        n = int(rng.integers(4, 9))
        angle = np.sort(rng.uniform(0, 2 * np.pi, n))
        ring = np.column_stack([np.cos(angle), np.sin(angle)]) * rng.uniform(0.3, 1, (n, 1)) + rng.normal(
            0, 0.2, (n, 2)
        )
        simple = LinearRing(ring).is_simple
        where = crossing(ring)
        assert (where is None) == simple
        if where is not None:
            assert LinearRing(ring).distance(Point(where)) < 1e-9
        seen.add(simple)
    assert seen == {True, False}


@pytest.mark.parametrize(
    "ring",
    [
        [[0, 0], [4, 0], [4, 4], [2, 0], [0, 4]],  # a corner lies on another side
        [[0, 0], [2, 2], [4, 0], [4, 4], [2, 2], [0, 4]],  # two corners in one place
        [[0, 0], [4, 0], [8, 0], [4, 0], [4, 4]],  # turns back on itself
    ],
)
def test_touching_counts_as_crossing(ring: list[list[float]]) -> None:
    assert not Polygon(ring).is_valid
    assert crossing(np.array(ring, float)) is not None


def test_points_in_line_do_not_cross() -> None:
    assert crossing(np.array([[0, 0], [1, 0], [2, 0], [3, 0], [3, 1], [2, 1], [1, 1], [0, 1]], float)) is None
