"""Words for what an answer rests on: who told what, how far it goes, what would change it, and what comes first."""

from __future__ import annotations

from dataclasses import replace

import pytest

from identify.rank import prepare, rank_readings
from identify.rank.newcolour import MISREAD
from identify.records import (
    WARNINGS,
    Bait,
    Candidate,
    Clash,
    Evidence,
    Identification,
    MakerShare,
    ModelShare,
    Notice,
    Settling,
    Without,
)
from identify.report import sheet, words
from identify.told import parse
from tests.unit.test_rank import MOSS, OTTER, PLUM, SET, measurement, seen

CLEAR = measurement(OTTER)
UNCLEAR = replace(CLEAR, warnings=(Notice("outline-unclear", WARNINGS["outline-unclear"]),))


def answer(*shares: tuple[str, str, str | None, float], none: float = 0.0, other: float = 0.0) -> Identification:
    """Candidates of (maker, model, size, probability)."""
    by_model: dict[tuple[str, str], float] = {}
    by_maker: dict[str, float] = {}
    for maker, model, _, p in shares:
        by_model[maker, model] = by_model.get((maker, model), 0) + p
        by_maker[maker] = by_maker.get(maker, 0) + p
    return Identification(
        tuple(Candidate(a, b, size, None, 0, None, None, p, None, ()) for a, b, size, p in shares),
        tuple(MakerShare(m, p) for m, p in sorted(by_maker.items(), key=lambda i: -i[1])),
        tuple(ModelShare(*m, p) for m, p in sorted(by_model.items(), key=lambda i: -i[1])),
        none, other, None, (),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("found", "part", "headline"),
    [
        (answer(("Brack", "Otter", "1", 0.95)), "", "Brack / Otter 1 (95 %)"),
        (
            answer(("Brack", "Otter", "1", 0.5), ("Brack", "Otter", "2", 0.46), none=0.04),
            "Brack / Otter (96 %), size open",
            "Brack / Otter (96 %), size open",
        ),
        (
            answer(("Brack", "Otter", "1", 0.6), ("Brack", "Wedge", "1", 0.36), none=0.04),
            "Brack (96 %), model open",
            "Brack (96 %), model open",
        ),
        (answer(("Brack", "Otter", None, 0.7), ("Kell", "Loaf", None, 0.3)), "", "Brack / Otter (70 %)"),
        (answer(("Brack", "Otter", "1", 0.2), none=0.8), "", "Probably none of these (80 %)"),
        (answer(("Brack", "Otter", "1", 0.4), none=0.1, other=0.5), "", "Perhaps not comparable with the set (50 %)"),
        (answer(none=1.0), "", "Probably none of these (100 %)"),
    ],
)
def test_how_far_an_answer_goes(found: Identification, part: str, headline: str) -> None:
    assert sheet.in_part(found) == part
    assert sheet.headline(found, CLEAR) == headline
    assert sheet.headline(found, UNCLEAR) == f"{headline}, if the outline is right"


def test_an_unclear_outline_comes_before_everything() -> None:
    assert sheet.outline_first(CLEAR) == ""
    assert "may be misread" in sheet.outline_first(UNCLEAR)
    strange = seen(OTTER, PLUM, MOSS)
    p = prepare(SET)
    plain, unclear = (rank_readings(r, p) for r in (strange, replace(strange, body_doubtful=True)))
    assert MISREAD not in plain.new_colour_reasons
    assert unclear.new_colour_reasons[0] == MISREAD and len(unclear.new_colour_reasons) > 1


def test_what_was_told_and_clashes_are_said_in_the_units_wanted() -> None:
    clash = Clash("length_mm", "a length of 63.5 ± 0.2 mm", "60.0 ± 0.3 mm", "Told was 63.5 ± 0.2 mm, …")
    bait = Bait(CLEAR, None, parse(["length_mm=63.5", "ties=2"]), (clash,))
    assert sheet.told_rows(bait, "mm") == [("length, as told", "63.5 ± 0.2 mm"), ("line ties, as told", "2")]
    assert sheet.told_rows(bait, "inch")[0] == ("length, as told", "2.500 ± 0.008 in")
    assert sheet.clashes(bait, "inch") == ("length: Told was 2.500 ± 0.008 in, …",)
    assert sheet.told_rows(Bait(CLEAR), "mm") == [] and sheet.clashes(Bait(CLEAR), "mm") == ()


def test_the_runner_up_and_what_tells_the_two_apart() -> None:
    found = answer(("Brack", "Otter", "1", 0.6), ("Kell", "Loaf", "2", 0.3), none=0.1)
    assert sheet.runner_up(found) == "Runner-up: Kell / Loaf 2 (30 %), 2.0 times less likely."
    assert "expected to set Brack / Otter 1 and Kell / Loaf 2 apart" in sheet.nothing_settles(found, "mm")
    helps = Settling(("Brack / Otter / 1", "Kell / Loaf / 2"), "depth_mm", "measure it: 25.4 mm for …; would help")
    assert sheet.nothing_settles(replace(found, would_help=helps), "inch").endswith(
        "apart for sure. What would tell most: measure it: 1.000 in for …; would help."
    )
    told = Settling(("Brack / Otter / 1", "Kell / Loaf / 2"), "length_mm", "measure it: 50.8 mm for …")
    settled = replace(found, would_settle=(told,))
    assert sheet.nothing_settles(settled, "mm") == ""
    assert sheet.settling(settled, "inch") == ("measure it: 2.000 in for …",)
    assert sheet.runner_up(answer(("Brack", "Otter", "1", 0.9))) == ""
    assert sheet.nothing_settles(answer(("Brack", "Otter", "1", 0.95), ("Kell", "Loaf", "2", 0.03)), "mm") == ""


def test_features_that_carry_the_answer_are_named_the_weightiest_first() -> None:
    name = "Brack / Otter / 1"
    said = (
        Without("length", name, 0.93), Without("eye", name, 0.7), Without("line ties", "Kell / Loaf / 2", 0.6),
        Without("outline", "none of these", 0.95),
    )  # fmt: skip
    found = answer(("Brack", "Otter", "1", 0.94), ("Kell", "Loaf", "2", 0.05))
    found = replace(found, candidates=(replace(found.candidates[0], without=said), found.candidates[1]))
    texts = sheet.without(found)
    assert texts == (
        "without line ties: Kell / Loaf / 2 (60 %)", "without outline: none of these (95 %)",
        "without eye: Brack / Otter / 1 (70 %)",
    )  # fmt: skip
    assert sheet.firm(found) == ""
    firm = replace(found, candidates=(replace(found.candidates[0], without=said[:1]),))
    assert sheet.without(firm) == () and "the same" in sheet.firm(firm)


def test_rows_that_rest_on_a_person_are_marked() -> None:
    row = Evidence("line ties", "2", "2", 0.4, True)
    assert words.feature_name(row) == "line ties (told)"
    candidate = replace(answer(("Brack", "Otter", "1", 0.9)).candidates[0], evidence=(row,))
    assert sheet.weight_for(candidate, "line ties") == 0.4
    assert sheet.weight_for(candidate, "eye") is None and sheet.weight_for(None, "eye") is None


def test_from_when_to_when_is_said_of_the_answer_only() -> None:
    found = answer(("Brack", "Otter", "1", 0.95), none=0.05)
    top = replace(found.candidates[0], made="1936~/1957")
    dated = replace(found, candidates=(top, *found.candidates[1:]))
    assert words.made(dated) == "Made about 1936 to 1957, as the set has it of Brack / Otter 1."
    assert words.made(found) == "" and words.years(None) == "–" and words.years("../1941") == "until 1941"
    assert words.made(replace(dated, none_of_these=0.96)) == ""


def test_a_ring_before_the_nose_is_said_to_be_there() -> None:
    assert OTTER.line_ties and OTTER.line_ties.at_mm
    nosed = replace(OTTER, line_ties=replace(OTTER.line_ties, at_mm=((-1.4, 0.0), OTTER.line_ties.at_mm[1])))
    (row,) = [
        e for e in rank_readings(seen(nosed), prepare([nosed])).candidates[0].evidence if e.feature == "tie places"
    ]
    assert row.measured == row.expected == "1.4 mm before and 18.5 mm from the nose"
