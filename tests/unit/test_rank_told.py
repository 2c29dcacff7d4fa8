"""What was told, as evidence: it replaces the photo's reading, tells the kind of bait, and settles look-alikes."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from identify.errors import BadOption
from identify.rank import Noise, Readings, prepare, rank_readings
from identify.rank.facts import KINDS, OTHERS
from identify.rank.priors import parse as parse_prior
from identify.rank.telling import tell
from identify.records import Identification, Quantity
from identify.reference.profile import EyeProfile, Form
from identify.told import parse
from tests.unit.test_rank import DEEP, FERRY, LOAF, OTTER, PLUMS, SET, form, seen, stranger, total

MADE = [replace(f, material="plastic", parts=1, tie_kind="wire", hanger_kind="wire") for f in SET]


def told(r: Readings, *texts: str, forms: list[Form] = MADE, prior: dict[str, float] | None = None) -> Identification:
    return rank_readings(tell(r, parse(texts)), prepare(forms), prior, at_most=99, explain=True)


def weights(answer: Identification, model: str) -> dict[str, float]:
    return next({e.feature: e.weight for e in c.evidence} for c in answer.candidates if c.model == model)


@pytest.mark.parametrize(
    "texts",
    [
        ("length_mm=56",), ("depth_mm=15",), ("length_mm=56", "depth_mm=15"), ("thickness_mm=11",), ("weight_g=9",),
        ("ties=2",), ("hangers=2",), ("hooks=3",), ("eye=painted",), ("eye=none",), ("lip=none",), ("lip=metal",),
        ("tie_kind=wire",), ("hanger_kind=cup",), ("material=plastic",), ("material=metal", "parts=2"),
        ("ties=1", "length_mm=55", "material=wood", "parts=1", "weight_g=10"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("scaled", [True, False])
def test_probability_is_what_the_evidence_adds_up_to(texts: tuple[str, ...], scaled: bool) -> None:
    r = seen(OTTER) if scaled else seen(OTTER, length_mm=None, eye_diameter_mm=None)
    answer = told(r, *texts)
    assert total(answer) == pytest.approx(1, abs=1e-9)
    for c in answer.candidates:
        together = sum(e.weight for e in c.evidence)
        assert together == pytest.approx(math.log10(c.probability / answer.none_of_these), abs=1e-6)
        assert {e.feature for e in c.evidence if e.told}, "a row rests on what was told"
        assert all(math.isfinite(e.weight) for e in c.evidence)


def test_what_is_told_replaces_what_the_photo_shows() -> None:
    misread = replace(seen(OTTER), tie_counts=(0.0, 0.99, 0.01, 0.0, 0.0, 0.0), tie_places=None)
    assert rank_readings(misread, prepare(MADE)).candidates[0].model == "Ferry Otter"
    answer = told(misread, "ties=2")
    assert answer.candidates[0].model == "Low Otter"
    row = next(e for e in answer.candidates[0].evidence if e.feature == "line ties")
    assert row.told and row.measured == "2"
    assert weights(answer, "Low Otter") == weights(told(replace(misread, tie_counts=None), "ties=2"), "Low Otter")


@pytest.mark.parametrize("texts", [("length_mm=53",), ("depth_mm=15.9",), ("length_mm=53", "depth_mm=15.9")])
def test_a_told_length_or_depth_ranks_sizes_without_a_scale(texts: tuple[str, ...]) -> None:
    bare = seen(PLUMS[1], length_mm=None, depth_mm=None, eye_diameter_mm=None)
    answer = told(bare, *texts)
    best = answer.candidates[0]
    assert (best.model, best.size) == ("Garth Plum", "1")
    assert best.probability > 0.9


def test_a_told_length_is_no_part_of_a_misread_body() -> None:
    lost = replace(seen(OTTER), outline=seen(stranger(56.0, 15.0, 2)).outline)
    rows = weights(told(lost, "length_mm=56"), "Low Otter")
    assert rows["length"] == pytest.approx(weights(told(seen(OTTER), "length_mm=56"), "Low Otter")["length"])


def test_rings_that_a_person_does_not_count_hold_no_place() -> None:
    rows = weights(told(seen(OTTER), "ties=1"), "Ferry Otter")
    assert "tie places" not in rows and "tie places" in weights(told(seen(OTTER), "ties=3"), "Ferry Otter")


def test_replaced_parts_and_slips_do_not_rule_a_model_out() -> None:
    for text in ("tie_kind=screw-eye", "hanger_kind=cup", "eye=none", "hooks=0", "lip=metal", "material=wood"):
        assert told(seen(OTTER), text).candidates[0].model == "Low Otter", text


def test_kinds_of_hardware_tell_models_apart() -> None:
    twin = replace(OTTER, maker="Brack", model="Copy", tie_kind="cup", eye=EyeProfile((6.72, 2.0), 3.4, "glass"))
    two = [replace(OTTER, tie_kind="wire"), twin]
    assert told(seen(OTTER), "tie_kind=cup", "eye=glass", forms=two).candidates[0].model == "Copy"
    assert told(seen(OTTER), "tie_kind=wire", "eye=painted", forms=two).candidates[0].model == "Low Otter"


def test_weight_tells_a_hollow_one_from_a_solid_one() -> None:
    two = [replace(OTTER, weight_g=9.0), replace(OTTER, maker="Brack", model="Hollow", weight_g=6.5)]
    assert told(seen(OTTER), "weight_g=6.6", forms=two).candidates[0].model == "Hollow"
    assert told(seen(OTTER), "weight_g=1/3oz", forms=two).candidates[0].model == "Low Otter"


@pytest.mark.parametrize("key", KINDS)
def test_tables_of_kinds_add_up(key: str) -> None:
    assert KINDS[key].told.sum(1) == pytest.approx(1)
    assert KINDS[key].broad.sum() == pytest.approx(1)


def test_kinds_of_other_baits_add_up() -> None:
    assert sum(o.share for o in OTHERS.values()) == pytest.approx(1)
    assert all(o.material.sum() == pytest.approx(1) and o.parts.sum() == pytest.approx(1) for o in OTHERS.values())


# ------------------------------------------------------------------ not comparable

TEN = [
    (seen(OTTER), ("parts=2",)),
    (seen(OTTER), ("material=metal",)),
    (seen(FERRY), ("material=rubber",)),
    (seen(stranger(75.0, 16.0, 1)), ("parts=2", "material=wood")),
    (seen(stranger(60.0, 12.0, 3)), ("material=metal", "parts=1")),
    (seen(stranger(50.0, 20.0, 1)), ("material=rubber", "weight_g=6")),
    (seen(DEEP, length_mm=None, eye_diameter_mm=None), ("parts=3",)),
    (seen(LOAF), ("parts=2", "material=plastic")),
    (seen(PLUMS[2]), ("material=metal", "parts=2", "length_mm=61")),
    (seen(stranger(58.0, 18.0, 2)), ("material=other", "parts=2")),
]


def test_jointed_metal_and_soft_baits_are_not_comparable() -> None:
    """Ten told cases: at least eight of ten at one half or more."""
    found = [told(r, *texts).not_comparable for r, texts in TEN]
    assert sum(p >= 0.5 for p in found) >= 8, found
    plain = [told(r, "parts=1", "material=plastic").not_comparable for r, _ in TEN]
    assert max(plain) < 0.02, plain
    untold = [rank_readings(r, prepare(MADE)).not_comparable for r, _ in TEN]
    assert max(untold) < 0.02, untold


def test_a_set_that_has_jointed_baits_can_be_asked_of_them() -> None:
    jointed = [*MADE, form("Brack", "Broken Otter", 56.0, 15.0, 1, parts=2, material="wood")]
    answer = told(seen(FERRY), "parts=2", "material=wood", forms=jointed)
    assert answer.candidates[0].model == "Broken Otter"
    assert answer.not_comparable < 0.02
    assert told(seen(FERRY), "material=metal", forms=jointed).not_comparable > 0.5


def test_a_set_that_does_not_say_what_its_baits_are_made_of_is_asked_all_the_same() -> None:
    bare = [replace(f, material=None, parts=None) for f in SET]
    assert told(seen(OTTER), "material=metal", forms=bare).not_comparable > 0.5
    assert told(seen(OTTER), "material=wood", forms=bare).candidates[0].probability > 0.9


# ------------------------------------------------------------------ what would change the answer


def test_without_each_feature_the_answer_is_that_of_a_bait_without_it() -> None:
    r = replace(seen(OTTER), hooks=None)
    answer = rank_readings(r, prepare(MADE), explain=True)
    found = {w.feature: w for w in answer.candidates[0].without}
    assert set(found) == {e.feature for e in answer.candidates[0].evidence} - {
        "a misread body", "which way round", "look-alikes on no list", "prior", "calibration",
    }  # fmt: skip
    for feature, changes in {
        "line ties": {"tie_counts": None}, "tie places": {"tie_places": None}, "length": {"length_mm": None},
        "depth to length": {"aspect": None}, "outline": {"outline": None}, "hangers": {"hangers": None},
    }.items():  # fmt: skip
        again = rank_readings(replace(r, **changes), prepare(MADE))  # type: ignore[arg-type]
        first = again.candidates[0]
        if feature == "length":  # without a length sizes are not ranked
            assert found[feature].top.startswith(first.name)
            continue
        assert found[feature].top == first.name
        assert found[feature].probability == pytest.approx(first.probability, abs=1e-3), feature
    assert all(not c.without for c in answer.candidates[1:])


def test_look_alikes_without_the_one_thing_that_tells_them_apart() -> None:
    answer = rank_readings(seen(OTTER, tie_places=None), prepare(MADE), explain=True)
    found = {w.feature: w for w in answer.candidates[0].without}
    assert found["line ties"].probability < 0.6 < found["eye"].probability


def test_counting_the_ties_would_settle_it_and_does() -> None:
    open_one = replace(seen(OTTER), tie_counts=None, tie_places=None)
    answer = rank_readings(open_one, prepare(MADE), explain=True)
    found = {s.key: s for s in answer.would_settle}
    assert set(found) == {"ties"}
    assert set(found["ties"].between) == {OTTER.maker + " / Low Otter / 1", "Brack / Ferry Otter / 1"}
    assert "count the line ties" in found["ties"].text
    for truth in (OTTER, FERRY):
        assert truth.line_ties is not None
        settled = told(open_one, f"ties={truth.line_ties.count}")
        assert settled.candidates[0].model == truth.model
        assert settled.candidates[0].probability > 0.9
        assert settled.would_settle == ()


def test_a_length_settles_two_sizes_where_there_is_no_scale() -> None:
    bare = seen(PLUMS[1], length_mm=None, eye_diameter_mm=None)
    # without a scale a candidate is a model, so that there is nothing between two sizes
    assert rank_readings(bare, prepare(MADE), explain=True).would_settle == ()
    unsure = seen(PLUMS[1], length_mm=Quantity(53.0, 8.0), eye_diameter_mm=None)
    answer = rank_readings(unsure, prepare(MADE), explain=True)
    assert "length_mm" in {s.key for s in answer.would_settle}


def test_where_nothing_differs_nothing_settles() -> None:
    twins = [OTTER, replace(OTTER, maker="Brack", model="Copy")]
    answer = rank_readings(seen(OTTER), prepare(twins), explain=True)
    assert answer.candidates[0].probability < 0.6
    assert answer.would_settle == () and answer.would_help is None


def test_a_depth_that_does_not_settle_helps_and_says_how_it_must_be_measured() -> None:
    assert OTTER.depth_mm is not None
    deeper = replace(OTTER, maker="Brack", model="Deep", depth_mm=OTTER.depth_mm * 1.025)
    twins = [replace(f, depth_tolerance_mm=0.01 * OTTER.depth_mm) for f in (OTTER, deeper)]
    r = seen(OTTER, aspect=Quantity(0.27, 0.03), outline=None)
    answer = rank_readings(r, prepare(twins), explain=True)
    assert answer.would_settle == ()
    helps = answer.would_help
    assert helps is not None and helps.key == "depth_mm"
    assert "to 0.05 mm, several times" in helps.text and "would help without settling it" in helps.text
    # what is said comes true: told so, the right one gets likelier, whichever it is
    for truth in (OTTER, deeper):
        again = told(r, f"depth_mm={truth.depth_mm}+-0.05", forms=twins)
        assert again.candidates[0].model == truth.model and again.candidates[0].probability > 0.6


def test_a_settled_answer_needs_nothing() -> None:
    answer = rank_readings(seen(LOAF), prepare(MADE), explain=True)
    assert answer.would_settle == () and answer.would_help is None


def test_what_would_change_the_answer_changes_no_answer() -> None:
    plain, explained = (rank_readings(seen(OTTER), prepare(MADE), explain=e) for e in (False, True))
    assert replace(explained.candidates[0], without=()) == plain.candidates[0]
    assert explained.none_of_these == plain.none_of_these


# ------------------------------------------------------------------ priors as people write them


def test_priors_are_read_whatever_the_case() -> None:
    makers = ("Brack & Linn", "Kettlemoor Works")
    assert parse_prior(["brack & linn=4", "Kettlemoor Works = 0.5"], makers) == {
        "Brack & Linn": 4.0, "Kettlemoor Works": 0.5,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Brak & Lin=4", "Nearest: Brack & Linn"),
        ("kettlemoor=4", "Nearest: Kettlemoor Works"),
        ("Brack & Linn", "MAKER=WEIGHT"),
        ("=3", "MAKER=WEIGHT"),
        ("Brack & Linn=much", "no weight"),
        ("Brack & Linn=-1", "no weight"),
        ("Brack & Linn=inf", "no weight"),
    ],
)
def test_priors_that_cannot_be_read(text: str, said: str) -> None:
    with pytest.raises(BadOption) as refused:
        parse_prior([text], ("Brack & Linn", "Kettlemoor Works"))
    assert said in refused.value.message


def test_the_prior_is_a_row_that_names_the_makers_weight() -> None:
    answer = told(seen(OTTER), "ties=2", prior={"Brack": 4.0})
    rows = {c.model: next(e for e in c.evidence if e.feature == "prior") for c in answer.candidates}
    assert "weighed 4" in rows["Ferry Otter"].expected and "weighed 1" in rows["Low Otter"].expected
    # half of the models are as many times likelier as their makers weigh, split over a maker's models
    assert 10 ** (rows["Ferry Otter"].weight - rows["Low Otter"].weight) == pytest.approx(4.0)


def test_what_is_told_is_not_divided_by_the_temperature() -> None:
    odds = []
    for noise in (Noise(), Noise(temperature=3.0)):
        answer = rank_readings(tell(Readings(), parse(["length_mm=57.5", "ties=1"])), prepare(MADE, noise))
        by_name = {c.name: c.probability for c in answer.candidates}
        odds.append(by_name["Brack / Ferry Otter / 1"] / by_name["Auldaine / Garth Plum / 2"])
    assert odds[0] == pytest.approx(odds[1])
