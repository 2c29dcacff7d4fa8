"""Ranking: what is right, what is open, and that probabilities are what the evidence adds up to.

Facts of the trade among them are common practice, no published source.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from identify.errors import BadOption
from identify.geometry import Array
from identify.outline import TURNED, descriptors, profile
from identify.rank import Noise, Readings, prepare, rank, rank_readings, read
from identify.rank.likelihood import hanger_table, hook_table, ties_present, turn_places
from identify.rank.priors import form_priors
from identify.records import (
    Candidate,
    Colour,
    Eye,
    Hangers,
    Hooks,
    Identification,
    Lab,
    LineTies,
    Lip,
    Measurement,
    Quantity,
    View,
)
from identify.reference.profile import Colourway, EyeProfile, Form, RingPlaces

SLATE, STRAW, MOSS, PLUM = (36.0, -2.0, -9.0), (80.0, 1.0, 38.0), (38.0, -17.0, 27.0), (27.0, 24.0, -10.0)
LISTED = (
    Colourway("31", "Slate over straw", SLATE, STRAW, pattern="plain"),
    Colourway("32", "Straw over slate", STRAW, SLATE, pattern="plain"),
)


def body(length: float, depth: float, fore: float = 0.6) -> tuple[tuple[float, float], ...]:
    """A side outline of this length and depth, thickest where `fore` says (0.6 in front, 1.2 behind)."""
    x = (1 - np.cos(np.linspace(0, np.pi, 60))) / 2
    thick = x**fore * (1 - x) ** 0.8
    upper, lower = 0.55 * depth * thick / thick.max(), -0.45 * depth * thick / thick.max()
    return tuple(
        (float(a), float(b))
        for a, b in np.column_stack([np.append(x, x[-2:0:-1]) * length, np.append(upper, lower[-2:0:-1])])
    )


def form(maker: str, model: str, length: float = 56.0, depth: float = 15.0, ties: int = 2, **other: object) -> Form:
    places = tuple((length * (0.2 + 0.13 * k), 0.55 * depth + 1.2) for k in range(ties))
    values: dict[str, object] = {
        "set": 0, "maker": maker, "model": model, "size": "1", "variant": None, "made": None, "known_by": None,
        "length_mm": length, "tolerance_mm": 0.3, "depth_mm": depth, "depth_tolerance_mm": 0.12, "thickness_mm": None,
        "weight_g": None, "outline_mm": body(length, depth), "line_ties": RingPlaces(ties, places),
        "hangers": RingPlaces(2, ((0.45 * length, -0.45 * depth - 1), (length + 1, 0.0))),
        "eye": EyeProfile((0.12 * length, 2.0), 3.4, "painted"), "hooks": 2, "lip": "none", "tie_kind": None,
        "hanger_kind": None, "material": None, "parts": 1, "colourways": LISTED,
    }  # fmt: skip
    return Form(**{**values, **other})  # type: ignore[arg-type]


def colour(lab: Lab, u: float = 4.0) -> Colour:
    return Colour(lab, u, (u, u * 0.7, u * 0.7), lab, u, 0.9, "#808080", None, "grey")


def seen(of: Form, back: Lab = SLATE, belly: Lab = STRAW, **other: object) -> Readings:
    """A perfect reading of a form."""
    ties, hangers, eye, n = of.line_ties, of.hangers, of.eye, of.length_mm
    assert ties and ties.at_mm is not None and hangers and hangers.at_mm and eye and eye.at_mm and of.depth_mm
    assert of.outline_mm
    ratio = of.depth_mm / n
    values: dict[str, object] = {
        "length_mm": Quantity(n, 0.003 * n), "aspect": Quantity(ratio, 0.006 * ratio),
        "outline": descriptors(profile(of.outline_mm)), "p_nose": 0.99, "p_back": 0.99,
        "tie_counts": tuple(0.95 if k == ties.count else 0.01 for k in range(6)), "tie_count": ties.count,
        "tie_places": np.array(ties.at_mm) / n if ties.count else None, "hangers": 2,
        "hanger_places": np.array(hangers.at_mm) / n, "hooks": 2, "eye_place": np.array([eye.at_mm]) / n,
        "eye_diameter_mm": Quantity(3.4, 0.2), "lip": 0.03, "back": colour(back), "belly": colour(belly),
    }  # fmt: skip
    return Readings(**{**values, **other})  # type: ignore[arg-type]


OTTER, FERRY = form("Kettlemoor", "Low Otter"), form("Brack", "Ferry Otter", ties=1)
LOAF = form("Kettlemoor", "Cairn Loaf", 56.0, 24.4)
DEEP = form("Brack", "Cairn Deep", 56.0, 25.4)
PLUMS = [form("Auldaine", "Garth Plum", s, 0.3 * s, 1, size=str(k)) for k, s in enumerate((46.0, 53.0, 61.0, 70.0))]
SET = [OTTER, FERRY, LOAF, DEEP, *PLUMS]


def stranger(length: float, depth: float, ties: int) -> Form:
    """Thickest behind, as none of the set."""
    return form("?", "stranger", length, depth, ties, outline_mm=body(length, depth, 1.3))


def total(answer: Identification) -> float:
    return sum(c.probability for c in answer.candidates) + answer.none_of_these + answer.not_comparable


def names(candidate: Candidate) -> tuple[str, str | None]:
    return candidate.model, candidate.size


@pytest.mark.parametrize("truth", SET, ids=lambda f: f"{f.model} {f.size}")
def test_a_good_reading_of_a_form_ranks_it_first(truth: Form):
    answer = rank_readings(seen(truth), prepare(SET))
    assert names(answer.candidates[0]) == (truth.model, truth.size)
    assert answer.candidates[0].probability > 0.9
    assert answer.by_maker[0].maker == truth.maker
    assert total(answer) == pytest.approx(1, abs=1e-9)
    rest = answer.none_of_these + answer.not_comparable
    assert sum(m.probability for m in answer.by_model) + rest == pytest.approx(1, abs=1e-9)


@pytest.mark.parametrize("scaled", [True, False])
@pytest.mark.parametrize("prior", [{}, {"Brack": 3.0}])
def test_probability_is_what_the_evidence_adds_up_to(scaled: bool, prior: dict[str, float]):
    r = seen(PLUMS[1]) if scaled else seen(PLUMS[1], length_mm=None, eye_diameter_mm=None)
    noise = Noise(temperature=1.3, offset=-0.4)
    answer = rank_readings(r, prepare(SET, noise), prior)
    for c in answer.candidates:
        assert sum(e.weight for e in c.evidence) == pytest.approx(
            math.log10(c.probability / answer.none_of_these), abs=1e-6
        )  # fmt: skip
        assert {"prior", "calibration"} <= {e.feature for e in c.evidence}
        assert all(math.isfinite(e.weight) for e in c.evidence)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.permutations(SET), st.integers(0, len(SET) - 1))
def test_the_order_of_forms_changes_nothing(order: list[Form], which: int):
    r = seen(SET[which])
    assert rank_readings(r, prepare(order)) == rank_readings(r, prepare(SET))


def test_without_a_scale_sizes_are_not_ranked():
    answer = rank_readings(seen(PLUMS[2], length_mm=None, eye_diameter_mm=None), prepare(SET))
    assert names(answer.candidates[0]) == ("Garth Plum", None)
    assert [c.model for c in answer.candidates].count("Garth Plum") == 1
    assert total(answer) == pytest.approx(1, abs=1e-9)
    assert "length" not in {e.feature for e in answer.candidates[0].evidence}


def test_sizes_fifteen_percent_apart_are_told_apart():
    answer = rank_readings(seen(PLUMS[1]), prepare(PLUMS))
    assert names(answer.candidates[0]) == ("Garth Plum", "1")
    assert answer.candidates[0].probability > 100 * answer.candidates[1].probability


def test_an_empty_set_leaves_none_of_these_only():
    answer = rank_readings(seen(OTTER), prepare([]))
    assert (answer.none_of_these, answer.candidates, answer.colourway_new) == (1.0, (), None)


def test_a_set_of_one_model_stays_open_to_others():
    alone = prepare([OTTER])
    assert rank_readings(seen(OTTER), alone).none_of_these < 0.05
    assert rank_readings(seen(stranger(75.0, 16.0, 1)), alone).none_of_these > 0.95


def test_a_set_of_look_alikes_stays_open_to_others():
    twins = [form("Brack", f"Otter {k}", 56.0, 15.0 * (1 + 0.01 * k)) for k in range(6)]
    answer = rank_readings(seen(twins[3]), prepare(twins))
    assert answer.none_of_these < 0.05
    assert max(c.probability for c in answer.candidates) < 0.6  # 1 % apart in depth: nobody can tell
    assert rank_readings(seen(stranger(70.0, 24.0, 1)), prepare(twins)).none_of_these > 0.95


def test_a_stranger_is_none_of_these():
    assert rank_readings(seen(stranger(58.0, 18.0, 3)), prepare(SET)).none_of_these > 0.95


def test_what_is_not_measured_counts_for_nothing():
    r = Readings(length_mm=Quantity(56.0, 0.2))
    answer = rank_readings(r, prepare(SET))
    shown = {e.feature for e in answer.candidates[0].evidence}
    assert shown == {"length", "a misread body", "which way round", "look-alikes on no list", "prior", "calibration"}


def test_what_the_set_does_not_say_counts_for_nothing():
    bare = form(
        "Brack", "Bare", tolerance_mm=None, depth_mm=None, depth_tolerance_mm=None, outline_mm=None, line_ties=None,
        hangers=None, eye=None, hooks=None, lip=None, parts=None, colourways=(),
    )  # fmt: skip
    answer = rank_readings(seen(OTTER), prepare([bare]))
    weights = {e.feature: e.weight for e in answer.candidates[0].evidence}
    for feature in ("depth to length", "outline", "line ties", "tie places", "hangers", "eye", "hooks", "lip"):
        assert weights[feature] == 0, feature
    assert answer.candidates[0].colourway is None


def test_a_lost_tie_leaves_the_model_in_sight():
    one_left = seen(OTTER)
    assert one_left.tie_places is not None
    r = replace(
        one_left, tie_counts=(0.0, 0.97, 0.03, 0.0, 0.0, 0.0), tie_count=1, tie_places=one_left.tie_places[:1], traces=1
    )
    answer = rank_readings(r, prepare(SET))
    assert "Low Otter" in [c.model for c in answer.candidates[:2]]


def test_a_trace_of_a_lost_tie_speaks_for_more_ties():
    r = replace(seen(FERRY), tie_places=None)
    without = {c.model: c.probability for c in rank_readings(r, prepare([OTTER, FERRY])).candidates}
    with_trace = {
        c.model: c.probability for c in rank_readings(replace(r, traces=1), prepare([OTTER, FERRY])).candidates
    }
    assert with_trace["Low Otter"] > 3 * without["Low Otter"]


@pytest.mark.parametrize("way", [1, 2, 3])
def test_a_bait_read_the_wrong_way_round_is_still_known(way: int):
    r = seen(OTTER)
    assert r.outline is not None and r.tie_places is not None
    assert r.hanger_places is not None and r.eye_place is not None
    places = {
        k: turn_places(v)[way]
        for k, v in {"tie_places": r.tie_places, "hanger_places": r.hanger_places, "eye_place": r.eye_place}.items()
    }
    colours = {"back": r.belly, "belly": r.back} if way in (1, 3) else {}
    unsure = replace(r, outline=TURNED[way] * r.outline, p_nose=0.8, p_back=0.8, **places, **colours)  # type: ignore[arg-type]
    answer = rank_readings(unsure, prepare(SET))
    assert answer.candidates[0].model == "Low Otter"
    assert answer.candidates[0].probability > 0.8
    assert answer.candidates[0].colourway is not None
    assert answer.candidates[0].colourway.code == "31"


# ------------------------------------------------------------------ facts of the trade


def test_a_colourway_and_its_swap_are_two_colourways():
    p = prepare(SET)
    plain, swapped = (rank_readings(seen(OTTER, *c), p).candidates[0] for c in ((SLATE, STRAW), (STRAW, SLATE)))
    assert plain.colourway is not None and swapped.colourway is not None
    assert (plain.colourway.code, swapped.colourway.code) == ("31", "32")
    assert min(plain.colourway.probability, swapped.colourway.probability) > 0.85
    assert plain.colourway.delta_e_back == pytest.approx(0)


def test_look_alike_bodies_are_told_apart_by_the_number_of_line_ties():
    p = prepare(SET)
    for truth in (OTTER, FERRY):
        answer = rank_readings(replace(seen(truth), tie_places=None), p)
        assert answer.candidates[0].model == truth.model
        assert answer.candidates[0].probability > 0.8


def test_a_colour_outside_the_printed_range_does_not_make_another_model():
    answer = rank_readings(seen(OTTER, PLUM, MOSS), prepare(SET))
    assert answer.candidates[0].model == "Low Otter"
    assert answer.candidates[0].probability > 0.9
    assert answer.colourway_new is not None
    assert answer.colourway_new > 0.5
    assert answer.candidates[0].colourway is not None
    assert not answer.candidates[0].colourway.listed
    assert {r.code for r in answer.new_colour_reasons} >= {"unlisted", "special-order", "repainted", "aged"}


def test_a_listed_colour_is_not_called_new():
    answer = rank_readings(seen(OTTER, (40.0, -3.0, -6.0), (76.0, 3.0, 33.0)), prepare(SET))
    assert answer.colourway_new is not None
    assert answer.colourway_new < 0.5
    assert answer.new_colour_reasons == ()


def test_colours_known_from_photographs_are_compared_with_what_the_surface_shows():
    by_photo = replace(LISTED[0], basis="photo")
    shiny = replace(colour(SLATE), lab=(60.0, 20.0, 20.0))
    answers = [
        rank_readings(replace(seen(OTTER), back=shiny), prepare([replace(OTTER, colourways=(c,))]))
        for c in (by_photo, LISTED[0])
    ]
    gaps = [a.candidates[0].colourway.delta_e_back for a in answers if a.candidates[0].colourway]
    assert gaps[0] == pytest.approx(0)
    assert gaps[1] is not None
    assert gaps[1] > 20


def test_a_model_without_colours_leaves_the_others_alone():
    bare = replace(FERRY, colourways=())
    with_bare, without = (rank_readings(seen(OTTER), prepare(s)) for s in ([bare, OTTER], [OTTER]))
    assert with_bare.candidates[0].colourway == without.candidates[0].colourway
    weights = {e.feature: e.weight for c in with_bare.candidates if c.maker == "Brack" for e in c.evidence}
    assert weights["colours"] == 0


# ------------------------------------------------------------------ priors


def test_priors_are_split_evenly_over_models_then_sizes():
    p = prepare(SET)
    share = form_priors(p, {})
    by_model: dict[str, float] = {}
    for f, s in zip(p.forms, share, strict=True):
        by_model[f.model] = by_model.get(f.model, 0) + float(s)
    assert by_model == pytest.approx(
        {"Garth Plum": 1 / 3, "Low Otter": 1 / 6, "Cairn Loaf": 1 / 6, "Ferry Otter": 1 / 6, "Cairn Deep": 1 / 6}
    )
    assert share[[f.model == "Garth Plum" for f in p.forms]] == pytest.approx(1 / 12)
    assert form_priors(p, {"Auldaine": 4.0}).sum() == pytest.approx(1)


def test_a_prior_moves_what_evidence_leaves_open():
    r = replace(seen(OTTER), tie_counts=None, tie_places=None)
    plain, told = (rank_readings(r, prepare(SET), prior) for prior in ({}, {"Brack": 20.0}))
    assert plain.candidates[0].probability == pytest.approx(plain.candidates[1].probability, rel=1e-3)
    assert told.candidates[0].maker == "Brack"


def test_a_maker_of_weight_zero_is_left_out():
    answer = rank_readings(seen(OTTER), prepare(SET), {"Kettlemoor": 0.0})
    assert {c.maker for c in answer.candidates} == {"Brack", "Auldaine"}
    assert total(answer) == pytest.approx(1, abs=1e-9)


@pytest.mark.parametrize(
    "prior",
    [{"Nobody": 1.0}, {"Brack": -1.0}, {"Brack": math.nan}, dict.fromkeys(("Brack", "Auldaine", "Kettlemoor"), 0.0)],
)
def test_a_prior_that_makes_no_sense_is_refused(prior: dict[str, float]):
    with pytest.raises(BadOption):
        rank_readings(seen(OTTER), prepare(SET), prior)


def test_the_first_of_two_sets_wins():
    other = replace(OTTER, set=1, length_mm=80.0)
    p = prepare([other, OTTER])
    assert [f.set for f in p.forms] == [0]


def test_the_list_is_cut_and_the_sum_is_not():
    whole, cut = (rank_readings(seen(OTTER), prepare(SET), at_most=k) for k in (99, 2))
    assert cut.candidates == whole.candidates[:2]
    assert cut.none_of_these == whole.none_of_these


# ------------------------------------------------------------------ from a measurement


def measurement(of: Form, flip: bool = False, scale: float = 10.0) -> Measurement:
    """A form as a measured photo of 10 px/mm: nose left and back up, or (flip) turned by half a turn in the picture."""
    assert of.outline_mm and of.line_ties and of.line_ties.at_mm and of.hangers and of.hangers.at_mm and of.eye
    assert of.eye.at_mm and of.depth_mm
    sign = -1.0 if flip else 1.0

    def px(points: object) -> tuple[tuple[float, float], ...]:
        at = np.atleast_2d(np.asarray(points, float)) * [sign * scale, -sign * scale] + [1000, 700]
        return tuple((float(x), float(y)) for x, y in at)

    n, ratio = of.length_mm, of.depth_mm / of.length_mm
    return Measurement(
        number=1, outline_px=px(of.outline_mm), outline_mm=of.outline_mm, view=View("side", 0.99),
        nose_px=px((0, 0))[0], tail_px=px((n, 0))[0], nose="right" if flip else "left", back="down" if flip else "up",
        axis_deg=180.0 if flip else 0.0, shows="left", orientation_certainty=(0.99, 0.99),
        length_mm=Quantity(n, 0.2), depth_mm=Quantity(of.depth_mm, 0.15), depth_to_length=Quantity(ratio, 0.003),
        thickness_mm=None, px_per_mm=scale,
        line_ties=LineTies(of.line_ties.count, tuple(float(k == of.line_ties.count) for k in range(6)),
                           px(of.line_ties.at_mm), of.line_ties.at_mm),
        hangers=Hangers(2, px(of.hangers.at_mm), of.hangers.at_mm), hooks=Hooks(2, ()),
        eye=Eye(px(of.eye.at_mm)[0], of.eye.at_mm, Quantity(3.4, 0.2)), lip=Lip(False, 0.02),
        back_colour=colour(SLATE), belly_colour=colour(STRAW), zones=(), pattern=None, hard_to_read=(),
        warnings=(),
    )  # fmt: skip


@pytest.mark.parametrize("flip", [False, True])
def test_readings_are_the_same_from_pixels_and_from_millimetres(flip: bool):
    m = measurement(OTTER, flip)
    bare = replace(
        m, outline_mm=None, length_mm=None, depth_mm=None, line_ties=replace(m.line_ties, at_mm=None),
        hangers=replace(m.hangers, at_mm=None), eye=replace(m.eye, at_mm=None, diameter_mm=None),
    )  # fmt: skip
    one, other = read(m), read(bare)
    for name in ("outline", "tie_places", "hanger_places", "eye_place"):
        a: Array = getattr(one, name)
        assert getattr(other, name) == pytest.approx(a, abs=2e-3), name


def test_a_measurement_is_ranked():
    answer = rank(measurement(OTTER), SET)
    assert answer.candidates[0].model == "Low Otter"
    assert rank(measurement(OTTER), prepare(SET)) == answer
    assert {e.feature: e.expected for e in answer.candidates[0].evidence}["line ties"] == "2"


def test_a_view_of_the_back_is_not_scored_as_a_side_view():
    r = read(replace(measurement(OTTER), view=View("back", 0.9)))
    assert r.outline is None
    assert r.aspect is None
    assert r.back is None
    assert r.tie_counts is not None
    assert r.length_mm is not None


@pytest.mark.parametrize("table", [ties_present(Noise()), hanger_table(Noise()), hook_table(Noise())])
def test_tables_of_chances_add_up(table: Array):
    assert table.sum(1) == pytest.approx(1)
    assert (table > 0).any(1).all()
