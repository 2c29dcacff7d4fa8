"""Written mentions found in the demo's set; what `refs show` tells of where a profile comes from."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from identify.commands import refs_show
from identify.errors import BadOption
from identify.reference import ReferenceSet, read, write
from identify.reference.enrol import Editor
from identify.reference.find import find, length_of, plain
from identify.reference.rows import model_rows
from tests.unit.known_baits import learn, photo
from tests.unit.test_serialise import check

REFS = Path(__file__).parents[2] / "reference_sets" / "ammerfold-lakes"


@pytest.fixture(scope="module")
def lakes() -> ReferenceSet:
    return read(REFS)


@pytest.mark.parametrize(
    ("mention", "model", "size", "colourway"),
    [
        ("Low Otter", "Low Otter", None, None),
        ("LOW OTTER No. 2", "Low Otter", "2", None),
        ("kettlemor low ottr", "Low Otter", None, None),
        ("runner", "Stair Runner", None, None),
        ("staer runer", "Stair Runner", None, None),
        ("KETTLELID", "Kettle Lid", None, None),
        ("twin-latch 86 mm", "Twin Latch", "2", None),
        ('cairn loaf 2 1/4"', "Cairn Loaf", "2", None),
        ("Low Otter, moss over copper", "Low Otter", None, "33"),
        ("low otter 33", "Low Otter", None, "33"),
        ("fen peg by Orsvane", "Fen Peg", None, None),
        ("kettlemor otter", "Low Otter", None, None),
        ("old low otter, moss/copper, good hooks, $20", "Low Otter", None, "33"),
    ],
)
def test_mentions(lakes: ReferenceSet, mention: str, model: str, size: str | None, colourway: str | None) -> None:
    best = find(lakes, mention)[0]
    assert (best.model, best.size, best.colourway) == (model, size, colourway)
    assert best.matched and best.score > 60 and (lakes.folder / best.file).is_file()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Größe 1½", "grosse 1.5"),
        ("No.2, 1 1/2", "no 2 1.5"),
        ("1-1/2", "1.5"),
        ("½ ¾ oz", "0.5 0.75 oz"),
        ("2 ½", "2.5"),
        ("12 3/16 in", "12.1875 in"),
        ("moss/copper 3/5/1938", "moss copper 3 5 1938"),
    ],
)
def test_plain_words(text: str, words: str) -> None:
    assert plain(text) == words


def test_what_matched_is_what_stands_there(lakes: ReferenceSet) -> None:
    best = find(lakes, "low otter 33, 70 mm")[0]
    assert [(m.where, m.text) for m in best.matched][1:] == [("size.length_mm", "70"), ("colourway.code", "33")]
    assert best.size == "3" and best.colourway_name == "Moss over copper"


def test_a_word_cut_short_is_not_one_run_on(lakes: ReferenceSet) -> None:
    assert {r.maker for r in find(lakes, "kettlemor")[:2]} == {"Kettlemoor Works"}
    assert find(lakes, "kett")[0].model == "Kettle Lid"


def test_a_shared_nickname_gives_both_and_a_maker_all_of_its_models(lakes: ReferenceSet) -> None:
    assert {r.model for r in find(lakes, "otter")} == {"Ferry Otter", "Low Otter"}
    pellow = find(lakes, "Pellow Lake Supply")
    assert {r.model for r in pellow[:3]} == {"Gate Hinge", "Kettle Lid", "Stair Runner"}
    assert pellow[0].matched[0].where == "maker"
    assert find(lakes, "zzyzx") == ()
    with pytest.raises(BadOption):
        find(lakes, " ?! ")


@pytest.mark.parametrize(
    ("text", "mm"), [("2 1/2in", 63.5), ("2½ inch", 63.5), ("6.4 cm", 64.0), ("85,6 mm", 85.6), ("no 2", None)]
)
def test_lengths_written(text: str, mm: float | None) -> None:
    assert length_of(text) == (None if mm is None else pytest.approx(mm))


@pytest.mark.parametrize(
    ("which", "said"),
    [("Low Oter", 'Is it "Kettlemoor Works / Low Otter"'), ("zzyzx", "See what it has"), ("?!", "See what it has")],
)
def test_a_name_that_the_set_does_not_have_is_told_what_comes_near(lakes: ReferenceSet, which: str, said: str) -> None:
    with pytest.raises(BadOption) as why:
        model_rows(lakes, which)
    assert said in why.value.message


def test_the_commands_show_and_find(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert refs_show.find_mention(str(REFS), "low oter", False) == 0
    assert "Kettlemoor Works / Low Otter" in capsys.readouterr().out
    assert refs_show.find_mention(str(REFS), "qqqq", False) == 0
    assert "Nothing in the set" in capsys.readouterr().out
    assert refs_show.find_mention(str(REFS), "otter", True) == 0
    check(json.loads(capsys.readouterr().out), "found")

    about = {"title": "Shelf", "source": [{"id": "s1", "citation": "their price list of 1938"}]}
    write.put(tmp_path / "set.toml", write.set_toml(about))
    learn(Editor(tmp_path), photo("a.jpg"), known_by="tool")
    file = tmp_path / "kettlemoor-works" / "low-otter.toml"
    file.write_text(file.read_text("utf-8").replace('view = "side"', 'view = "side"\nsource = "s1"'), "utf-8")
    name = "Kettlemoor Works / Low Otter"
    assert refs_show.show_set(str(tmp_path), name, False) == 0
    said = capsys.readouterr().out
    assert "a.jpg" in said and "E. Marl" in said and "no independent proof" in said and "their price list" in said
    assert refs_show.show_set(str(tmp_path), name, True) == 0
    document = json.loads(capsys.readouterr().out)
    check(document, "models")
    assert document["pieces"][0]["contributor"] == "E. Marl" and document["rows"][0]["known_by"] == "tool"
    assert refs_show.show_set(str(tmp_path), name, False) == 0
    assert "Shelf (1 model)" in (said := capsys.readouterr().out) and "No colourways are listed" in said
    assert refs_show.show_set(str(REFS), name, False) == 0
    assert "not learned from photos" in capsys.readouterr().out
    assert refs_show.show_set(str(REFS), "Kettlemoor Works", False) == 0
    said = capsys.readouterr().out
    assert all(
        re.search(rf"^{model} +32 +Straw over slate", said, re.MULTILINE) for model in ("Low Otter", "Cairn Loaf")
    )


def test_a_set_that_is_not_there_keeps_no_other_from_being_checked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write.put(tmp_path / "shelf" / "set.toml", write.set_toml({"title": "Shelf"}))
    assert refs_show.lint_sets([str(tmp_path / "none"), str(tmp_path / "shelf")], False) == 1
    said = capsys.readouterr()
    assert "There is no folder" in said.err and "shelf: 0 errors, 0 remarks" in said.out
    assert refs_show.lint_sets([str(tmp_path / "none")], False) == 2
    assert not capsys.readouterr().out
