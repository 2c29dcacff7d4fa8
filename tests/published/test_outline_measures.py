"""Areas, Feret diameters, moments and Fourier descriptors of outlines against the world outside.

Sources: shapely (GEOS) for areas and rotating-caliper rectangles; scikit-image `regionprops` for Feret diameters of a
mask; Hu 1962 for the closed forms of the first moment invariant (disk 1/(2 pi), square 1/6: textbook values, from
memory); Kuhl and Giardina 1982 as implemented in pyefd for elliptic Fourier descriptors; Ramanujan 1914 for the
circumference of an ellipse (from memory).
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pyefd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPoint, Polygon
from skimage.draw import polygon2mask
from skimage.measure import regionprops

from identify.body.smooth import fit_closed
from identify.geometry import Array, extent_across, max_feret, polygon_area, resample_closed

A, B = 30.0, 11.0


def ellipse(n: int = 720, a: float = A, b: float = B, turn: float = 0.4) -> Array:
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    c, s = math.cos(turn), math.sin(turn)
    x, y = a * np.cos(t), b * np.sin(t)
    return np.column_stack([50 + c * x - s * y, 40 + s * x + c * y])


def bait(n: int = 400) -> Array:
    """A drop with a slender tail, 60 long."""
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    x = 30 - 30 * np.cos(t)
    return np.column_stack([x, 9 * np.sin(t) * (1 - 0.008 * x) + 1.5 * np.sin(np.pi * x / 60)])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), min_size=3, max_size=25))
def test_area_and_feret_of_hulls_agree_with_shapely(points: list[tuple[float, float]]) -> None:
    hull = MultiPoint(points).convex_hull
    if hull.geom_type != "Polygon" or hull.area < 1:
        return
    ring = np.array(hull.exterior.coords)[:-1]
    assert abs(polygon_area(ring)) == pytest.approx(hull.area, rel=1e-9)
    a, b = max_feret(ring)
    furthest = max(math.dist(p, q) for p in ring for q in ring)
    assert math.dist(a, b) == pytest.approx(furthest, rel=1e-9)


def test_area_of_a_curved_outline_agrees_with_shapely() -> None:
    assert abs(polygon_area(bait())) == pytest.approx(Polygon(bait()).area, rel=1e-12)


def test_feret_diameters_of_an_ellipse_are_its_axes() -> None:
    a, b = max_feret(ellipse())
    assert math.dist(a, b) == pytest.approx(2 * A, rel=1e-4)
    assert extent_across(ellipse(), a, b) == pytest.approx(2 * B, rel=1e-3)


def test_feret_diameter_agrees_with_scikit_image() -> None:
    shape = bait() * 8 + np.array([20, 120])
    mask = polygon2mask((260, 540), shape[:, ::-1])
    (region,) = regionprops(mask.astype(int))
    a, b = max_feret(shape)
    # scikit-image measures around the corners of pixels: up to a pixel and a half longer
    assert math.dist(a, b) == pytest.approx(region.feret_diameter_max, abs=1.5)
    assert abs(polygon_area(shape)) == pytest.approx(region.area, rel=0.005)


def test_depth_agrees_with_the_smallest_rectangle_of_shapely() -> None:
    a, b = max_feret(ellipse())
    rectangle = np.array(Polygon(ellipse()).minimum_rotated_rectangle.exterior.coords)
    sides = sorted(math.dist(p, q) for p, q in itertools.pairwise(rectangle))
    assert extent_across(ellipse(), a, b) == pytest.approx(sides[0], rel=1e-3)


def test_even_spacing_keeps_the_circumference_of_ramanujan() -> None:
    h = ((A - B) / (A + B)) ** 2
    ramanujan = math.pi * (A + B) * (1 + 3 * h / (10 + math.sqrt(4 - 3 * h)))
    even = resample_closed(ellipse(2000), 360)
    steps = np.hypot(*(np.roll(even, -1, 0) - even).T)
    assert steps.sum() == pytest.approx(ramanujan, rel=2e-4)
    assert steps.max() / steps.min() < 1.01


@pytest.mark.parametrize(
    ("outline", "expected"),
    [(ellipse(1440, 20, 20), 1 / (2 * math.pi)), (np.array([[0.0, 0], [8, 0], [8, 8], [0, 8]]), 1 / 6)],
)
def test_first_moment_invariant_of_disk_and_square(outline: Array, expected: float) -> None:
    """Of the area inside a polygon, by Green's theorem, in the normalisation of Hu 1962."""
    x, y = (outline - outline.mean(0)).T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y1 - x1 * y
    second = ((x * x + x * x1 + x1 * x1 + y * y + y * y1 + y1 * y1) * cross).sum() / 12
    assert second / polygon_area(outline) ** 2 == pytest.approx(expected, rel=1e-4)


def test_smoothing_leaves_the_elliptic_fourier_descriptors_alone() -> None:
    """What the outline's smoothing takes away lies above the orders that tell bodies apart."""
    rng = np.random.default_rng(3)
    true = resample_closed(bait(1000), 360)
    tangent = np.roll(true, -1, 0) - np.roll(true, 1, 0)
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]]) / np.hypot(*tangent.T)[:, None]
    noisy = fit_closed(true, normal, rng.normal(0, 0.1, 360), np.ones(360), 12.0)
    before, after = (pyefd.elliptic_fourier_descriptors(p, order=10) for p in (true, noisy))
    assert np.abs(after - before).max() < 0.06
    assert np.abs(after - before)[0].max() / np.abs(before[0]).max() < 0.002


def test_an_ellipse_has_one_elliptic_fourier_order() -> None:
    found = pyefd.elliptic_fourier_descriptors(fit_closed(*_still(ellipse(360, 20, 20)), 12.0), order=6)
    assert np.hypot(*found[0, [0, 1]]) == pytest.approx(20, rel=2e-3)
    assert np.abs(found[1:]).max() < 0.02


def _still(points: Array) -> tuple[Array, Array, Array, Array]:
    outwards = points - points.mean(0)
    return points, outwards / np.hypot(*outwards.T)[:, None], np.zeros(len(points)), np.ones(len(points))
