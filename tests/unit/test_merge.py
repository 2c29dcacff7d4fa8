"""Learned values into files that people wrote in their own ways: nothing of theirs is lost, all of ours comes out."""

from __future__ import annotations

import tomllib

import pytest

from identify.reference.learn import Path
from identify.reference.merge import merge
from identify.reference.words import path_name

HEAD = 'schema = 1\nmaker = "M"\nmodel = "N"  # as on the box\n'
WANTED: dict[Path, object] = {
    ("made",): "1940",
    ("size", "1", "code"): "1",
    ("size", "1", "length_mm"): 60.0,
    ("size", "1", "line_ties", "count"): 2,
    ("size", "1", "line_ties", "at_mm"): [[1.0, 2.0], [3.0, 4.0]],
    ("size", "1", "eye", "at_mm"): [7.0, 1.0],
    ("size", "2", "code"): "2",
    ("size", "2", "length_mm"): 80.0,
    ("size", "2", "hangers", "count"): 1,
    ("colourway", "31", "code"): "31",
    ("colourway", "31", "back_lab"): [40.0, 0.0, 0.0],
}
FILES = {
    "plain": f'{HEAD}\n[[size]]\ncode = "1"\nlength_mm = 60.5  # mine\n',
    "carriage returns": f'{HEAD}\n[[size]]\ncode = "1"\nlength_mm = 60.5  # mine\n'.replace("\n", "\r\n"),
    "dotted": f'{HEAD}[[size]]\ncode = "1"\nlength_mm = 60.5\nline_ties.known_by = "marked"\n',
    "tables": f'{HEAD}[[size]]\ncode = "1"\nlength_mm = 60.5\n[size.line_ties]\nknown_by = "marked"\n# end\n'
    '[[size]]\ncode = "3"\nlength_mm=90\n',
    "inline": f'{HEAD}size = [{{ code = "1", length_mm = 60.5 }}]\n',
    "no code": f"{HEAD}[[size]]\nlength_mm = 60.5\n",
    "more behind": f'{HEAD}\n[[size]]\nlength_mm = 60.5\n\n[[dated]]\npart="a"\ntext="b"\nmade="1940"\n# last words',
}


@pytest.mark.parametrize("text", FILES.values(), ids=FILES)
def test_whatever_the_way_it_is_written(text: str) -> None:
    merged = merge(text, WANTED, {})
    assert merged.text is not None
    found = tomllib.loads(merged.text)
    sizes = {s.get("code", "1"): s for s in found["size"]}
    assert sizes["1"]["length_mm"] == 60.5 and sizes["2"]["hangers"] == {"count": 1}
    ties = sizes["1"]["line_ties"]
    assert (ties["count"], ties["at_mm"]) == (2, [[1.0, 2.0], [3.0, 4.0]])
    assert found["colourway"][0]["back_lab"] == [40.0, 0.0, 0.0] and found["made"] == "1940"
    assert [k.path for k in merged.kept] == [("size", "1", "length_mm")]
    for line in text.replace("\r", "").splitlines():
        assert "size = [" in line or line in merged.text, line
    assert ("\r\n" in merged.text) == ("\r\n" in text) and "\n\n\n" not in merged.text
    back = merge(merged.text, {}, merged.values)
    assert back.text is not None and tomllib.loads(back.text) == tomllib.loads(text)


def test_a_value_is_ours_only_while_it_is_what_we_wrote() -> None:
    first = merge(FILES["plain"], WANTED, {})
    assert first.text is not None
    changed = first.text.replace("length_mm = 80.0", "length_mm = 80.4").replace("hangers = { count = 1 }\n", "")
    wanted = {**WANTED, ("size", "2", "length_mm"): 81.0, ("made",): "1941", ("size", "2", "hangers", "count"): 3}
    second = merge(changed, wanted, first.values)
    assert second.text is not None
    assert "length_mm = 80.4" in second.text and 'made = "1941"' in second.text and "hangers" not in second.text
    third = merge(second.text, {}, second.values)
    assert third.text is not None and "80.4" in third.text and "made" not in third.text


def test_a_persons_count_goes_before_our_places() -> None:
    first = merge(FILES["plain"], WANTED, {})
    assert first.text is not None
    changed = first.text.replace("line_ties = { count = 2,", "line_ties = { count = 3,")
    second = merge(changed, WANTED, first.values)
    assert second.text is not None
    assert tomllib.loads(second.text)["size"][0]["line_ties"] == {"count": 3}


def test_nothing_wanted_and_nothing_there() -> None:
    assert merge(None, {}, {}).text is None
    assert path_name(("size", "2", "eye", "at_mm")) == "size 2, eye.at_mm" and path_name(("made",)) == "made"
