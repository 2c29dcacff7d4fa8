"""What `refs add` says of what it wrote: what concerns the photo just added, and nothing twice."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest

from identify.commands import refs_add
from identify.records import PhotoRecord
from identify.reference import measuring, write
from identify.settings import Settings
from tests.unit.known_baits import photo

FILE = "kettlemoor-works/low-otter.toml"
SHOWN = {"one": (60.0, (0.2,)), "two": (80.0, (0.2, 0.35)), "more": (80.2, (0.2, 0.35))}


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A set, and beside it photos that are not really measured."""
    for name in SHOWN:
        (tmp_path / f"{name}.jpg").write_bytes(name.encode())
    write.put(tmp_path / "shelf" / "set.toml", write.set_toml({"title": "Shelf"}))

    def measure(path: str, settings: Settings) -> PhotoRecord:
        length, ties = SHOWN[Path(path).stem]
        drawn = photo(path, length, 0.27 * length, ties)
        return PhotoRecord(**{**vars(drawn), "sha256": hashlib.sha256(Path(path).read_bytes()).hexdigest()})

    monkeypatch.setattr(measuring, "measure_file", measure)
    monkeypatch.setenv("COLUMNS", "300")
    return tmp_path / "shelf"


def add(shelf: Path, capsys: pytest.CaptureFixture[str], file: str, size: str, **told: Any) -> str:
    asked = refs_add.Asked(
        photos=(str(shelf.parent / f"{file}.jpg"),), maker="Kettlemoor Works", model="Low Otter", size=size, **told
    )
    assert refs_add.add(str(shelf), asked, Settings(), 1) == 0
    return capsys.readouterr().out


def test_only_what_concerns_the_photo_is_said(shelf: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first = add(shelf, capsys, "one", "1", ties=2, colourway="31", name="Slate", made="1936", known_by="paper")
    assert "note: size 1, one.jpg: told are 2 line ties, seen 1" in first and "Notes above" not in first
    path = shelf / FILE
    text = path.read_text("utf-8").replace("length_mm = 60.0", "length_mm = 60.4")
    path.write_text(text.replace('made = "1936"', 'made = "1938"').replace('name = "Slate"', 'name = "Grey"'), "utf-8")
    said = add(shelf, capsys, "two", "2")
    assert "note" not in said and "kept" not in said, said
    said = add(shelf, capsys, "two", "2", made="1950")  # told anew
    assert "kept as written by hand: made = 1938 (told: 1950)" in said and "photos say" not in said
    assert "size 1" not in said and "colourway" not in said and "1936" not in said
    said = add(shelf, capsys, "one", "1", colourway="31", ties=1)
    assert "kept as written by hand: size 1, length_mm = 60.4 (learned: 60)" in said
    assert "kept as written by hand: colourway 31, name = Grey (told: Slate)" in said and "made" not in said
    assert "note" not in said  # what is told now is what it shows


def test_told_years_that_differ_are_said_once_to_whom_they_concern(
    shelf: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    add(shelf, capsys, "two", "2", made="1936", known_by="paper")
    said = add(shelf, capsys, "more", "2", made="1950")
    assert "note: the model's years: 1936 counts" in said
    assert "the model's" not in add(shelf, capsys, "one", "1")


def test_a_table_ends_with_what_to_look_at(shelf: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = shelf.parent / "t.csv"
    rows = ["photo,maker,model,size,ties,made", *(f"{n}.jpg,Kettlemoor Works,Low Otter,{s},{t},{y}" for n, s, t, y in (
        ("one", "1", "2", "1936"), ("two", "2", "", "1937"), ("more", "2", "2", "1936"))), ]  # fmt: skip
    table.write_text("\n".join(rows), "utf-8")
    assert refs_add.add(str(shelf), refs_add.Asked(table=str(table)), Settings(), 1) == 0
    said = capsys.readouterr().out
    assert said.count("told are 2 line ties, seen 1") == 1 and said.count("the model's years") == 1
    assert said.index("size 1, one.jpg") < said.index("Low Otter, size 2")
    assert "Notes above to look at: Kettlemoor Works / Low Otter (2)." in said
