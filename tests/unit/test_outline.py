"""Outlines in the bait's frame, their profiles and descriptors."""

import numpy as np
import pytest

from identify.outline import (
    CAMBER_WAVES,
    DESCRIPTORS,
    STATIONS,
    THICKNESS_WAVES,
    TURNED,
    descriptors,
    frame_of,
    heights_from,
    profile,
    profiles,
    rms_height,
    to_frame,
)


def ellipse(length: float = 60.0, depth: float = 15.0, n: int = 400) -> np.ndarray:
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return np.column_stack([length / 2 * (1 - np.cos(t)), depth / 2 * np.sin(t)])


def wedge() -> np.ndarray:
    """A body without any symmetry: fuller in front and above, a little bent."""
    x = np.linspace(0, 1, 120)
    thick = x**0.5 * (1 - x) ** 0.9
    middle = 0.05 * np.sin(np.pi * x)
    upper, lower = middle + 0.3 * thick, middle - 0.2 * thick
    return np.column_stack([np.append(x, x[-2:0:-1]), np.append(upper, lower[-2:0:-1])]) * 60


def test_frame_puts_nose_at_origin_and_back_up():
    nose, tail = (10.0, 40.0), (50.0, 40.0)
    above_in_picture = (20.0, 35.0)  # y points down in pictures
    assert to_frame([above_in_picture], nose, tail, back_is_left=True) == pytest.approx(np.array([[10.0, 5.0]]))
    assert to_frame([above_in_picture], nose, tail, back_is_left=False) == pytest.approx(np.array([[10.0, -5.0]]))
    assert to_frame([(20, 45)], nose, tail, True, y_down=False) == pytest.approx(np.array([[10.0, 5.0]]))


def test_frame_of_chooses_the_end_near_the_hint():
    nose, tail = frame_of(ellipse(), (55.0, 1.0))
    assert nose == pytest.approx([60, 0], abs=0.01)
    assert tail == pytest.approx([0, 0], abs=0.01)


def test_profile_of_an_ellipse_follows_its_equation():
    at = (np.arange(STATIONS) + 0.5) / STATIONS
    half = np.sqrt(at * (1 - at))
    assert profile(ellipse()) == pytest.approx(np.vstack([half, -half]), abs=2e-3)


def test_profile_knows_neither_size_nor_proportion():
    assert profile(ellipse(40, 9)) == pytest.approx(profile(ellipse(90, 33)), abs=1e-9)


def test_profile_takes_the_outermost_of_several_crossings():
    square = np.array([[0, -1], [0, 1], [4, 1], [4, 0.2], [2, 0.2], [2, -0.2], [4, -0.2], [4, -1]], float)
    heights = profile(square)
    assert heights[0] == pytest.approx(0.5)
    assert heights[1] == pytest.approx(-0.5)


def test_profile_does_not_depend_on_where_and_which_way_the_outline_starts():
    body = wedge()
    assert profile(np.roll(body, 37, axis=0)[::-1]) == pytest.approx(profile(body), abs=1e-12)


def test_many_outlines_at_once_are_each_on_its_own():
    several = [wedge(), wedge()[::3] * [2.0, 5.0], np.array([[0.0, 0.0], [4.0, -1.0], [9.0, 0.5], [3.0, 2.0]])]
    together = profiles(np.vstack(several), [len(one) for one in several])
    assert together == pytest.approx(np.array([profile(one) for one in several]), abs=1e-12)
    assert descriptors(together) == pytest.approx(np.array([descriptors(one) for one in together]), abs=1e-12)


def test_descriptors_of_sine_waves_are_their_amplitudes():
    at = (np.arange(STATIONS) + 0.5) / STATIONS
    thick, camber = 0.9 * np.sin(np.pi * at) + 0.1 * np.sin(3 * np.pi * at), 0.05 * np.sin(2 * np.pi * at)
    found = descriptors(np.vstack([camber + thick / 2, camber - thick / 2]))
    expected = np.zeros(DESCRIPTORS)
    expected[[0, 2, THICKNESS_WAVES + 1]] = 0.9, 0.1, 0.05
    assert found == pytest.approx(expected, abs=1e-12)


def test_descriptors_keep_the_shape():
    heights = profile(wedge())
    assert np.abs(heights_from(descriptors(heights)) - heights)[:, 3:-3].max() < 0.03
    assert rms_height(descriptors(heights)) == pytest.approx(np.sqrt((heights**2).mean()), rel=0.02)


@pytest.mark.parametrize(("way", "x", "y"), [(0, 1, 1), (1, 1, -1), (2, -1, 1), (3, -1, -1)])
def test_turning_the_bait_round_only_changes_signs(way: int, x: int, y: int):
    body = wedge()
    turned = body * [x, y]
    turned[:, 0] -= turned[:, 0].min()
    assert TURNED[way] * descriptors(profile(body)) == pytest.approx(descriptors(profile(turned)), abs=1e-9)
    assert len(TURNED[way]) == THICKNESS_WAVES + CAMBER_WAVES
