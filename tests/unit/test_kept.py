"""Large sets kept ready: the same answers as from the folder, nothing stale, and no fuss about what is spoilt."""

from __future__ import annotations

import os
import shutil
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from identify import kept
from identify.answer import References, read_sets
from identify.kept import store
from identify.rank import rank_readings
from identify.rank.simulate import draw
from identify.reference import Form, compare
from identify.reference.hashing import set_digest
from identify.reference.load import load

REFS = Path(__file__).resolve().parents[2] / "reference_sets" / "ammerfold-lakes"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the demo set that counts as large, and an empty cache."""
    monkeypatch.setenv(store.VARIABLE, str(tmp_path / "cache"))
    monkeypatch.setattr(store, "LARGE", 1)
    place = tmp_path / "my set"
    shutil.copytree(REFS, place)
    return place


def ready(folder: Path, monkeypatch: pytest.MonkeyPatch) -> References:
    """The set as kept, with reading its files forbidden."""
    with monkeypatch.context() as patch:
        patch.setattr("identify.reference.read", lambda *_: pytest.fail("the set was read again"), raising=False)
        return read_sets([folder])


def kept_in(tmp_path: Path) -> Path:
    (place,) = (tmp_path / "cache").iterdir()
    return place


def test_a_kept_set_answers_as_the_folder_does(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = read_sets([folder])
    again = ready(folder, monkeypatch)
    assert again.used == first.used
    assert again.sets[0].names == first.sets[0].names
    assert list(again.prepared.palette.colourways) == list(first.prepared.palette.colourways)
    rng = np.random.default_rng(3)
    for _ in range(5):
        readings, _ = draw(rng, first.prepared)
        assert rank_readings(readings, again.prepared) == rank_readings(readings, first.prepared)


def test_kept_forms_say_all_that_forms_say(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    model = next(path for path in sorted(folder.glob("*/*.toml")) if "hooks =" in path.read_text("utf-8"))
    text = model.read_text("utf-8").replace("hooks =", "outline_tolerance_mm = 0.2\nhooks =", 1)
    model.write_text(text.replace("line_ties = { ", "line_ties = { tolerance_mm = 0.3, "), encoding="utf-8")
    first, again = read_sets([folder]), ready(folder, monkeypatch)
    assert len(again.prepared.forms) == len(first.prepared.forms)
    for one, other in zip(first.prepared.forms, again.prepared.forms, strict=True):
        for field in fields(Form):
            if field.name != "colourways":
                assert getattr(one, field.name) == getattr(other, field.name), field.name
        assert sorted(one.colourways, key=lambda c: c.code) == list(other.colourways)
    learned = [form for form in again.prepared.forms if form.outline_tolerance_mm and form.line_ties]
    assert learned and all(form.line_ties.tolerance_mm == 0.3 for form in learned if form.line_ties)
    last = again.prepared.forms[-1]
    assert replace(last, size="7").outline_mm == last.outline_mm
    assert again.prepared.forms[:2] == (again.prepared.forms[0], again.prepared.forms[1])


def test_models_of_a_kept_set_are_read_when_asked_for(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first, again = read_sets([folder]), ready(folder, monkeypatch)
    name = first.sets[0].names[3]
    found = again.sets[0].named(name.upper())
    assert found is not None
    assert found.data == first.sets[0].profiles[3].data
    assert found.drawings == first.sets[0].profiles[3].drawings
    assert again.sets[0].named("nobody / nothing") is None
    a, b = first.prepared.forms[0], first.prepared.forms[-1]
    assert compare.link(again.sets, a, b) == compare.link(first.sets, a, b)


def test_a_changed_set_is_read_anew(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read_sets([folder])
    before = set_digest(folder)
    file = sorted(folder.glob("*/*.toml"))[0]
    file.write_text(file.read_text("utf-8").replace("length_mm", "# changed\nlength_mm", 1), "utf-8")
    assert set_digest(folder) != before
    with pytest.raises(pytest.fail.Exception, match="read again"):
        ready(folder, monkeypatch)


def test_the_hash_is_the_set_s(folder: Path) -> None:
    assert set_digest(folder) == load(folder).sha256 == read_sets([folder]).sets[0].sha256


@pytest.mark.parametrize("name", [store.NAMES, store.ARRAYS, store.OUTLINES, store.COLOURWAYS])
@pytest.mark.parametrize("how", ["cut", "gone", "garbled"])
def test_what_is_spoilt_is_kept_anew(
    folder: Path, tmp_path: Path, name: str, how: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = read_sets([folder])
    file = kept_in(tmp_path) / name
    data = file.read_bytes()
    if how == "gone":
        file.unlink()
    else:
        file.write_bytes(data[: len(data) // 2] if how == "cut" else b"\x00garbage" + data[8 : len(data) // 3])
    again = read_sets([folder])
    assert again.used == first.used
    assert kept.load([first.sets[0].sha256]) is not None
    ready(folder, monkeypatch)


def test_a_place_that_cannot_be_written_to_is_no_fault(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "cache").write_text("a file, no folder")
    assert read_sets([folder]).prepared.forms


def test_another_version_keeps_its_own(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hashes = [read_sets([folder]).sets[0].sha256]
    assert kept.load(hashes) is not None
    monkeypatch.setattr(store, "__version__", "99.0")
    assert kept.load(hashes) is None


def test_small_sets_are_not_kept(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "LARGE", 10_000)
    read_sets([folder])
    assert not (tmp_path / "cache").exists()


def test_only_the_sets_used_last_are_kept(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "MOST", 2)
    title = folder / "set.toml"
    text = title.read_text("utf-8")
    for k in range(4):
        title.write_text(f"{text}\n# {k}\n", "utf-8")
        read_sets([folder])
        for i, place in enumerate(sorted((tmp_path / "cache").iterdir(), key=lambda p: p.stat().st_mtime)):
            os.utime(place, (i, i))
    assert len(list((tmp_path / "cache").iterdir())) == 2
    assert kept.load([str(set_digest(folder))]) is not None


def test_reading_tells_how_far_it_is(folder: Path) -> None:
    told: list[tuple[str, int, int]] = []
    read_sets([folder], lambda name, done, of: told.append((name, done, of)))
    assert {name for name, _, _ in told} == {"my set"}
    assert [done for _, done, _ in told] == list(range(told[0][2]))
