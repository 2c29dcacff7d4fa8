"""Spreadsheets of known photos: what spreadsheets write, faulty rows, and going on where it stopped."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from identify.commands import refs_add
from identify.errors import BadOption, BaitprintError, NotLearned
from identify.records import PhotoRecord
from identify.reference import learning, measuring, read, write
from identify.reference.enrol import Done, Editor, Wish
from identify.reference.filed import pieces_of
from identify.reference.learning import learn_all
from identify.reference.piles import pile_wishes
from identify.reference.table import read_table
from identify.reference.told import facts_of
from identify.settings import Settings
from tests.unit.known_baits import photo
from tests.unit.workers import crashing

FILE = "kettlemoor-works/low-otter.toml"
HEAD = "photo,maker,model,size,colourway,length_mm"
ROW = "{0}.jpg,Kettlemoor Works,Low Otter,1,31,60.0"


@pytest.fixture
def box(tmp_path: Path) -> Path:
    """A folder with photos' files, and a set beside it."""
    for name in "abc":
        (tmp_path / f"{name}.jpg").write_bytes(name.encode())
    write.put(tmp_path / "shelf" / "set.toml", write.set_toml({"title": "Shelf"}))
    return tmp_path


@pytest.fixture
def measured(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Photos are not really measured here; the list says which were asked for."""
    asked: list[str] = []

    def measure(path: str, settings: Settings) -> PhotoRecord:
        asked.append(Path(path).name)
        drawn = photo(path)
        return PhotoRecord(**{**vars(drawn), "sha256": hashlib.sha256(Path(path).read_bytes()).hexdigest()})

    monkeypatch.setattr(measuring, "measure_file", measure)
    return asked


@pytest.mark.parametrize(
    "content",
    [
        f"{HEAD}\n{ROW.format('a')}\n".encode(),
        f"\ufeff{HEAD}\r\n{ROW.format('a')}\r\n".encode(),
        f"{HEAD.replace(',', ';')}\n{ROW.format('a').replace(',', ';').replace('60.0', '60,0')}\n".encode(),
        f"{HEAD.replace(',', chr(9)).upper()}\n{ROW.format('a').replace(',', chr(9))}\n\n".encode(),
        b'Photo,Maker,Model,Size,Colourway,Length mm\n"a.jpg","Kettlemoor Works","Low Otter","1","31","60.0"\n',
    ],
)
def test_a_table_as_spreadsheets_write_it(box: Path, content: bytes) -> None:
    (box / "t.csv").write_bytes(content)
    ((wish,), bad) = read_table(box / "t.csv", "E. Marl")
    assert not bad and wish.photo == box / "a.jpg" and wish.name == "Kettlemoor Works / Low Otter"
    assert (wish.facts.size, wish.facts.colourway, wish.facts.length_mm) == ("1", "31", 60.0) and wish.row == 2


def test_a_faulty_row_names_itself_and_the_others_go_in(
    box: Path, capsys: pytest.CaptureFixture[str], measured: list[str]
) -> None:
    rows = [
        HEAD,
        ROW.format("a"),
        "b.jpg,Kettlemoor Works,,1,31,60",
        ROW.format("missing"),
        ROW.format("c").replace("60.0", "6x"),
    ]
    (box / "t.csv").write_text("\n".join([*rows, ROW.format("b")]), "utf-8")
    asked = refs_add.Asked(table=str(box / "t.csv"))
    assert refs_add.add(str(box / "shelf"), asked, Settings(), 1) == 1
    said = capsys.readouterr()
    assert "line 3: The column model is empty" in said.err and "line 5: length_mm: '6x'" in said.err
    assert "line 4: There is no photo" in said.err and "2 of 3 photos learned from, 3 refused" in said.out
    assert said.out.endswith("Refused, for the reasons given above: line 3, line 4, line 5.\n")
    assert measured == ["a.jpg", "b.jpg"]
    before = {p: p.read_bytes() for p in (box / "shelf").rglob("*.*")}
    assert refs_add.add(str(box / "shelf"), asked, Settings(), 1) == 1
    assert "2 in already" in capsys.readouterr().out and measured == ["a.jpg", "b.jpg"]
    assert {p: p.read_bytes() for p in (box / "shelf").rglob("*.*")} == before


def test_interrupted_it_goes_on_where_it_stopped(
    box: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], measured: list[str]
) -> None:
    (box / "t.csv").write_text("\n".join([HEAD, *(ROW.format(n) for n in "abc")]), "utf-8")
    real = learn_all

    def stopped(*arguments: object, **more: object) -> Iterator[object]:
        for k, outcome in enumerate(real(*arguments, **more)):  # type: ignore[arg-type]
            yield outcome
            if k == 1:
                raise KeyboardInterrupt

    monkeypatch.setattr(refs_add, "learn_all", stopped)
    asked = refs_add.Asked(table=str(box / "t.csv"))
    assert refs_add.add(str(box / "shelf"), asked, Settings(), 1) == 130
    assert "2 of 3 photos are in" in capsys.readouterr().err
    monkeypatch.setattr(refs_add, "learn_all", real)
    assert refs_add.add(str(box / "shelf"), asked, Settings(), 1) == 0
    assert measured == ["a.jpg", "b.jpg", "c.jpg"] and len(read(box / "shelf").forms()) == 1


def test_a_fault_of_ours_costs_its_own_photo_only(
    box: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], measured: list[str]
) -> None:
    real = measuring.measure_file

    def sometimes(path: str, settings: Settings) -> PhotoRecord:
        if path.endswith("b.jpg"):
            raise ZeroDivisionError("a bug")
        return real(path, settings)

    monkeypatch.setattr(measuring, "measure_file", sometimes)
    monkeypatch.delenv("BAITPRINT_DEBUG", raising=False)
    (box / "t.csv").write_text("\n".join([HEAD, *(ROW.format(n) for n in "abc")]), "utf-8")
    assert refs_add.add(str(box / "shelf"), refs_add.Asked(table=str(box / "t.csv")), Settings(), 1) == 1
    said = capsys.readouterr()
    assert "2 of 3 photos learned from" in said.out and "line 3" in said.err and "ZeroDivisionError" in said.err


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"photo,maker\n", "no column model, size"),
        ("photo,maker,model,size\nä".encode("latin-1"), "not in UTF-8"),
        (b"", "is empty"),
    ],
)
def test_what_is_no_table(box: Path, content: bytes, said: str) -> None:
    (box / "t.csv").write_bytes(content)
    with pytest.raises(BadOption, match=said):
        read_table(box / "t.csv", None)
    with pytest.raises(BadOption, match="cannot be opened"):
        read_table(box / "none.csv", None)


@pytest.mark.parametrize(
    "told",
    [
        {"size": "a / b"},
        {"size": "1", "made": "about 1936"},
        {"size": "1", "ties": "two"},
        {"size": "1", "known_by": "me"},
        {"size": "1", "name": "Slate"},
        {"size": "1", "depth_mm": "16"},
        {"size": "1", "length_mm": "16", "depth_mm": "60"},
        {"size": "1", "length_mm": "2.5"},
    ],
)
def test_what_is_told_must_make_sense(told: dict[str, str]) -> None:
    with pytest.raises(BadOption):
        facts_of(told)


def test_ways_of_asking_exclude_each_other(box: Path) -> None:
    shelf = str(box / "shelf")
    for asked in (
        refs_add.Asked(table="t.csv", maker="x"),
        refs_add.Asked(without="a", table="t"),
        refs_add.Asked(photos=("a.jpg",)),
        refs_add.Asked(maker="a", model="b", size="c"),
        refs_add.Asked(maker="a", model="b", size="c", pile="x"),
    ):
        with pytest.raises(BadOption):
            refs_add.add(shelf, asked, Settings(), 1)


def test_a_pile_of_sort(box: Path) -> None:
    piles = '{"piles": [{"name": "p1", "photos": [{"photo": "a.jpg", "bait": 2, "piece": null, "probability": 0.9}]}]}'
    (box / "piles.json").write_text(piles, "utf-8")
    (wish,) = pile_wishes(box, "p1", "M", "N", facts_of({"size": "1"}), None)
    assert wish.facts.known_by is None  # a pile without a maker: the person names it
    assert (wish.photo, wish.bait, wish.piece) == (box / "a.jpg", 2, None)
    (box / "out").mkdir()
    (box / "out" / "piles.json").write_text(piles.replace("a.jpg", "gone.jpg"), "utf-8")
    with pytest.raises(BadOption, match="not found near"):
        pile_wishes(box / "out", "p1", "M", "N", facts_of({"size": "1"}), None)
    (box / "out" / "piles.json").write_text(piles, "utf-8")
    assert pile_wishes(box / "out", "p1", "M", "N", facts_of({"size": "1"}), None)[0].photo == box / "a.jpg"
    (box / "out" / "piles.json").write_text(piles.replace('"name": "p1"', '"name": "p1", "maker": "M"'), "utf-8")
    assert pile_wishes(box / "out", "p1", "M", "N", facts_of({"size": "1"}), None)[0].facts.known_by == "tool"
    with pytest.raises(BadOption, match="There is no pile 'p2'"):
        pile_wishes(box, "p2", "M", "N", facts_of({"size": "1"}), None)


def test_a_pile_is_taken_from_the_folder_that_was_sorted_and_without_its_boxes(box: Path) -> None:
    out, photos = box / "out", box / "deep" / "photos"
    for place in (out, photos):
        place.mkdir(parents=True)
    for decoy in (photos / "a.jpg", out / "a.jpg"):  # another photo of this name lies where DIR is
        decoy.write_bytes(b"")
    entry = {"photo": "a.jpg", "bait": 1, "piece": "mill/3", "probability": 0.9}
    pile = {"name": "p1", "photos": [entry, {**entry, "photo": "its box.jpg", "bait": None}]}
    found = {"folder": "../deep/photos", "piles": [pile, {"name": "p2", "photos": pile["photos"][1:]}]}
    (out / "piles.json").write_text(json.dumps(found), "utf-8")
    (wish,) = pile_wishes(out, "p1", "M", "N", facts_of({"size": "1"}), None)
    assert wish.photo.resolve() == (photos / "a.jpg").resolve() and (wish.bait, wish.piece) == (1, "mill/3")
    with pytest.raises(BadOption, match="shows a bait"):
        pile_wishes(out, "p2", "M", "N", facts_of({"size": "1"}), None)


def test_on_several_cores_photos_come_in_their_order(box: Path) -> None:
    paths = [box / f"{k}.png" for k in range(4)]
    for path in paths:
        path.write_bytes(path.name.encode())  # no photos: their faults come in order too
    wishes = [Wish(p, "Pellow Lake Supply", "Kettle Lid", facts_of({"size": "1"})) for p in paths]
    outcomes = list(learn_all(Editor(box / "shelf"), wishes, Settings(), jobs=2))
    assert [o.wish.photo for o in outcomes] == paths and all(str(o.wish.photo) in str(o.fault) for o in outcomes)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "is empty"),
        ("\n\nphoto,maker,model,size\n", "begins with an empty line"),
        (f"{HEAD}\n\n", "names no photo"),
        (f"{HEAD},size\n{ROW.format('a')},2\n", "has the column size twice"),
        (f"{HEAD},colorway\n{ROW.format('a')},x\n", None),
        (f"{HEAD.replace('colourway', 'colorway')}\n{ROW.format('a')}\n", "meant to be colourway"),
        ("photo,maker,modell,size\na.jpg,A,B,1\n", "meant to be model"),
        (f"{HEAD.replace('length_mm', 'length')}\n{ROW.format('a')}\n", "meant to be length_mm"),
        (f"{HEAD},where bought,price,\n{ROW.format('a')},attic,3,\n", None),
    ],
)
def test_slips_in_the_names_of_columns(box: Path, content: str, said: str | None) -> None:
    (box / "known.csv").write_text(content, "utf-8")
    if said is None:
        assert read_table(box / "known.csv", None)[0][0].facts.colourway == "31"
        return
    with pytest.raises(BadOption, match=said):
        read_table(box / "known.csv", None)


def test_a_process_that_dies_costs_its_own_photo_only(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(measuring, "measure_file", crashing.measure_file)
    names = ("0", "1", "crash", "3", "4", "5")
    for name in names:
        (box / f"{name}.png").write_bytes(name.encode())
    wishes = [Wish(box / f"{name}.png", "Kettlemoor Works", "Low Otter", facts_of({"size": "1"})) for name in names]
    outcomes = list(learn_all(Editor(box / "shelf"), wishes, Settings(), jobs=2))
    assert [o.wish for o in outcomes] == wishes
    assert [o.done is not None for o in outcomes] == [name != "crash" for name in names]
    assert isinstance(outcomes[2].fault, NotLearned) and "ended by the system" in str(outcomes[2].fault)
    photos = [shot.photo for piece in pieces_of(box / "shelf", FILE).pieces for shot in piece.photos]
    assert photos == [f"{name}.png" for name in names if name != "crash"]


def test_many_photos_are_looked_at_little_by_little(
    box: Path, monkeypatch: pytest.MonkeyPatch, measured: list[str]
) -> None:
    """The first is learned from before the last is opened; one named twice is measured once."""
    count = 2 * learning.LOOK + 10
    for k in range(count):
        (box / f"{k}.png").write_bytes(str(k).encode())
    wishes = [
        Wish(box / f"{k}.png", "Kettlemoor Works", "Low Otter", facts_of({"size": "1"}), f"P{k}") for k in range(count)
    ]
    opened: list[str] = []
    real = learning._hashed

    def hashed(wish: Wish) -> str | BaitprintError:
        opened.append(wish.photo.name)
        return real(wish)

    monkeypatch.setattr(learning, "_hashed", hashed)
    shelf = Editor(box / "shelf")
    for k, _ in enumerate(learn_all(shelf, [*wishes[:4], wishes[0]], Settings(), jobs=1)):
        assert len(opened) <= k + 1 + learning.AHEAD
    assert measured == [f"{k}.png" for k in range(4)]
    opened.clear()
    monkeypatch.setattr(shelf, "knows", lambda wish, sha256: True)
    monkeypatch.setattr(shelf, "add", lambda wish, record, sha256: Done(FILE))
    for k, outcome in enumerate(learn_all(shelf, wishes, Settings(), jobs=1)):
        assert outcome.done is not None and len(opened) <= k + 1 + learning.LOOK
    assert len(opened) == count and len(measured) == 4
