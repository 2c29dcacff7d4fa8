"""What people tell, as they write it: numbers, fractions, units, ±, words, and whose it is."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from identify.clash import clashes
from identify.errors import BadOption
from identify.records import Clash, Lip, Measurement, Quantity
from identify.told import KEYS, Told, of_bait, parse, unused
from tests.unit.test_serialise import measurement


@pytest.mark.parametrize(
    ("text", "key", "value", "u"),
    [
        ("length_mm=63.5", "length_mm", 63.5, 0.2),
        ("length_mm=63.5+-0.3", "length_mm", 63.5, 0.3),
        ("length_mm=63.5±0.3", "length_mm", 63.5, 0.3),
        ("length_mm= 63,5 mm +/- 0,3 mm", "length_mm", 63.5, 0.3),
        ("length_mm=6.35cm", "length_mm", 63.5, 0.2),
        ("length_mm=2-1/2in", "length_mm", 63.5, 0.2),
        ('depth_mm=3/4"', "depth_mm", 19.05, 0.2),
        ("length_mm=2 1/2 inches +- 1/32 in", "length_mm", 63.5, 0.79375),
        ("thickness_mm=0.5+-0.01in", "thickness_mm", 12.7, 0.254),
        ("thickness_mm=0.5in+-0.01", "thickness_mm", 12.7, 0.254),
        ("weight_g=14", "weight_g", 14.0, 0.5),
        ("weight_g=0.5oz", "weight_g", 14.17476, 0.5),
        ("weight_g=1/2oz+-0.1oz", "weight_g", 14.17476, 2.834952),
    ],
)
def test_quantities_with_and_without_units(text: str, key: str, value: float, u: float) -> None:
    (told,) = parse([text])
    assert (told.key, told.bait) == (key, None)
    assert told.value == pytest.approx(value, rel=1e-6) and told.u == pytest.approx(u, rel=1e-6)


def test_counts_words_and_whose_they_are() -> None:
    found = parse(["2:ties=1", "material=Wood", "tie_kind=screw eye", "parts=2", "1:hooks=0", "eye=tack"])
    assert found == (
        Told("eye", "tack"), Told("tie_kind", "screw-eye"), Told("material", "wood"), Told("parts", 2),
        Told("hooks", 0, None, 1), Told("ties", 1, None, 2),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("lenght_mm=63", "length_mm"),
        ("colour=red", "It knows"),
        ("ties=two", "whole number"),
        ("ties=-1", "whole number"),
        ("parts=0", "from 1"),
        ("length_mm=63..5", "63.5+-0.3"),
        ("length_mm=0", "1 to 2000"),
        ("length_mm=nan", "63.5+-0.3"),
        ("length_mm=1/0in", "63.5+-0.3"),
        ("length_mm=63.5+-0", "above 0"),
        ("length_mm=63.5+-70", "above 0"),
        ("length_mm=3oz", "Units here: mm"),
        ("weight_g=2in", "Units here: g"),
        ("material=steel", "wood, plastic, metal"),
        ("0:ties=1", "2:ties=1"),
        ("x:ties=1", "2:ties=1"),
        ("ties", "KEY=VALUE"),
        ("ties=", "KEY=VALUE"),
    ],
)
def test_what_cannot_be_read_is_said_with_what_to_write(text: str, said: str) -> None:
    with pytest.raises(BadOption) as refused:
        parse([text])
    assert said in refused.value.message and refused.value.what_to_do


def test_nothing_is_told_twice_of_one_bait() -> None:
    assert len(parse(["1:ties=1", "2:ties=2"])) == 2
    with pytest.raises(BadOption, match="twice"):
        parse(["ties=1", "ties=2"])


@given(st.text(max_size=20))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        (told,) = parse([text])
    except BadOption:
        return
    assert told.key in KEYS


def test_what_names_no_bait_holds_for_the_only_one() -> None:
    told = parse(["ties=2", "2:ties=1", "3:hooks=0"])
    assert [t.value for t in of_bait(told, 1, 1)] == [2]
    assert of_bait(told, 1, 3) == ()
    assert [t.value for t in of_bait(told, 2, 3)] == [1]
    assert [t.key for t in unused(told, 3)] == ["ties"]
    assert [(t.bait, t.key) for t in unused(told, 1)] == [(2, "ties"), (3, "hooks")]


# clashes with the photo


def clash(text: str, **changes: object) -> tuple[Clash, ...]:
    m: Measurement = replace(measurement(), **changes)  # type: ignore[arg-type]
    return clashes(parse([text]), m)


@pytest.mark.parametrize(
    "text",
    ["length_mm=64", "length_mm=65+-1", "ties=2", "hangers=1", "hooks=0", "lip=none", "eye=painted", "weight_g=9"],
)
def test_what_the_photo_shows_too_is_no_clash(text: str) -> None:
    assert clash(text) == ()


@pytest.mark.parametrize(
    ("text", "told", "measured"),
    [
        ("length_mm=66", "66.00 ± 0.20", "63.40 ± 0.40"),
        ("ties=4", "4 line ties", "2 line ties"),
        ("hangers=2", "2 hangers", "1 hanger"),
        ("hooks=2", "2 hooks", "no hooks"),
        ("lip=metal", "a lip of metal", "no lip"),
        ("eye=none", "no eye", "an eye"),
    ],
)
def test_a_clash_says_both(text: str, told: str, measured: str) -> None:
    (found,) = clash(text)
    assert told in found.told and measured in found.measured
    assert found.told in found.text and found.measured in found.text and "told counts" in found.text


def test_an_unsure_count_clashes_with_nothing_that_it_may_be() -> None:
    ties = measurement().line_ties
    assert ties is not None
    unsure = replace(ties, count=None, probabilities=(0.0, 0.4, 0.6, 0.0, 0.0, 0.0))
    assert clash("ties=1", line_ties=unsure) == ()
    assert len(clash("ties=3", line_ties=unsure)) == 1


def test_without_a_scale_the_proportion_is_held_against_what_was_told() -> None:
    bare = replace(measurement(), length_mm=None, depth_mm=None, depth_to_length=Quantity(0.282, 0.004))
    assert clashes(parse(["length_mm=63.5", "depth_mm=17.9"]), bare) == ()
    (found,) = clashes(parse(["length_mm=63.5", "depth_mm=22"]), bare)
    assert found.key == "depth_mm" and "of the length" in found.measured


def test_a_lip_not_looked_for_clashes_with_nothing() -> None:
    assert clash("lip=metal", lip=None) == () and clash("lip=metal", lip=Lip(False, 0.3)) == ()
