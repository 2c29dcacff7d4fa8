"""Colour functions: shapes, symmetry, limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from identify.colour import delta_e, hex_of, iscc_nbs, lab_of_munsell, lab_to_linear, linear_to_lab, munsell

LAB = st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))


def test_arrays_of_any_shape() -> None:
    rgb = np.random.default_rng(2).uniform(0, 1, (4, 5, 3))
    lab = linear_to_lab(rgb)
    assert lab.shape == (4, 5, 3)
    np.testing.assert_allclose(lab_to_linear(lab), rgb, atol=1e-9)
    assert delta_e(lab, lab[0, 0]).shape == (4, 5)
    assert delta_e(lab[:, :1], lab[:1]).shape == (4, 5)


@given(LAB, LAB)
def test_difference_is_symmetric_and_zero_only_for_the_same(one: tuple[float, ...], two: tuple[float, ...]) -> None:
    assert delta_e(one, one) == 0
    there, back = float(delta_e(one, two)), float(delta_e(two, one))
    assert there >= 0
    # Opposite hues have no mean hue: there the last bit decides, and the formula is known to jump.
    if abs(there - back) > 1e-6:
        turn = abs(np.degrees(np.arctan2(one[2], one[1]) - np.arctan2(two[2], two[1]))) % 360
        assert abs(turn - 180) < 30


@given(LAB, st.floats(0, 100))
def test_lightness_alone_is_no_difference_when_ignored(lab: tuple[float, float, float], lightness: float) -> None:
    assert delta_e(lab, (lightness, *lab[1:]), ignore_lightness=True) == pytest.approx(0, abs=1e-9)


@given(LAB)
def test_every_colour_has_hex_and_name(lab: tuple[float, float, float]) -> None:
    assert len(hex_of(lab)) == 7
    assert iscc_nbs(lab)
    notation = munsell(lab)
    assert notation is None or "/" in notation


@given(
    st.sampled_from(("R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP")),
    st.integers(1, 100),
    st.integers(10, 90),
    st.integers(5, 60),
)
def test_munsell_round_trip(family: str, tenths: int, value: int, chroma: int) -> None:
    """Within what is tabulated, a notation comes back as itself."""
    hue = f"{tenths / 10}{family}"
    notation = munsell(lab_of_munsell(hue, value / 10, chroma / 10))
    assert notation in (None, f"{hue} {value / 10:.1f}/{chroma / 10:.1f}")
    if 30 <= value <= 80 and chroma <= 40:
        assert notation is not None
