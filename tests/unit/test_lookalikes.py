"""Look-alikes by simulation: twins, near twins and strangers; and how they are shown."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from reportlab.pdfbase.pdfmetrics import stringWidth

from identify.commands import refs_alike, refs_show
from identify.rank import prepare
from identify.rank.lookalikes import CAMERAS, Lookalikes, drawn, log_ratio, lookalikes
from identify.rank.remarks import lookalike_remarks
from identify.reference import Form, compare, read, write
from identify.reference.profile import Colourway, RingPlaces
from identify.report import alike
from identify.stages import as_polygon
from tests.unit.known_baits import body
from tests.unit.test_serialise import check


def form(
    model: str, ties: Sequence[float] = (0.2,), depth: float = 16.0, length: float = 60.0, power: float = 1.2
) -> Form:
    return Form(
        0, "Kettlemoor Works", model, "1", None, None, None, length, 0.2, depth, 0.1, None, None,
        as_polygon(body(length, depth, power)),
        RingPlaces(len(ties), tuple((x * length, 9.0) for x in ties)),
        RingPlaces(2, ((0.4 * length, -7.0), (length, 0.0))),
        None, 2, "none", "wire", None, None, 1, (Colourway("31", "Slate", (40.0, 0.0, -8.0), (80.0, 0.0, 30.0)),),
    )  # fmt: skip


def test_twins_are_a_coin_tossed_and_strangers_are_not_listed() -> None:
    p = prepare(
        [form("Otter"), form("Twin"), form("Loaf", depth=23.0, power=0.6), form("Mite", length=90.0, depth=24.0)]
    )
    (pair,) = lookalikes(p, draws=12)
    assert {p.forms[pair.one].model, p.forms[pair.other].model} == {"Otter", "Twin"}
    assert all(share == pytest.approx(0.5) for share in pair.confused.values())
    assert pair.feature is None and not pair.weights


def test_what_differs_tells_and_a_poorer_photo_confuses_more() -> None:
    p = prepare([form("Otter"), form("Deep", depth=16.5)])
    (pair,) = lookalikes(p, draws=40)
    assert pair.feature == "depth to length"
    assert pair.confused["good"] < pair.confused["fair"] < pair.confused["poor"] < 0.5
    p = prepare([form("Otter"), form("Ties", ties=(0.15, 0.3))])
    (pair,) = lookalikes(p, {"poor": CAMERAS["poor"]}, draws=40)
    assert pair.feature in ("tie places", "line ties") and pair.confused["poor"] < 0.1


def painted(model: str, count: int, hue: float, depth: float = 16.0) -> Form:
    """A form in so many colourways, all of one hue."""
    lists = tuple(
        Colourway(str(k), f"No {k}", (15.0 + 70 * k / count, hue, 12.0), (85.0, hue, 30.0), "photo")
        for k in range(count)
    )
    return replace(form(model, depth=depth), colourways=lists)


@pytest.mark.parametrize("count", [1, 2, 5])
def test_colours_that_were_merely_met_are_not_what_tells_two_models_apart(count: int) -> None:
    pair = _one_pair(painted("Red", count, 45.0), painted("Green", count, -45.0, depth=16.1))
    told = dict(pair.weights)
    assert pair.weights[0][0] == "colours" and told["colours"] > told["depth to length"]
    assert (pair.feature, pair.weight) == ("depth to length", told["depth to length"])
    twins = _one_pair(painted("Red", count, 45.0), painted("Green", count, -45.0))
    assert twins.feature is None and twins.weight == 0 and dict(twins.weights)["colours"] > 0
    assert twins.confused["fair"] < 0.5, "ranking does weigh them, as far as they go"


def test_colours_of_two_long_lists_that_share_none_are_named_with_a_caveat() -> None:
    red, green, few = painted("Red", 6, 45.0), painted("Green", 6, -45.0), painted("Green", 5, -45.0)
    pair = _one_pair(red, green)
    assert pair.feature == "colours" and pair.weight == dict(pair.weights)["colours"]
    assert _one_pair(red, few).feature is None, "one short list is enough to leave them out"
    (row,) = alike.alike_rows([pair], prepare([red, green]), ())
    assert alike.tells(row) == "colours, as far as they are listed" and row.colours_weight == pair.weight
    assert alike.best(row).endswith("times likelier for the right one; a piece may wear a colour that is on no list)")
    (row,) = alike.alike_rows([_one_pair(red, few)], prepare([red, few]), ())
    assert alike.best(row) == "nothing but the few colours listed so far" and row.colours_weight > 0
    (row,) = alike.alike_rows([_one_pair(form("Otter"), form("Twin"))], prepare([form("Otter"), form("Twin")]), ())
    assert alike.best(row) == "nothing that is measured" and row.colours_weight == 0


def _one_pair(one: Form, other: Form) -> Lookalikes:
    (pair,) = lookalikes(prepare([one, other]), {"fair": CAMERAS["fair"]}, draws=30)
    return replace(pair, confused=dict.fromkeys(CAMERAS, pair.confused["fair"]))


def test_a_set_that_says_little_is_asked_all_the_same() -> None:
    bare = replace(form("Bare"), depth_mm=None, outline_mm=None, line_ties=None, hangers=None, colourways=(), lip=None)
    found = lookalikes(prepare([bare, form("Otter")]), {"fair": CAMERAS["fair"]}, draws=20)
    assert all(0 <= share <= 0.5 for pair in found for share in pair.confused.values())


def test_the_predicted_share_is_what_counting_mistakes_gives() -> None:
    p = prepare([form("Otter"), form("Deep", depth=16.5)])
    rng = np.random.default_rng(1)
    wrong = 0
    for k in range(240):
        ratio, _ = log_ratio(drawn(rng, p, k % 2, CAMERAS["fair"]), p)
        wrong += int(ratio[1 - k % 2] > ratio[k % 2])
    (pair,) = lookalikes(p, {"fair": CAMERAS["fair"]}, draws=100)
    assert wrong / 240 == pytest.approx(pair.confused["fair"], abs=0.05)


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """Two linked twins that one line tie tells apart, in a set."""
    folder = tmp_path / "shelf"
    write.put(folder / "set.toml", write.set_toml({"title": "Shelf & more"}))
    for model, ties, other in (("Otter", [[12.0, 9.0]], "Twin"), ("Twin", [[12.0, 9.0], [24.0, 9.0]], "Otter")):
        values = {
            "maker": "Kettlemoor Works",
            "model": model,
            "same_mould_as": [f"Kettlemoor Works / {other}"],
            "size": [
                {"code": "1", "length_mm": 60.0, "depth_mm": 16.0, "line_ties": {"at_mm": ties}, "weight_g": 12.0}
            ],
        }
        path = folder / write.model_path("Kettlemoor Works", model)
        write.put(path, write.model_toml(values))
        write.put(path.with_suffix(".svg"), write.outline_svg(body(), model))
    return folder


def test_the_command_writes_a_table_and_pictures(shelf: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert refs_alike.show_lookalikes(str(shelf), str(shelf.parent / "out"), False) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "line ties: 1 against 2" in said and "shape cannot decide, these features can" in said
    for picture in (shelf.parent / "out").glob("*.svg"):
        ElementTree.fromstring(picture.read_text("utf-8"))
    assert len(list((shelf.parent / "out").glob("*.svg"))) == 2
    page = (shelf.parent / "out" / "index.html").read_text("utf-8")
    assert "Shelf &amp; more" in page and "<svg" in page and "linked (from the same mould)" in page


@pytest.mark.parametrize("model", ["Otter", "Muskellunge Wanderer, wide mouth, second mould with the long lip"])
def test_names_lie_within_their_pictures(model: str) -> None:
    one, other = form(model), form("Twin")
    p = prepare([one, other])
    pairs = lookalikes(p, {"fair": CAMERAS["fair"]}, draws=10)
    laid = alike.laid_over(one, other)
    assert laid is not None
    for picture in (alike.pair_svg(one, other, laid), alike.matrix_svg(pairs, p)):
        root = ElementTree.fromstring(picture)
        left, _, wide, tall = map(float, root.attrib["viewBox"].split())
        texts = root.findall("{http://www.w3.org/2000/svg}text")
        assert len(texts) >= 2 and any(model in (text.text or "") for text in texts)
        for text in texts:
            long = stringWidth(text.text or "", "Helvetica", float(text.attrib["font-size"]))
            if "transform" in text.attrib:
                assert long < float(text.attrib["transform"].partition(" ")[2].partition(")")[0])
            elif text.get("text-anchor") == "end":
                assert float(text.attrib["x"]) - long > left
            else:
                assert float(text.attrib["x"]) + long < left + wide and float(text.attrib["y"]) < tall


def test_the_rows_follow_the_schema(shelf: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert refs_alike.show_lookalikes(str(shelf), None, True) == 0
    document = json.loads(capsys.readouterr().out)
    check(document, "lookalikes")
    (row,) = document["rows"]
    assert row["look_at"] == ["line ties: 1 against 2"] and row["linked"] == "from the same mould"


def test_lint_remarks_on_twins(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write.put(tmp_path / "set.toml", write.set_toml({"title": "Twins"}))
    for model in ("Otter", "Twin"):
        values = {"maker": "M", "model": model, "size": [{"length_mm": 60.0, "depth_mm": 16.0}]}
        write.put(tmp_path / write.model_path("M", model), write.model_toml(values))
        write.put(tmp_path / write.model_path("M", model).replace(".toml", ".svg"), write.outline_svg(body(), model))
    (remark,) = lookalike_remarks(read(tmp_path))
    assert remark.code == "look-alike" and remark.file == "m/otter.toml" and "in 50 of 100" in remark.text
    assert refs_show.lint_sets([str(tmp_path)], True) == 0
    document = json.loads(capsys.readouterr().out)
    check(document, "lint")
    assert [r["code"] for r in document["remarks"]] == ["look-alike"]


def test_what_a_person_can_look_at() -> None:
    one, other = form("Otter"), replace(form("Twin"), material="wood", tie_kind="screw-eye", weight_g=9.0)
    assert compare.told_apart(one, other) == ("kind of line tie: wire against screw-eye",)
    told = compare.told_apart(replace(one, material="plastic", weight_g=14.0), other)
    assert told == (
        "material: plastic against wood",
        "kind of line tie: wire against screw-eye",
        "weight: 14.0 against 9.0 g",
    )
    moved = form("Moved", ties=(0.3,))
    assert compare.told_apart(one, moved) == ("where the line ties sit: 12.0 against 18.0 mm from the nose",)
    assert compare.told_apart(one, form("Long", length=66.0, depth=17.6)) == ("length: 60.0 against 66.0 mm",)
    assert "60.0" not in alike.full_name(one)


@pytest.mark.parametrize(
    ("length", "said"),
    [
        (74.0, "Otter 1 is 14.0 ± 0.5 mm shorter than Kettlemoor Works / Twin 1."),
        (54.0, "Otter 1 is 6.0 ± 0.5 mm longer than Kettlemoor Works / Twin 1."),
        (60.04, "Both are equally long (± 0.5 mm)."),
    ],
)
def test_linked_forms_and_which_is_longer(length: float, said: str) -> None:
    one, other = replace(form("Otter"), tolerance_mm=0.3), replace(form("Twin", length=length), tolerance_mm=0.4)
    assert compare.linked_words("from the same mould", one, other).endswith(said)


def test_shape_cannot_decide_only_where_length_does_not_tell() -> None:
    otter = replace(form("Otter"), tolerance_mm=0.3)
    near, far = (replace(form("Twin", length=v), tolerance_mm=0.4, lip="metal") for v in (61.4, 74.0))
    by_hand = "lip: none against metal"
    assert f"shape cannot decide, these features can: {by_hand}. " in compare.linked_words("copied", otter, near)
    said = compare.linked_words("copied", otter, far)
    assert f"linked (copied), but length tells them apart, and so do these features: {by_hand}. " in said
    assert "shape cannot" not in said and "60.0 against 74.0" not in said
    alone = compare.linked_words("copied", otter, replace(far, lip=None))
    assert "but length tells them apart. Kettlemoor Works / Otter 1 is 14.0 ± 0.5 mm shorter" in alone


@pytest.mark.parametrize(
    ("key", "forth", "back"),
    [
        ("same_mould_as", "from the same mould", "from the same mould"),
        ("cast_from", "the first cast from the second", "the second cast from the first"),
        ("copied_from", "the first copied from the second", "the second copied from the first"),
    ],
)
def test_which_of_two_linked_models_came_from_the_other(tmp_path: Path, key: str, forth: str, back: str) -> None:
    write.put(tmp_path / "set.toml", write.set_toml({"title": "Links"}))
    for model, link in (("Otter", {key: ["M / Twin"]}), ("Twin", {})):
        values = {"maker": "M", "model": model, "size": [{"length_mm": 60.0, "depth_mm": 16.0}], **link}
        write.put(tmp_path / write.model_path("M", model), write.model_toml(values))
    found = read(tmp_path)
    otter, twin = found.forms()
    assert (compare.link((found,), otter, twin), compare.link((found,), twin, otter)) == (forth, back)
