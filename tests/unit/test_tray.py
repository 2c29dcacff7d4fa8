"""Drafts of records: one for each bait of a photo, never twice, and what stands there is left alone."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from identify.answer import unreadable
from identify.errors import CannotWrite
from identify.records import Bait, Slip
from identify.report.words import Units
from identify.tray import add_drafts, drafts
from identify.tray.rows import HEADS, notices, rows
from tests.unit.test_serialise import SQUARE, answer, check, measurement, record

SURE = replace(answer(), candidates=(replace(answer().candidates[0], probability=0.9),), none_of_these=0.1)


def test_a_sure_answer_fills_the_record_in() -> None:
    slipped = record(slip=Slip("mill house/9", SQUARE), baits=(Bait(measurement(), SURE),))
    (draft,) = drafts(slipped)
    check(draft.line, "draft")
    assert draft.id == "0" * 16 + "-1"
    assert (draft.line["lot"], draft.line["slip"]) == ("mill house", "mill house/9")
    assert (draft.line["maker"], draft.line["model"], draft.line["title"]) == ("Kjærvik & Søn", "魚", "魚 2")
    assert draft.line["colourway"] == {"code": "31", "name": "Slate over straw"}
    assert draft.line["photo"]["photo"] == "p01.jpg" and draft.line["length_mm"]["value"] == 63.4
    assert draft.line["features"]["line_ties"] == 2 and draft.line["features"]["belly"] is None


def test_an_unsure_one_is_only_suggested() -> None:
    for found in (record(), record(baits=(Bait(measurement()),))):
        (draft,) = drafts(found)
        check(draft.line, "draft")
        assert draft.line["maker"] is None and draft.line["title"] == "Fishing bait, not identified"
        assert draft.line["made"] is None and draft.line["probability"] is None
    assert drafts(record())[0].line["suggestions"][0]["probability"] == pytest.approx(1 / 3)
    assert drafts(unreadable("x.jpg", "photo-unreadable", "…")) == ()


def tray(n: int) -> list[Bait]:
    return [Bait(replace(measurement(), number=i), SURE) for i in range(1, n + 1)]


def test_the_same_photo_adds_nothing_twice(tmp_path: Path) -> None:
    place = tmp_path / "new" / "records.jsonl"
    assert add_drafts(place, drafts(record(baits=tuple(tray(2))))) == 2
    first = place.read_bytes()
    assert add_drafts(place, drafts(record(baits=tuple(tray(2))))) == 0 and place.read_bytes() == first
    assert add_drafts(place, drafts(record(baits=tuple(tray(3))))) == 1
    other = record(sha256="a" * 64, baits=tuple(tray(1)))
    assert add_drafts(place, (*drafts(other), *drafts(other))) == 1
    ids = [json.loads(line)["id"] for line in place.read_text("utf-8").splitlines()]
    assert ids == [f"{'0' * 16}-{i}" for i in (1, 2, 3)] + [f"{'a' * 16}-1"]


@pytest.mark.parametrize("end", ["\n", ""])
def test_what_was_edited_by_hand_stays(tmp_path: Path, end: str) -> None:
    place = tmp_path / "records.jsonl"
    mine = f'{{"id": "{"0" * 16}-1", "title": "Mine – ünder"}}\n# a remark\n{{"id": "x"}}{end}'
    place.write_text(mine, "utf-8")
    assert add_drafts(place, drafts(record(baits=tuple(tray(2))))) == 1
    lines = place.read_text("utf-8").splitlines()
    assert lines[:3] == mine.splitlines() and json.loads(lines[3])["id"].endswith("-2")


def test_a_line_cut_off_by_a_stop_is_dropped(tmp_path: Path) -> None:
    place = tmp_path / "records.jsonl"
    add_drafts(place, drafts(record(baits=tuple(tray(2)))))
    whole = place.read_bytes()
    place.write_bytes(whole[:-100])
    assert add_drafts(place, drafts(record(baits=tuple(tray(2))))) == 1 and place.read_bytes() == whole


def test_a_file_that_cannot_be(tmp_path: Path) -> None:
    with pytest.raises(CannotWrite, match="cannot be written"):
        add_drafts(tmp_path, ())


@pytest.mark.parametrize(("units", "said"), [("mm", "63.40 ± 0.40 mm"), ("inch", "2.496 ± 0.016 in")])
def test_rows_say_what_is_known(units: Units, said: str) -> None:
    (row,) = rows(record(baits=(Bait(measurement(), SURE),)), units)
    assert len(row.cells) == len(HEADS) and row.cells[3] == said and row.cells[5] == "2"
    assert "魚" in row.answer
    (bare,) = rows(record(baits=(Bait(replace(measurement(), length_mm=None, line_ties=None)),)), units)
    assert bare.answer == "" and bare.cells[3] == "–" and bare.cells[5] == "–"
    assert notices(record()) == ()
