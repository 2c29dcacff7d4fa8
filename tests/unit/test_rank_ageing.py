"""Ageing: all paints of a piece yellow and fade by one amount, and that alone makes no new colourway."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from identify.geometry import Array
from identify.rank import prepare, rank_readings
from identify.rank.ageing import aged, estimate, film, grid, unaged, when_new
from identify.rank.readings import Readings
from identify.records import Colour, Lab
from identify.reference.profile import Colourway
from tests.unit.test_rank import FERRY, OTTER, colour, seen

WHITE, TEAL, RED = (92.0, 0.0, 3.0), (45.0, -28.0, -12.0), (42.0, 50.0, 28.0)
TEAL_OVER_WHITE = Colourway("7", "Teal over white", TEAL, WHITE, pattern="plain")
RED_OVER_WHITE = Colourway("8", "Red over white", RED, WHITE, pattern="plain")
SET = [replace(OTTER, colourways=(TEAL_OVER_WHITE, RED_OVER_WHITE)), replace(FERRY, colourways=(RED_OVER_WHITE,))]


def _lab(values: Array) -> Lab:
    return float(values[0]), float(values[1]), float(values[2])


def painted(back: Colour, belly: Colour) -> Readings:
    return replace(seen(OTTER), back=back, belly=belly)


@given(
    st.tuples(st.floats(10, 95), st.floats(-40, 40), st.floats(-40, 60)), st.floats(0, 0.6), st.floats(0, 0.45)
)  # fmt: skip
def test_ageing_can_be_taken_back(lab: Lab, yellowing: float, fading: float) -> None:
    assert unaged(aged(lab, yellowing, fading), yellowing, fading) == pytest.approx(np.array(lab), abs=1e-6)


def test_a_yellowed_film_keeps_back_blue_most() -> None:
    r, g, b = film(0.4)
    assert b == pytest.approx(0.6)
    assert b < g < r < 1
    white = aged(WHITE, 0.4, 0.0)
    assert white[2] > WHITE[2] + 12
    assert white[0] < WHITE[0]


def test_fading_draws_towards_grey_of_the_same_lightness() -> None:
    assert aged(RED, 0.0, 0.3) == pytest.approx([RED[0], 0.7 * RED[1], 0.7 * RED[2]], abs=1e-6)


def test_the_derivative_leads_from_paint_to_what_shows() -> None:
    (new,), (slopes,) = when_new([TEAL])
    amounts = grid()
    step = np.array([0.4, -0.3, 0.2])
    shown = aged(new + step, amounts.yellowing, amounts.fading)
    assert shown == pytest.approx(np.array(TEAL) + np.einsum("i,gij->gj", step, slopes), abs=0.05)


@pytest.mark.parametrize("basis", ["paint", "photo"])
@pytest.mark.parametrize(("yellowing", "fading"), [(0.0, 0.0), (0.3, 0.0), (0.45, 0.1), (0.2, 0.3)])
def test_a_yellowed_colourway_is_told_and_not_called_new(
    basis: Literal["paint", "photo"], yellowing: float, fading: float
) -> None:
    back, belly = (colour(_lab(aged(lab, yellowing, fading))) for lab in (TEAL, WHITE))
    if basis == "photo":  # what counts is then what the surface shows
        back, belly = (replace(c, lab=(60.0, 0.0, 0.0)) for c in (back, belly))
    ways = tuple(replace(c, basis=basis) for c in (TEAL_OVER_WHITE, RED_OVER_WHITE))
    answer = rank_readings(
        painted(back=back, belly=belly), prepare([replace(form, colourways=ways) for form in SET])
    )  # fmt: skip
    match = answer.candidates[0].colourway
    assert match is not None
    assert (match.code, match.listed) == ("7", True)
    assert answer.colourway_new is not None
    assert answer.colourway_new < (0.25 if basis == "paint" else 0.45)  # two photographed ones are no finished list
    assert answer.ageing is not None
    assert abs(answer.ageing.yellowing.value - yellowing) < 2.5 * answer.ageing.yellowing.u
    assert abs(answer.ageing.fading.value - fading) < 2.5 * answer.ageing.fading.u
    assert 0.02 < answer.ageing.yellowing.u < 0.2


def test_paints_that_changed_apart_are_a_new_colour() -> None:
    yellow_belly = colour(_lab(aged(WHITE, 0.6, 0.0)), 3.0)
    answer = rank_readings(painted(back=colour(TEAL, 3.0), belly=yellow_belly), prepare(SET))
    together = rank_readings(
        painted(back=colour(_lab(aged(TEAL, 0.6, 0.0)), 3.0), belly=yellow_belly), prepare(SET)
    )  # fmt: skip
    assert answer.colourway_new is not None
    assert together.colourway_new is not None
    assert answer.colourway_new > 10 * together.colourway_new


def test_no_ageing_is_told_where_no_colourway_fits() -> None:
    answer = rank_readings(painted(back=colour((20.0, 30.0, -40.0)), belly=colour((60.0, 60.0, 50.0))), prepare(SET))
    assert answer.colourway_new is not None
    assert answer.colourway_new > 0.5
    assert answer.ageing is None
    assert {r.code for r in answer.new_colour_reasons} == {
        "unlisted", "special-order", "repainted", "aged", "another-maker",
    }  # fmt: skip


def test_colours_of_another_maker_are_named_first() -> None:
    plum = Colourway("9", "Plum over moss", (27.0, 24.0, -10.0), (60.0, -17.0, 40.0), pattern="plain")
    forms = [SET[0], replace(FERRY, colourways=(plum,))]
    assert plum.back_lab is not None
    assert plum.belly_lab is not None
    worn = painted(back=colour(plum.back_lab), belly=colour(plum.belly_lab))
    first = rank_readings(worn, prepare(forms)).new_colour_reasons[0]
    assert first.code == "another-maker"
    assert "Brack / Ferry Otter" in first.text
    assert "Plum over moss" in first.text
    sister = [SET[0], replace(FERRY, maker="Kettlemoor", colourways=(plum,))]
    first = rank_readings(worn, prepare(sister)).new_colour_reasons[0]
    assert first.code == "unlisted"
    assert "Plum over moss" in first.text


def test_an_estimate_is_the_mean_over_what_is_likely() -> None:
    amounts = grid()
    chance = ((amounts.yellowing == 0.3) | (amounts.yellowing == 0.5)) & (amounts.fading == 0.15)
    found = estimate(chance.astype(float))
    assert found.yellowing.value == pytest.approx(0.4)
    assert found.yellowing.u == pytest.approx(np.hypot(0.1, 0.05 / np.sqrt(3)))
    assert found.fading.value == pytest.approx(0.15)


def test_a_finish_that_depends_on_the_light_tells_no_age() -> None:
    leaf = replace(TEAL_OVER_WHITE, finish="leaf")
    answer = rank_readings(
        painted(back=colour(TEAL), belly=colour(WHITE)), prepare([replace(OTTER, colourways=(leaf,))])
    )
    assert answer.candidates[0].colourway is not None
    assert answer.candidates[0].colourway.listed
    assert answer.ageing is None
