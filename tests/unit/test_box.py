"""Sorting: the folder, the journal, piles from what was read, and what is written of them."""

from __future__ import annotations

import csv
import json
import os
import random
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.distance import squareform

from identify.box import group as grouping
from identify.box.group import group, likeness, moulds
from identify.box.journal import Journal, encoded, stated
from identify.box.labels import labels
from identify.box.lock import locked
from identify.box.notes import Answer, Choice, Looks, Note, Sheet, answer_of
from identify.box.piles import Joint, Piles, make_piles
from identify.box.walk import Found, walk
from identify.box.write import dumped, piles_json, places, write_index, write_links, write_plan
from identify.errors import CannotWrite, OutputInUse
from identify.outline import DESCRIPTORS
from identify.rank import Readings
from identify.records import Quantity
from identify.serialise import photo_json
from tests.unit.test_serialise import check, record

# the folder


def files(top: Path, *names: str) -> None:
    for name in names:
        (top / name).parent.mkdir(parents=True, exist_ok=True)
        (top / name).write_bytes(name.encode())


def test_photos_are_found_wherever_they_lie(tmp_path: Path) -> None:
    files(
        tmp_path, "b.JPG", "a/é 🎣.heic", "a/b/c.tiff", "notes.txt", ".hidden.jpg", ".thumbs/x.jpg", "out/thumbs/y.jpg"
    )
    found = walk(tmp_path, tmp_path / "out")
    assert [p.name for p in found.photos] == ["a/b/c.tiff", "a/é 🎣.heic", "b.JPG"] and not found.closed
    assert found.photos[2].size == len("b.JPG")
    assert len(walk(tmp_path).photos) == 4


@pytest.mark.skipif(os.name != "posix", reason="links and closed folders as on Unix")
def test_links_in_a_ring_and_closed_folders(tmp_path: Path) -> None:
    files(tmp_path, "a/x.jpg")
    (tmp_path / "a" / "up").symlink_to(tmp_path)
    (tmp_path / "a" / "gone.jpg").symlink_to(tmp_path / "nowhere.jpg")
    assert [p.name for p in walk(tmp_path).photos] == ["a/x.jpg"]
    (tmp_path / "gone").mkdir()
    assert walk(tmp_path / "never").closed[0][0] == "."


# the journal


def line(name: str, size: int = 10, **more: Any) -> dict[str, Any]:
    return stated(photo_json(record(**more)), Found(name, size, 5), "m", "r")


def test_what_is_added_is_there_again(tmp_path: Path) -> None:
    path = tmp_path / "photos.jsonl"
    with Journal(path) as journal:
        journal.add(line("b.jpg"))
        journal.add(line("a.jpg"))
        journal.add(line("b.jpg", 11))
    with Journal(path) as journal:
        assert set(journal.entries) == {"a.jpg", "b.jpg"}
        entry = journal.entries["b.jpg"]
        assert (entry.size, entry.mtime_ns, entry.measured_by, entry.baits) == (11, 5, "m", 1)
        assert journal.line("b.jpg") == line("b.jpg", 11)
        check(journal.line("a.jpg"), "photo")


@pytest.mark.parametrize("left", [1, 20, -1])
def test_a_last_line_that_was_cut_off_is_dropped(tmp_path: Path, left: int) -> None:
    path = tmp_path / "photos.jsonl"
    whole, torn = encoded(line("a.jpg")), encoded(line("b.jpg"))
    path.write_bytes(whole + torn[:left])
    with Journal(path) as journal:
        assert set(journal.entries) == {"a.jpg"}
        journal.add(line("c.jpg"))
    assert path.read_bytes() == whole + encoded(line("c.jpg"))


def test_a_spoilt_line_costs_its_own_photo(tmp_path: Path) -> None:
    path = tmp_path / "photos.jsonl"
    path.write_bytes(b'{"photo": 3}\n\x00\xff\n' + encoded(line("b.jpg")))
    with Journal(path) as journal:
        assert set(journal.entries) == {"b.jpg"} and journal.line("b.jpg")["photo"] == "b.jpg"
        journal.settle(["b.jpg"])
    assert path.read_bytes() == encoded(line("b.jpg"))


def test_settled_it_is_one_line_a_photo_in_order_and_can_go_on(tmp_path: Path) -> None:
    path = tmp_path / "photos.jsonl"
    with Journal(path) as journal:
        for name in ("c.jpg", "a.jpg", "c.jpg", "gone.jpg", "b.jpg"):
            journal.add(line(name))
        journal.settle(["a.jpg", "b.jpg", "c.jpg"])
        assert path.read_bytes() == b"".join(encoded(line(n)) for n in ("a.jpg", "b.jpg", "c.jpg"))
        journal.add(line("d.jpg"))
        assert journal.line("c.jpg")["photo"] == "c.jpg" and journal.line("d.jpg")["photo"] == "d.jpg"
        assert list(tmp_path.iterdir()) == [path]


def test_names_that_are_no_text(tmp_path: Path) -> None:
    name = os.fsdecode(b"caf\xe9.jpg") if os.name == "posix" else "café.jpg"
    with Journal(tmp_path / "photos.jsonl") as journal:
        journal.add(line(name))
        assert journal.line(name)["photo"] == name


# piles


def readings(length: float = 60.0, **more: Any) -> Readings:
    given: dict[str, Any] = {
        "length_mm": Quantity(length, 0.003 * length),
        "aspect": Quantity(0.3, 0.003),
        "outline": np.zeros(DESCRIPTORS),
        "tie_counts": (0.0, 0.02, 0.97, 0.01, 0.0, 0.0),
        "tie_places": np.array([[0.1, 0.1], [0.3, 0.13]]),
        "hangers": 2,
        "hanger_places": np.array([[0.4, -0.1], [1.0, 0.0]]),
        "lip": 0.02,
        "p_nose": 0.99,
        "p_back": 0.99,
    }
    return Readings(**{**given, **more})


def answer(model: str, p: float, other: str = "Other", size: str | None = "1") -> Answer:
    rest = 1 - p
    return Answer((Choice("Works", model, size, p), Choice("Works", other, size, rest * 0.7)), rest * 0.3)


NONE = Answer((Choice("Works", "Other", "1", 0.05),), 0.95)


def sheet(
    photo: str, *answers: Answer | None, slip: str | None = None, codes: tuple[str, ...] = (), **more: Any
) -> Sheet:
    notes = tuple(
        Note(photo, i, f"hash-{photo}", a, readings(**more), Looks(60.0, 18.0, 2), codes)
        for i, a in enumerate(answers, 1)
    )
    return Sheet(photo, f"hash-{photo}", slip, (), None, notes)


def never(photos: Sequence[str]) -> Joint:
    raise AssertionError(f"{photos} are not of one piece")


def names(piles: Piles) -> dict[str, list[str]]:
    return {p.name: [placed.photo for placed in p.photos] for p in (*piles.piles, *piles.unknown)}


def test_baits_go_to_the_pile_of_their_likeliest_answer() -> None:
    found = make_piles(
        [sheet("c", answer("A", 0.9)), sheet("a", answer("B", 0.8)), sheet("b", answer("A", 0.95), answer("B", 0.99))],
        never,
    )
    assert names(found) == {"Works / A 1": ["b", "c"], "Works / B 1": ["a", "b"]}
    assert found.piles[0].photos[0].probability == 0.95 and found.piles[0].pieces == 2
    assert not (found.look_again or found.unknown or found.unread_slips or found.not_measured)


def test_doubtful_ones_say_what_would_settle_it() -> None:
    doubt = replace(answer("A", 0.5), settle=("count the ties",))
    (again,) = make_piles(
        [sheet("p.jpg", doubt), sheet("q.jpg", replace(answer("A", 0.9), settle=("no",)))], never
    ).look_again
    assert again.photo == "p.jpg" and again.settle == ("count the ties",)


def test_doubtful_ones_are_looked_at_again_with_the_reason() -> None:
    unsure, empty = sheet("a", answer("A", 0.6, "B")), sheet("b")
    found = make_piles([unsure, empty], never)
    assert names(found) == {}
    assert [(x.photo, x.bait) for x in found.look_again] == [("a", 1), ("b", None)]
    assert "Works / A 1 (60 %) or Works / B 1 (28 %)" in found.look_again[0].reason


def test_like_is_laid_with_like_and_unclear_ones_aside() -> None:
    sheets = [sheet(f"s{i}", NONE, length=50 + 0.1 * i) for i in range(3)]
    sheets += [sheet(f"l{i}", None, length=70) for i in range(2)]
    sheets += [
        sheet("cut", NONE, codes=("touches-edge",)),
        sheet("dim", NONE, codes=("outline-unclear",), body_doubtful=True, length=50.1),
    ]
    found = make_piles(sheets, never)
    assert names(found) == {"Unknown 1": ["dim", "s0", "s1", "s2"], "Unknown 2": ["l0", "l1"]}
    assert [x.photo for x in found.look_again] == ["cut"]
    alone = sheet("odd", NONE, codes=("outline-unclear",), body_doubtful=True, length=90)
    assert [x.photo for x in make_piles([*sheets, alone], never).look_again] == ["cut", "odd"]


def joined(odd: dict[str, str] | None = None) -> Any:
    asked: list[list[str]] = []

    def join(photos: Sequence[str]) -> Joint:
        asked.append(list(photos))
        return Joint(answer("A", 0.97), readings(), odd or {})

    join.asked = asked  # type: ignore[attr-defined]
    return join


def test_all_photos_of_a_number_are_one_piece() -> None:
    """Each of two photos alone would have been doubtful; a box without a bait belongs to it too."""
    sheets = [
        sheet("a", answer("A", 0.6), slip="mill/1"), sheet("d", answer("A", 0.6), slip="mill/1"),
        sheet("box", slip="mill/1"), sheet("b", answer("A", 0.9), slip="mill/2"),
    ]  # fmt: skip
    join = joined()
    found = make_piles(sheets, join)
    assert join.asked == [["a", "d"]]
    (pile,) = found.piles
    assert [(p.photo, p.bait, p.piece) for p in pile.photos] == [
        ("a", 1, "mill/1"), ("b", 1, "mill/2"), ("box", None, "mill/1"), ("d", 1, "mill/1"),
    ]  # fmt: skip
    assert pile.pieces == 2


def test_a_photo_that_does_not_fit_its_number_is_never_joined() -> None:
    sheets = [sheet(n, answer("A", 0.9), slip="mill/1") for n in "abc"]
    found = make_piles(sheets, joined({"b": "length differs"}))
    assert names(found) == {"Works / A 1": ["a", "c"]}
    assert [x.photo for x in found.look_again] == ["b"] and "mill/1" in found.look_again[0].reason


def test_on_a_tray_a_slip_numbers_the_photo() -> None:
    tray = sheet("t", answer("A", 0.9), answer("A", 0.9), slip="mill/9")
    single = sheet("u", answer("A", 0.9), slip="mill/9")
    (pile,) = make_piles([tray, single], never).piles
    assert [p.piece for p in pile.photos] == ["mill/9-1", "mill/9-2", "mill/9"] and pile.pieces == 3


def test_numbers_that_show_no_bait_and_unread_slips_are_listed() -> None:
    unread = replace(sheet("u", answer("A", 0.9)), warnings=("slip-unread",))
    broken = Sheet("x", None, None, (), {"code": "photo-unreadable", "text": "no photo"}, ())
    found = make_piles([sheet("e", slip="mill/3"), unread, broken], never)
    assert found.unread_slips == ("u",) and names(found) == {"Works / A 1": ["u"]}
    assert found.not_measured[0].code == "photo-unreadable"
    assert "mill/3" in found.look_again[0].reason


def test_the_order_of_photos_changes_nothing() -> None:
    rng = np.random.default_rng(1)
    sheets = [
        sheet(f"p{i:02}", NONE, length=float(rng.choice([45, 52, 60, 68])) * (1 + 0.004 * rng.standard_normal()))
        for i in range(24)
    ]
    sheets += [sheet(f"q{i}", answer("A", 0.8), slip=f"mill/{i % 3}") for i in range(9)]
    first = dumped(make_piles(sheets, joined()))
    for seed in range(3):
        random.Random(seed).shuffle(sheets)
        assert dumped(make_piles(sheets, joined())) == first


def test_variants_of_one_size_are_one_choice() -> None:
    rows = [
        {"maker": "W", "model": "A", "size": "1", "probability": 0.4},
        {"maker": "W", "model": "B", "size": "1", "probability": 0.45},
        {"maker": "W", "model": "A", "size": "1", "probability": 0.1},
    ]
    found = answer_of(rows, 0.05)
    assert [(c.model, c.probability) for c in found.choices] == [("A", 0.5), ("B", 0.45)]


# groups


def test_sizes_bodies_and_ties_are_told_apart() -> None:
    def body(bend: float) -> Any:
        shape = np.zeros(DESCRIPTORS)
        shape[11] = bend
        return shape

    one_tie = {"tie_counts": (0.0, 0.98, 0.02, 0.0, 0.0, 0.0), "tie_places": np.array([[0.0, 0.0]])}
    found = [
        *(readings(60 + 0.1 * i) for i in range(4)),
        *(readings(69 + 0.1 * i) for i in range(3)),
        *(readings(60, outline=body(0.12)) for _ in range(3)),
        *(readings(60, **one_tie) for _ in range(2)),
    ]
    assert group(moulds(found)) == [0] * 4 + [1] * 3 + [2] * 3 + [3] * 2


def test_a_bait_read_the_wrong_way_round_is_still_like_its_kind() -> None:
    flipped = readings(
        tie_places=np.array([[0.1, -0.1], [0.3, -0.13]]), hanger_places=np.array([[0.4, 0.1], [1.0, 0.0]])
    )
    unsure = replace(flipped, p_back=0.5)
    assert group(moulds([readings(), readings(), unsure])) == [0, 0, 0]


def test_without_a_scale_proportion_and_hardware_remain() -> None:
    bare = [replace(readings(), length_mm=None) for _ in range(2)]
    assert group(moulds([*bare, replace(bare[0], aspect=Quantity(0.45, 0.004))])) == [0, 0, 1]
    assert group(moulds([])) == [] and group(moulds([Readings()])) == [0]
    assert group(moulds([Readings(), Readings()])) == [0, 1]


def test_blocks_of_baits_near_in_size_give_what_all_pairs_would(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(4)
    found = [readings(float(rng.uniform(40, 120)), hangers=int(rng.integers(1, 4))) for _ in range(30)]
    for i in (0, 7, 29):
        found[i] = replace(found[i], length_mm=None)
    m = moulds(found)
    every = np.clip(grouping.FARTHEST - likeness(m, slice(0, len(m))), 0, grouping.APART)
    far = np.abs(m.ln_length[:, None] - m.ln_length[None]) > grouping.OF_A_SIZE + 0.15  # a block's own spread
    monkeypatch.setattr(grouping, "BLOCK", 7)
    blocked = squareform(grouping._distances(m))
    looked_at = blocked < grouping.APART
    off = ~np.eye(len(m), dtype=bool)
    assert np.abs(blocked - every)[looked_at & off].max() < 2e-3
    near = np.nan_to_num(np.abs(m.ln_length[:, None] - m.ln_length[None]), nan=0.0) < grouping.OF_A_SIZE
    assert looked_at[near & off & (every < grouping.APART)].all() and not looked_at[far].all()


# what is written


def some(names_of: dict[str, list[str]]) -> Piles:
    sheets = [sheet(photo, answer(model, 0.9)) for model, photos in names_of.items() for photo in photos]
    return make_piles(sheets, never)


def test_piles_follow_the_schema() -> None:
    found = make_piles(
        [sheet("a", answer("A", 0.9), slip="m/1"), sheet("b", answer("A", 0.5)), sheet("c", NONE)], never
    )
    check(piles_json(found), "piles")
    assert json.loads(dumped(found)) == piles_json(found)


def test_copies_get_names_that_every_system_takes() -> None:
    found = places(some({"A": ["x/p.jpg", "x_p.jpg", "X/P.JPG"], "a!": ["p.jpg"]}))
    targets = [place for _, _, place in found]
    assert len({t.lower() for t in targets}) == 4
    assert all(t.count("/") == 1 and "!" not in t for t in targets)


def test_a_plan_is_no_formula(tmp_path: Path) -> None:
    write_plan(tmp_path / "plan.csv", some({"A": ["=cmd.jpg", "b, c.jpg"]}))
    with (tmp_path / "plan.csv").open(encoding="utf-8", newline="") as text:
        rows = list(csv.DictReader(text))
    assert [row["photo"] for row in rows] == ["'=cmd.jpg", "b, c.jpg"]
    assert rows[0]["pile"] == "Works / A 1" and rows[1]["copy_to"] == "works-a-1/b, c.jpg"


@pytest.mark.skipif(os.name != "posix", reason="making links needs a right that Windows seldom gives")
def test_links_are_renewed_and_nothing_else_is_touched(tmp_path: Path) -> None:
    folder, out = tmp_path / "in", tmp_path / "out"
    files(folder, "sub/a.jpg", "b.jpg")
    out.mkdir()
    write_links(out, folder, some({"A": ["sub/a.jpg", "b.jpg"]}))
    assert (out / "piles/works-a-1/sub_a.jpg").read_bytes() == b"sub/a.jpg"
    write_links(out, folder, some({"B": ["b.jpg"]}))
    assert [p.name for p in (out / "piles").iterdir()] == ["works-b-1"]
    files(out, "piles/works-b-1/mine.jpg")
    with pytest.raises(CannotWrite, match="no link of ours"):
        write_links(out, folder, some({"A": ["b.jpg"]}))
    assert (out / "piles/works-b-1/mine.jpg").exists()


def test_the_index_escapes_names_and_links_photos_from_where_it_is(tmp_path: Path) -> None:
    folder, out = tmp_path / "my photos", tmp_path / "out"
    folder.mkdir()
    out.mkdir()
    name = "a <b> & 100%.jpg"
    found = some({"A": [name]})
    text = write_index(out, folder, found, {name: "f" * 64}, (), "mm").read_text("utf-8")
    assert "a &lt;b&gt; &amp; 100%.jpg" in text and "<b>" not in text
    assert 'href="../my%20photos/a%20%3Cb%3E%20%26%20100%25.jpg"' in text
    assert f'src="thumbs/{"f" * 24}-1.jpg"' in text and str(tmp_path) not in text
    assert "60 × 18 mm, 2 line ties" in text
    inch = write_index(out, folder, found, {name: "f" * 64}, (), "inch").read_text("utf-8")
    assert "2.36 × 0.71 in" in inch and "× 18 mm" not in inch


def test_labels_are_a_pdf_whatever_the_names(tmp_path: Path) -> None:
    found = some({f"Model {'x' * i} 魚": [f"{i}.jpg"] for i in range(14)})
    made = labels(found, tmp_path, {f"{i}.jpg": "0" * 64 for i in range(14)})
    assert made.startswith(b"%PDF") and made.count(b"/Type /Page\n") == 2
    assert made == labels(found, tmp_path, {f"{i}.jpg": "0" * 64 for i in range(14)})


def test_a_second_sort_is_told_of_the_first(tmp_path: Path) -> None:
    with locked(tmp_path), pytest.raises(OutputInUse, match=f"process {os.getpid()}"), locked(tmp_path):
        pass
    with locked(tmp_path):
        pass
