"""Pictures of an offer against its words: who is meant, how the words are weighed, what is asked, and in what form."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from hashlib import sha256
from importlib.resources import files
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from identify.answer import References, read_sets
from identify.errors import BadOption
from identify.listing import Check, check_json, check_records, contrast, look_up
from identify.listing.check import length_told, with_length
from identify.listing.page import better_words, laid_over
from identify.listing.pictures import framed
from identify.listing.points import verdict_of
from identify.listing.weigh import weigh_words
from identify.listing.words import Stated
from identify.outline import to_frame
from identify.rank import prepare, read
from identify.records import Bait, Card, LineTies, Measurement, Notice, PhotoRecord, View
from identify.reference.profile import Colourway, Form
from identify.settings import Settings
from identify.told import Told, parse
from tests.docs.write_check_schema import PLACE, text
from tests.unit.test_rank import (
    FERRY,
    LISTED,
    LOAF,
    MOSS,
    OTTER,
    PLUMS,
    SET,
    SLATE,
    STRAW,
    colour,
    form,
    measurement,
    stranger,
)

DEMO = Path(__file__).parents[2] / "reference_sets" / "ammerfold-lakes"
REFERENCES = References((), prepare(SET), ())
CASTS = (1.0, 1.0, 1.0), (1.9, 1.0, 0.5), (0.4, 0.45, 0.6)


def without_scale(m: Measurement) -> Measurement:
    """As a picture without a card gives it."""
    warned = (Notice("colour-uncorrected", ""),)
    none = dict.fromkeys(("outline_mm", "length_mm", "depth_mm", "thickness_mm", "px_per_mm"))
    ties = None if m.line_ties is None else replace(m.line_ties, at_mm=None)
    hangers = None if m.hangers is None else replace(m.hangers, at_mm=None)
    eye = None if m.eye is None else replace(m.eye, at_mm=None, diameter_mm=None)
    return replace(m, **none, line_ties=ties, hangers=hangers, eye=eye, warnings=warned)  # type: ignore[arg-type]


def record(name: str, *baits: Measurement) -> PhotoRecord:
    numbered = tuple(Bait(replace(m, number=i)) for i, m in enumerate(baits, 1))
    return PhotoRecord(
        name, sha256(name.encode()).hexdigest(), 900, 700, "0.1.0", None, None, None, None, (), None, (), numbered
    )


def check(words: str, *records: PhotoRecord, settings: Settings | None = None, bait: int | None = None) -> Check:
    return check_records(records, look_up(words, REFERENCES), REFERENCES, settings, bait)


def finding(found: Check, feature: str) -> str:
    return next(p.finding for p in found.points if p.feature == feature)


SEEN = without_scale(measurement(OTTER))


# ------------------------------------------------------------------ words


@pytest.fixture(scope="module")
def demo() -> References:
    return read_sets([DEMO])


@pytest.mark.parametrize(
    ("words", "name"),
    [
        ("Kettlemoor Works / Low Otter", "Kettlemoor Works / Low Otter"),
        ("kettlemoor works/low-otter", "Kettlemoor Works / Low Otter"),
        ("Kettlemoor Works / otter / 2", "Kettlemoor Works / Low Otter / 2"),
        ("Kettlemoor Works/Low Otter/2/31", "Kettlemoor Works / Low Otter / 2 / Slate over straw"),
        ("Kettlemoor Works / Low Otter / - / SLATE over Straw", "Kettlemoor Works / Low Otter / Slate over straw"),
        ("Brack & Linn / Ferry Otter", "Brack & Linn / Ferry Otter"),
    ],
)
def test_words_name_a_model_a_size_and_a_colourway(words: str, name: str, demo: References) -> None:
    stated = look_up(words, demo)
    assert stated.name == name
    assert {(demo.prepared.forms[i].maker, demo.prepared.forms[i].model) for i in stated.forms} == {
        (stated.maker, stated.model)
    }
    assert stated.size is None or {demo.prepared.forms[i].size for i in stated.forms} == {stated.size}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("Kettlemoor / Low Oter", "Nearest names: Kettlemoor Works / Low Otter"),
        ("low otter", "does not say maker and model. .*Nearest names: Kettlemoor Works / Low Otter"),
        ("", "does not say maker and model"),
        (" / ", "does not say maker and model"),
        ("Kettlemoor Works / Low Otter / 9", "no size '9'. The set lists: 1, 2, 3"),
        ("Kettlemoor Works / Low Otter / 2 / slat over stray", "Nearest: Slate over straw"),
        ("Kettlemoor Works / Low Otter / 2 / 31 / more", "more than four parts"),
        ("zzz / qqq", "No set knows zzz / qqq. Nearest names: "),
    ],
)
def test_words_that_name_nothing_list_the_nearest_names(words: str, said: str, demo: References) -> None:
    with pytest.raises(BadOption) as fault:
        look_up(words, demo)
    assert re.search(said, fault.value.message), fault.value.message


def test_a_variant_may_stand_in_place_of_a_colourway() -> None:
    long = replace(OTTER, variant="long lip")
    references = References((), prepare([OTTER, long]), ())
    stated = look_up("Kettlemoor / Low Otter / 1 / Long Lip", references)
    assert (stated.variant, stated.colourway, len(stated.forms)) == ("long lip", None, 1)


def test_a_set_without_models_says_so() -> None:
    with pytest.raises(BadOption, match="No set knows a / b") as fault:
        look_up("a / b", References((), prepare([]), ()))
    assert "no models" in fault.value.message


# ------------------------------------------------------------------ verdict


@pytest.mark.parametrize("truth", [OTTER, FERRY, LOAF, PLUMS[1]], ids=lambda f: f.model)
def test_true_words_agree_and_others_do_not(truth: Form) -> None:
    shown = record("a.jpg", without_scale(measurement(truth)))
    for other in (OTTER, FERRY, LOAF, PLUMS[1]):
        found = check(f"{other.maker} / {other.model}", shown)
        assert found.verdict == ("agrees" if other is truth else "disagrees"), other.model
        if other is not truth:
            assert [(c.maker, c.model) for c in found.better] == [(truth.maker, truth.model)]


def test_a_look_alike_that_fits_as_well_leaves_it_open() -> None:
    twin = replace(OTTER, maker="Brack", model="Otter's Twin")
    references = References((), prepare([*SET, twin]), ())
    for words in ("Kettlemoor / Low Otter", "Brack / Otter's Twin"):
        found = check_records([record("a.jpg", SEEN)], look_up(words, references), references)
        assert (found.verdict, found.better) == ("cannot-tell", ())
        assert 0.3 < found.baits[0].probability < 0.55


def test_one_clear_reading_against_the_words_is_enough_to_withhold_that_they_agree() -> None:
    """A bait of the same mould with another number of ties follows the stated model in all but that."""
    alone = References((), prepare([OTTER, LOAF]), ())
    shown = record("a.jpg", without_scale(measurement(FERRY)))
    found = check_records([shown], look_up("Kettlemoor / Low Otter", alone), alone)
    assert finding(found, "line ties") == "disagrees"
    assert finding(found, "outline") == "agrees"
    assert found.verdict != "agrees"


def test_a_picture_that_shows_nothing_cannot_tell() -> None:
    blind = replace(SEEN, view=View("end", 0.9), line_ties=None)
    found = check("Kettlemoor / Low Otter", record("a.jpg", blind))
    assert found.verdict == "cannot-tell"
    assert any("side, straight on" in a.text for a in found.ask)
    nothing = check("Kettlemoor / Low Otter", record("a.jpg"), record("b.jpg"))
    assert (nothing.verdict, nothing.points, nothing.baits) == ("cannot-tell", (), ())
    assert [one.photo for one in nothing.left_out] == ["a.jpg", "b.jpg"]
    assert len(nothing.ask) == 1


def test_rings_that_cannot_be_counted_do_not_speak_against_the_words_by_their_places() -> None:
    p, stated = REFERENCES.prepared, look_up("Kettlemoor / Low Otter", REFERENCES)
    places = np.array([[0.6, 0.1], [0.8, 0.1]])
    r = replace(read(SEEN), tie_places=places, hanger_places=places, tie_counts=(1 / 6,) * 6)
    sure, unsure = (weigh_words(replace(r, tie_count=n), p, stated, False) for n in (2, None))
    assert unsure.stated > 3 * sure.stated
    assert unsure.features["tie places"] >= 0 > sure.features["tie places"]


def test_thresholds() -> None:
    assert [verdict_of(p) for p in (0.0, 0.05, 0.06, 0.69, 0.7, 1.0)] == [
        "disagrees", "disagrees", "cannot-tell", "cannot-tell", "agrees", "agrees",
    ]  # fmt: skip


def test_weights_are_finite_and_nothing_is_decided_when_nothing_speaks() -> None:
    r = replace(
        read(SEEN), aspect=None, outline=None, tie_counts=None, tie_count=None, tie_places=None, hangers=None,
        hanger_places=None, hooks=None, eye_place=None, lip=None, back=None, belly=None, pattern=None,
    )  # fmt: skip
    w = weigh_words(r, REFERENCES.prepared, look_up("Kettlemoor / Low Otter", REFERENCES), False)
    assert w.stated == pytest.approx(1 / (1 + 1 + 0.5), abs=0.02)
    assert all(math.isfinite(value) for _, value in w.rivals)


# ------------------------------------------------------------------ what the words rest on


def test_words_that_rest_on_this_programs_own_answers_say_so() -> None:
    """A piece that this program named must not come back as proof of the name."""
    own = replace(OTTER, known_by="tool")
    marked = replace(OTTER, size="3", length_mm=80.0, known_by="marked")
    paper = replace(LOAF, known_by="paper", colourways=tuple(replace(c, known_by="collectors") for c in LISTED))
    references = References((), prepare([own, marked, paper, FERRY]), ())

    def held(words: str, shown: Measurement = SEEN) -> Check:
        return check_records([record("a.jpg", shown)], look_up(words, references), references)

    found = held("Kettlemoor / Low Otter")
    assert (found.verdict, found.known_by) == ("agrees", "tool")
    assert "Kettlemoor / Low Otter rests, at its weakest, on this program's own answers only" in found.text
    assert "no independent proof" in found.text and check_json(found)["known_by"] == "tool"
    assert held("Kettlemoor / Low Otter / 3").known_by == "marked"
    loaf = held("Kettlemoor / Cairn Loaf")
    assert (loaf.known_by, loaf.verdict) == (
        "paper",
        "disagrees",
    ) and "at its weakest, on paper of the time" in loaf.text
    assert "own answers only, which are no independent proof" in better_words(loaf.better[0])
    assert held("Kettlemoor / Cairn Loaf / 1 / 31").known_by == "collectors"
    silent = held("Brack / Ferry Otter")
    assert silent.known_by is None and "weakest" not in silent.text
    nothing = check_records([record("a.jpg")], look_up("Kettlemoor / Low Otter", references), references)
    assert nothing.known_by == "tool" and "weakest" not in nothing.text


# ------------------------------------------------------------------ size


def test_a_size_is_judged_only_with_a_scale() -> None:
    first = without_scale(measurement(PLUMS[0]))
    open_size = check("Auldaine / Garth Plum / 2", record("a.jpg", first))
    assert finding(open_size, "size") == "cannot-tell"
    assert open_size.verdict == "agrees"
    assert "cannot tell the size" in open_size.text
    assert not any(p.feature == "length" for p in open_size.points)
    assert any("46.0 mm for size 0" in a.text for a in open_size.ask)
    length = with_length(Settings(), "46")
    told = check("Auldaine / Garth Plum / 2", record("a.jpg", first), settings=length)
    assert (told.verdict, finding(told, "length")) == ("disagrees", "disagrees")
    assert [(c.model, c.size) for c in told.better] == [("Garth Plum", "0")]
    right = check("Auldaine / Garth Plum / 0", record("a.jpg", first), settings=length)
    assert (right.verdict, finding(right, "length")) == ("agrees", "agrees")


def test_a_sellers_length_is_that_of_a_ruler() -> None:
    assert length_told("63") == Told("length_mm", 63.0, 1.0)
    assert length_told("2-1/2in") == Told("length_mm", 63.5, 1.0)
    assert length_told("63+-0.3") == Told("length_mm", 63.0, 0.3)
    with pytest.raises(BadOption, match="--length-mm long cannot be read"):
        length_told("long")
    with pytest.raises(BadOption, match="twice"):
        with_length(Settings(told=parse(["length_mm=60"])), "63")
    assert with_length(Settings(), None) == Settings()


# ------------------------------------------------------------------ colours


@pytest.mark.parametrize("cast", CASTS)
def test_contrast_does_not_depend_on_the_light(cast: tuple[float, float, float]) -> None:
    from identify.colour import lab_to_linear, linear_to_lab
    from identify.encoding import SRGB_TO_XYZ_D50

    to_rgb = np.linalg.inv(SRGB_TO_XYZ_D50)
    lit = [linear_to_lab((lab_to_linear(lab) @ SRGB_TO_XYZ_D50.T * cast) @ to_rgb.T) for lab in (SLATE, STRAW)]
    back, belly = ((float(x), float(y), float(z)) for x, y, z in lit)
    assert contrast.contrast(back, belly) == pytest.approx(contrast.contrast(SLATE, STRAW), abs=1e-6)
    assert contrast.contrast(belly, back) == pytest.approx(-contrast.contrast(SLATE, STRAW), abs=1e-6)


def test_a_colourway_with_back_and_belly_exchanged_is_noticed() -> None:
    shown = record("a.jpg", SEEN)
    right = check("Kettlemoor / Low Otter / - / slate over straw", shown)
    assert (right.verdict, finding(right, "colourway")) == ("agrees", "agrees")
    wrong = check("Kettlemoor / Low Otter / - / straw over slate", shown)
    assert (wrong.verdict, finding(wrong, "colourway")) == ("disagrees", "disagrees")
    point = next(p for p in wrong.points if p.feature == "colourway")
    assert "exchanged" in point.text
    assert point.weight is not None
    assert point.weight < -1


def test_colours_on_no_list_never_speak_against_a_model() -> None:
    odd = replace(SEEN, back_colour=colour(MOSS), belly_colour=colour(MOSS))
    found = check("Kettlemoor / Low Otter", record("a.jpg", odd))
    assert finding(found, "colours") == "cannot-tell"
    assert found.verdict == "agrees"
    assert any("painted again" in a.text for a in found.ask)


def test_colours_that_were_not_read_leave_the_colourway_open() -> None:
    found = check("Kettlemoor / Low Otter / 1 / 31", record("a.jpg", replace(SEEN, back_colour=None)))
    assert finding(found, "colourway") == "cannot-tell"
    assert found.verdict == "agrees"


def test_a_colourway_without_paints_says_nothing() -> None:
    bare = form("Kettlemoor", "Low Otter", colourways=(Colourway("9", "bare", None, None),))
    p = prepare([bare, LOAF])
    ratios = contrast.against_all(contrast.contrast(SLATE, STRAW), p)
    assert ratios[:, [c.code for c in p.palette.colourways].index("9")].tolist() == [0.0, 0.0]


# ------------------------------------------------------------------ several pictures, several baits


def test_agreeing_pictures_sharpen_and_one_of_another_bait_is_shown_beside() -> None:
    unsure = LineTies(None, (0.1, 0.4, 0.4, 0.06, 0.02, 0.02), SEEN.line_ties.at_px if SEEN.line_ties else ())
    dim = replace(SEEN, line_ties=unsure)
    one = check("Kettlemoor / Low Otter", record("a.jpg", dim))
    two = check("Kettlemoor / Low Otter", record("a.jpg", dim), record("b.jpg", SEEN))
    assert two.baits[0].photos == ("a.jpg", "b.jpg")
    assert two.baits[0].probability > one.baits[0].probability
    other = replace(without_scale(measurement(LOAF)), back_colour=colour(MOSS), belly_colour=colour(MOSS))
    three = check("Kettlemoor / Low Otter", record("a.jpg", SEEN), record("b.jpg", SEEN), record("c.jpg", other))
    assert [(one.photo, one.verdict) for one in three.left_out] == [("c.jpg", "disagrees")]
    assert three.verdict == "cannot-tell"
    assert "c.jpg seems to show another bait" in three.text


def test_which_bait_of_several() -> None:
    both = record("a.jpg", SEEN, without_scale(measurement(LOAF)))
    words = "Kettlemoor / Cairn Loaf"
    taken = check(words, both)
    assert [w.code for w in taken.warnings] == ["several-baits"]
    assert [check(words, both, bait=n).verdict for n in (1, 2)] == ["disagrees", "agrees"]
    assert check(words, both, bait=2).baits[0].numbers == (2,)
    with pytest.raises(BadOption, match="no bait 3"):
        check(words, both, bait=3)
    each = check_records([both], look_up(words, REFERENCES), REFERENCES, None, "all")
    assert [j.verdict for j in each.baits] == ["disagrees", "agrees"]
    assert each.verdict == "disagrees"
    assert "Of 2 baits" in each.text
    assert len(each.points) == sum(len(j.points) for j in each.baits)


# ------------------------------------------------------------------ out of it


def test_the_object_follows_its_schema() -> None:
    assert (PLACE / "check-1.json").read_text("utf-8") == text(), "run: python -m tests.docs.write_check_schema"
    schema = json.loads(files("identify").joinpath("help/schemas/check-1.json").read_text("utf-8"))
    broken = replace(record("b.jpg"), sha256=None)
    for found in (
        check("Kettlemoor / Low Otter / 1 / 31", record("x/a.jpg", SEEN), broken),
        check("Auldaine / Garth Plum", record("x/a.jpg", measurement(OTTER))),
        check("Auldaine / Garth Plum", broken),
    ):
        line = json.loads(json.dumps(check_json(found), allow_nan=False))
        jsonschema.validate(line, schema, jsonschema.Draft202012Validator)
        assert line["schema"] == "baitprint/check/1"
        assert [report["photo"] for report in line["photo_reports"]] == line["photos"]
        assert line["seen_before"] == []


def test_no_text_says_more_than_that_pictures_and_words_agree_or_not() -> None:
    said = [check(f"{f.maker} / {f.model} / 1", record("a.jpg", SEEN)) for f in (OTTER, LOAF, FERRY)]
    words = " ".join(t for c in said for t in (c.text, *(p.text for p in c.points), *(a.text for a in c.ask))).lower()
    assert not {"fake", "fraud", "genuine", "authentic", "price", "worth", "value", "forg"} & set(words.split())


@pytest.mark.parametrize("way", range(4))
def test_the_stated_outline_lies_over_the_bait(way: int) -> None:
    shape = laid_over(SEEN, OTTER, way)
    assert shape is not None
    assert OTTER.outline_mm is not None
    numbers = [float(v) for v in shape.path.strip("MZ").replace("L", " ").split()]
    placed = np.array(numbers).reshape(-1, 2) - 0.5
    framed = to_frame(placed, SEEN.nose_px, SEEN.tail_px, SEEN.shows == "left")
    length = float(np.ptp(framed[:, 0]))
    at = np.array(OTTER.outline_mm) / OTTER.length_mm
    at = np.column_stack([1 - at[:, 0] if way & 2 else at[:, 0], -at[:, 1] if way & 1 else at[:, 1]])
    assert framed / length == pytest.approx(at, abs=0.02)
    assert laid_over(replace(SEEN, view=View("end", 0.9)), OTTER, way) is None


def test_a_set_of_one_model_can_be_asked() -> None:
    alone = References((), prepare([OTTER]), ())
    stated: Stated = look_up("Kettlemoor / Low Otter", alone)
    assert check_records([record("a.jpg", SEEN)], stated, alone).verdict == "agrees"
    other = record("a.jpg", without_scale(measurement(stranger(75.0, 16.0, 1))))
    assert check_records([other], stated, alone).verdict == "disagrees"


def test_a_card_that_all_baits_lie_on_is_a_frame() -> None:
    def card(x0: float, y0: float, x1: float, y1: float) -> Card:
        return Card(True, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), 10.0, 0.0, None, None, None, None)

    shown = record("a.jpg", SEEN)
    x, y = np.mean(SEEN.outline_px, axis=0)
    assert framed(replace(shown, card=card(x - 400, y - 250, x + 400, y + 250)))
    assert not framed(replace(shown, card=card(x + 400, y - 250, x + 1200, y + 250)))
    assert framed(replace(record("a.jpg"), card=card(0, 0, 800, 500)))
    assert not framed(shown)


def test_letters_over_the_bait_keep_the_picture_from_disagreeing() -> None:
    loaf = without_scale(measurement(LOAF))
    assert loaf.line_ties is not None
    flood = LineTies(None, (0.1, 0.1, 0.2, 0.2, 0.2, 0.2), loaf.line_ties.at_px * 3)
    found = check("Kettlemoor / Low Otter", record("a.jpg", replace(loaf, line_ties=flood)))
    assert found.verdict == "cannot-tell"
    assert "lie over the bait" in found.text
    assert any("without letters" in a.text for a in found.ask)
    assert check("Kettlemoor / Low Otter", record("a.jpg", loaf)).verdict == "disagrees"


def test_the_same_file_twice_counts_once() -> None:
    one = record("a.jpg", SEEN)
    twice = check("Kettlemoor / Low Otter", one, replace(one, photo="copy.jpg"))
    assert twice.baits == check("Kettlemoor / Low Otter", one).baits
    assert [(left.photo, left.verdict) for left in twice.left_out] == [("copy.jpg", None)]
    assert twice.photos == ("a.jpg", "copy.jpg")
