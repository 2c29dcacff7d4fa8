"""Several photos of one piece: what is averaged, what photos share, which way round, and what is left out."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from importlib.resources import files

import jsonschema
import numpy as np
import pytest

from identify.answer import References, rank_photo
from identify.piece import Shot, against, average, join, settle
from identify.rank import prepare, rank
from identify.records import (
    Bait,
    Hangers,
    LineTies,
    Measurement,
    Notice,
    Pattern,
    PhotoRecord,
    Quantity,
    View,
)
from identify.same_piece import join_photos
from identify.serialise import piece_json
from identify.settings import Settings
from identify.told import parse
from identify.view import as_shown
from tests.docs.write_piece_schema import PLACE, text
from tests.unit.test_rank import LOAF, MOSS, OTTER, PLUM, SET, SLATE, colour, measurement


def shot(m: Measurement, name: str = "a.jpg") -> Shot:
    return Shot(name, m)


def sized(m: Measurement, factor: float, u: float = 0.004) -> Measurement:
    """The same bait measured too large by a factor, with a u that is the photo's own."""
    assert m.length_mm is not None
    assert m.depth_mm is not None
    length, depth = (
        Quantity.of(q.value * factor, outline=u * q.value, scale=0.0007 * q.value) for q in (m.length_mm, m.depth_mm)
    )
    return replace(m, length_mm=length, depth_mm=depth)


def turned(m: Measurement) -> Measurement:
    """The same photo read with back and belly taken for each other: the frame is mirrored."""
    assert m.outline_mm is not None
    assert m.line_ties is not None
    assert m.hangers is not None
    assert m.eye is not None
    assert m.eye.at_mm is not None

    def flip(points: tuple[tuple[float, float], ...] | None) -> tuple[tuple[float, float], ...] | None:
        return None if points is None else tuple((x, -y) for x, y in points)

    ties, hangers = m.line_ties, m.hangers
    return replace(
        m, outline_mm=flip(m.outline_mm), shows="right" if m.shows == "left" else "left",
        line_ties=replace(ties, count=2, probabilities=(0, 0.02, 0.97, 0.01, 0, 0), at_px=hangers.at_px,
                          at_mm=flip(hangers.at_mm)),
        hangers=Hangers(len(ties.at_px), ties.at_px, flip(ties.at_mm)),
        eye=replace(m.eye, at_mm=(m.eye.at_mm[0], -m.eye.at_mm[1])),
        back_colour=m.belly_colour, belly_colour=m.back_colour, orientation_certainty=(0.99, 0.6),
    )  # fmt: skip


OWN = measurement(OTTER)


def test_lengths_are_averaged_and_what_photos_share_is_not() -> None:
    a, b = (Quantity.of(63.0 + d, outline=0.3, height_of_the_silhouette=0.2) for d in (-0.2, 0.2))
    both = average.mean([a, b])
    assert both.value == pytest.approx(63.0)
    parts = {p.what: p.u for p in both.parts}
    assert parts["height of the silhouette"] == pytest.approx(0.2)
    assert parts["photos"] == pytest.approx(0.3 / math.sqrt(2), rel=0.02)
    assert both.u == pytest.approx(math.hypot(*parts.values()))
    assert both.u < a.u


def test_the_card_s_own_size_is_shared() -> None:
    many = [Quantity.of(100.0, scale=0.1, outline=0.05) for _ in range(100)]
    assert {p.what: p.u for p in average.mean(many).parts}["scale"] == pytest.approx(0.06)


def test_readings_that_scatter_more_than_they_say_get_a_larger_u() -> None:
    apart = average.mean([Quantity.of(60.0, outline=0.1), Quantity.of(62.0, outline=0.1)])
    assert apart.value == pytest.approx(61.0)
    assert apart.u > 0.9


def test_the_surer_photo_counts_more() -> None:
    q = average.mean([Quantity.of(60.0, outline=0.1), Quantity.of(60.6, outline=1.0)])
    assert q.value == pytest.approx(60.0, abs=0.02)


def test_a_single_reading_stays_as_it_is() -> None:
    q = Quantity.of(60.0, outline=0.1)
    assert average.mean([q]) is q
    assert average.colour([colour(SLATE)]) == colour(SLATE)


def test_tie_counts_of_two_photos_are_multiplied() -> None:
    unsure = (0.0, 0.45, 0.55, 0.0, 0.0, 0.0)
    both = average.counts([unsure, (0.0, 0.1, 0.9, 0.0, 0.0, 0.0)])
    assert sum(both) == pytest.approx(1)
    assert both[2] > 0.9
    wrong = average.counts([(0.0, 0.0, 1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0, 0.0, 0.0)])
    assert wrong[1] == pytest.approx(wrong[2])


def test_colours_are_averaged_with_what_the_camera_does_left_in() -> None:
    one = average.colour([colour((40.0, 0.0, 0.0)), colour((44.0, 2.0, 0.0))])
    assert one is not None
    assert one.lab == pytest.approx((42.0, 1.0, 0.0))
    assert one.u == pytest.approx(4.0 * math.sqrt(0.75))
    assert average.colour([]) is None


def test_patterns_that_agree_become_surer_and_others_less() -> None:
    dots, plain = Pattern("dots", (10.0, 0.0, 0.0), 0.1, 0.7), Pattern("plain", None, 0.0, 0.6)
    same, mixed = average.pattern([dots, dots]), average.pattern([dots, plain])
    assert same is not None
    assert mixed is not None
    assert same.certainty > 0.9
    assert mixed.kind == "dots"
    assert mixed.certainty < 0.7


def test_one_piece_twice_agrees_and_another_does_not() -> None:
    again = shot(sized(measurement(OTTER, flip=True), 1.004))
    assert sum(against(shot(sized(OWN, 1.0)), again).values()) > -1
    other = against(shot(OWN), shot(measurement(LOAF)))
    assert sum(other.values()) < -4 or other["outline"] == pytest.approx(-2.0)
    repainted = against(shot(OWN), shot(replace(OWN, back_colour=colour(PLUM), belly_colour=colour(MOSS))))
    assert sum(repainted.values()) < -4
    longer = against(shot(sized(OWN, 1.0)), shot(sized(OWN, 1.12)))
    assert longer["length"] < -4


def test_without_a_length_another_outline_sets_a_photo_apart() -> None:
    def bare(m: Measurement) -> Shot:
        return shot(replace(m, length_mm=None, depth_mm=None))

    assert sum(against(bare(OWN), bare(measurement(LOAF))).values()) < -4
    assert sum(against(bare(OWN), bare(measurement(OTTER, flip=True))).values()) > -1


def test_two_photos_give_a_surer_length_and_the_same_bait() -> None:
    together = join([shot(sized(OWN, 0.998)), shot(sized(measurement(OTTER, flip=True), 1.002), "b.jpg")])
    m = together.measurement
    assert (together.used, together.odd) == ((0, 1), {})
    assert m.length_mm is not None
    assert OWN.length_mm is not None
    assert m.length_mm.value == pytest.approx(OWN.length_mm.value, rel=1e-3)
    assert m.length_mm.u < 0.004 * m.length_mm.value
    assert m.line_ties is not None
    assert m.line_ties.at_mm is not None
    assert OTTER.line_ties is not None
    assert OTTER.line_ties.at_mm is not None
    assert np.array(m.line_ties.at_mm) == pytest.approx(np.array(OTTER.line_ties.at_mm), abs=0.2)
    assert m.outline_mm is not None
    assert float(np.ptp(np.array(m.outline_mm)[:, 0])) == pytest.approx(m.length_mm.value, rel=1e-6)
    best = rank(m, prepare(SET)).candidates[0]
    assert (best.maker, best.model) == (OTTER.maker, OTTER.model)


def test_one_photo_is_itself() -> None:
    m = join([shot(OWN)]).measurement
    assert (m.length_mm, m.back_colour, m.hangers and m.hangers.count) == (OWN.length_mm, OWN.back_colour, 2)
    assert m.line_ties is not None
    assert m.line_ties.count == 2


def test_the_order_of_photos_changes_nothing() -> None:
    a, b, c = shot(sized(OWN, 0.998)), shot(sized(OWN, 1.003), "b.jpg"), shot(sized(OWN, 1.001, 0.002), "c.jpg")
    one, other = join([a, b, c]).measurement, join([c, a, b]).measurement
    assert one.length_mm is not None
    assert other.length_mm is not None
    assert one.length_mm.value == pytest.approx(other.length_mm.value, rel=1e-12)
    assert one.line_ties == other.line_ties


def test_a_photo_read_upside_down_is_set_right_by_the_others() -> None:
    together = join([shot(turned(OWN)), shot(OWN, "b.jpg"), shot(OWN, "c.jpg")])
    m = together.measurement
    assert together.odd == {}
    assert m.orientation_certainty[1] > 0.95
    assert m.back_colour is not None
    assert m.back_colour.lab == pytest.approx(SLATE)
    assert m.line_ties is not None
    assert m.line_ties.count == 2
    assert m.line_ties.at_mm is not None
    assert min(y for _, y in m.line_ties.at_mm) > 0


def test_a_photo_of_another_piece_is_left_out_and_named() -> None:
    odd = replace(measurement(LOAF), back_colour=colour(PLUM), belly_colour=colour(MOSS))
    together = join([shot(OWN), shot(odd, "odd.jpg"), shot(OWN, "c.jpg")])
    assert together.used == (0, 2)
    assert "back colour" in together.odd[1]
    assert together.measurement.length_mm is not None
    assert together.measurement.length_mm.value == pytest.approx(OTTER.length_mm)


def test_a_back_gives_thickness_and_colour_and_is_never_scored_as_a_side() -> None:
    dark = replace(OWN, view=View("back", 0.8), depth_mm=Quantity(9.0, 0.1), depth_to_length=Quantity(9.0 / 56, 0.002))
    back = shot(as_shown(dark), "back.jpg")
    m = join([shot(OWN), back]).measurement
    assert m.thickness_mm is not None
    assert (m.thickness_mm.value, m.thickness_mm.source) == (9.0, "photo")
    assert m.depth_to_length == OWN.depth_to_length
    assert m.depth_mm == OWN.depth_mm
    assert m.view.kind == "side"
    alone = join([back]).measurement
    assert alone.view.kind == "back"
    assert alone.depth_mm is None


def test_what_an_open_view_shows_is_settled_by_the_sides() -> None:
    straw = colour((79.0, 1.0, 37.0))
    open_view = replace(
        OWN, view=View("unsure", 0.3), depth_to_length=Quantity(0.18, 0.003), back_colour=straw, belly_colour=straw
    )
    settled = settle([shot(OWN), shot(open_view)])
    assert [s.m.view.kind for s in settled] == ["side", "belly"]
    assert settled[1].m.belly_colour == straw
    assert settled[1].m.back_colour is None
    as_wide = replace(open_view, depth_to_length=OWN.depth_to_length)
    assert settle([shot(OWN), shot(as_wide)])[1].m.view.kind == "unsure"
    wrongly = as_shown(replace(open_view, view=View("back", 0.8)))
    assert settle([shot(OWN), shot(wrongly)])[1].m.view.kind == "belly"


def record(name: str, *baits: Measurement) -> PhotoRecord:
    numbered = tuple(Bait(replace(m, number=i)) for i, m in enumerate(baits, 1))
    return PhotoRecord(name, "0" * 64, 2000, 1500, "0.1.0", None, None, None, None, (), None, (), numbered)


REFERENCES = References((), prepare(SET), ())


def test_the_joint_line_follows_its_schema_and_has_no_pixels() -> None:
    odd = replace(measurement(LOAF), back_colour=colour(PLUM), belly_colour=colour(MOSS))
    photos = [
        record("x/a.jpg", OWN),
        record("x/b.jpg", odd, OWN),
        record("x/c.jpg"),
        record("x/d.jpg", odd),
        record("x/e.jpg", OWN),
    ]
    piece = join_photos([rank_photo(p, REFERENCES) for p in photos], REFERENCES)
    line = json.loads(json.dumps(piece_json(piece), allow_nan=False))
    schema = json.loads(files("identify").joinpath("help/schemas/piece-1.json").read_text("utf-8"))
    jsonschema.validate(line, schema, jsonschema.Draft202012Validator)
    assert '_px"' not in json.dumps(line).replace("px_per_mm", "")
    assert line["photos"] == [p.photo for p in photos]
    taken = [(s["bait"], s["used"]) for s in line["shots"]]
    assert taken == [(1, True), (2, True), (None, False), (1, False), (1, True)]
    assert [w["code"] for w in line["warnings"]] == ["piece-differs", "piece-unseen"]
    assert "d.jpg" in line["warnings"][0]["text"]
    assert "c.jpg" in line["warnings"][1]["text"]
    assert line["bait"]["candidates"][0]["model"] == OTTER.model


def test_photos_without_any_bait_give_no_joint_answer() -> None:
    piece = join_photos([record("a.jpg"), record("b.jpg")], REFERENCES)
    assert piece.bait is None
    assert piece_json(piece)["bait"] is None
    assert [n.code for n in piece.warnings] == ["piece-unseen", "piece-unseen"]


def test_what_is_told_holds_for_the_piece() -> None:
    settings = Settings(told=parse(["length_mm=61", "ties=2"]))
    bait = join_photos([record("a.jpg", OWN), record("b.jpg", OWN)], REFERENCES, settings).bait
    assert bait is not None
    assert bait.told is not None
    assert {t.key for t in bait.told} == {"length_mm", "ties"}
    assert [c.key for c in bait.clashes or ()] == ["length_mm"]


def test_joining_photos_makes_the_true_answer_surer() -> None:
    poor = replace(
        OWN, line_ties=LineTies(None, (0.0, 0.5, 0.5, 0.0, 0.0, 0.0)), hangers=None, eye=None,
        length_mm=Quantity.of(55.7, outline=0.8), depth_to_length=Quantity(0.27, 0.02),
        warnings=(Notice("outline-unclear", "…"),),
    )  # fmt: skip
    single = rank(poor, prepare(SET)).candidates[0]
    joint = rank(join([shot(poor), shot(replace(OWN, hangers=None), "b.jpg")]).measurement, prepare(SET)).candidates[0]
    assert joint.model == OTTER.model
    assert joint.probability > (single.probability if single.model == OTTER.model else 0.0)


def test_the_schema_is_that_of_a_photo_s_bait() -> None:
    assert (PLACE / "piece-1.json").read_text("utf-8") == text()
