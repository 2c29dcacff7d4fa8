"""Watching a folder: when a photo counts as whole, where it is placed, when the piles are written."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from identify.box.piles import Piles, make_piles
from identify.box.sort import Doing, Json, Step
from identify.box.walk import Found, Walked, walk
from identify.box.watch import NEW_PILE, Arrival, UnderWay, Watcher, watch
from identify.commands.large import large
from identify.commands.watching import Screen, bars
from tests.unit.test_box import NONE, answer, never, sheet


class Sorted:
    """Stands in for a Sorter: what it reads of a photo is told beforehand."""

    def __init__(self, folder: Path, sheets: dict[str, Any]) -> None:
        self.folder, self._sheets = folder, sheets
        self.journal = self
        self.entries: dict[str, Found] = {}
        self.photos: tuple[Found, ...] = ()
        self.written: list[Piles] = []
        self.under_way: list[UnderWay] = []
        self.join = never

    def look(self) -> Walked:
        found = walk(self.folder)
        self.photos = found.photos
        return found

    def known(self, photo: Found) -> bool:
        return self.entries.get(photo.name) == photo

    def do(self, photos: Sequence[Found], doing: Doing) -> Iterator[Step]:
        for photo in photos:
            if photo.name == "tray.jpg":
                for done in range(3):
                    doing(photo.name, done, 3)
            self.entries[photo.name] = photo
            yield Step(1, len(photos), photo.name, self.line(photo.name))

    def line(self, name: str) -> Json:
        found = self._sheets[name]
        warnings = [{"code": code, "text": f"({code})"} for code in found.warnings]
        return {"error": found.error, "warnings": warnings, "baits": []}

    def sheet(self, name: str) -> Any:
        return self._sheets[name]

    def sheets(self) -> list[Any]:
        return [self._sheets[p.name] for p in self.photos if p.name in self.entries]

    def warm_up(self) -> None:
        pass

    def finish(self) -> Piles:
        self.written.append(make_piles(self.sheets(), never))
        return self.written[-1]

    def index(self, piles: Piles) -> None:
        assert piles is self.written[-1]


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def scene(tmp_path: Path) -> Any:
    sheets = {
        "a.jpg": replace(sheet("a.jpg", answer("A", 0.9)), warnings=("no-focal-length", "several-baits")),
        "u.jpg": sheet("u.jpg", NONE, length=60),
        "v.jpg": sheet("v.jpg", NONE, length=60.2),
        "w.jpg": sheet("w.jpg", NONE, length=80),
        "doubt.jpg": sheet("doubt.jpg", answer("A", 0.5)),
        "tray.jpg": sheet("tray.jpg", *[answer("A", 0.9)] * 3),
        "bad.jpg": replace(sheet("bad.jpg"), error={"code": "photo-unreadable", "text": "no photo"}),
    }
    sorter, clock, shown = Sorted(tmp_path, sheets), Clock(), list[Arrival]()
    watcher = Watcher(sorter, shown.extend, clock, sorter.under_way.append)  # type: ignore[arg-type]
    watcher.start()
    return tmp_path, sorter, clock, shown, watcher


def test_a_photo_is_taken_when_it_has_stopped_growing(scene: Any) -> None:
    folder, _, clock, shown, watcher = scene
    photo = folder / "a.jpg"
    photo.write_bytes(b"")
    for size, now in ((0, 0.0), (10, 0.5), (10, 1.0), (20, 1.2), (20, 1.9)):
        photo.write_bytes(b"x" * size)
        clock.now = now
        watcher.look()
        assert not shown
    clock.now = 2.9
    watcher.look()
    assert [(x.photo, x.pile, x.probability) for x in shown] == [("a.jpg", "Works / A 1", 0.9)]
    assert shown[0].look == ("(no-focal-length)",)
    photo.write_bytes(b"x" * 30)  # it grew after all
    for clock.now in (4.0, 5.0):
        watcher.look()
    assert len(shown) == 2


def arrive(scene: Any, *names: str) -> list[Arrival]:
    folder, _, clock, shown, watcher = scene
    before = len(shown)
    for name in names:
        (folder / name).write_bytes(b"x")
    for _ in range(2):
        watcher.look()
        clock.now += 1
    return list(shown[before:])


def test_piles_are_written_when_it_is_quiet_and_at_the_end(scene: Any) -> None:
    folder, sorter, clock, _, watcher = scene
    arrive(scene, "a.jpg")
    assert len(sorter.written) == 1
    clock.now += 2
    watcher.look()
    assert len(sorter.written) == 2 and sorter.written[-1].piles
    watcher.look()
    watcher.stop()
    assert len(sorter.written) == 2
    (folder / "a.jpg").unlink()
    watcher.look()
    watcher.stop()
    assert len(sorter.written) == 3 and not sorter.written[-1].piles


def test_unknown_ones_go_to_the_pile_they_are_like(scene: Any) -> None:
    _, _, clock, _, watcher = scene
    assert [x.pile for x in arrive(scene, "u.jpg")] == [NEW_PILE]
    clock.now += 2
    watcher.look()
    assert [x.pile for x in arrive(scene, "v.jpg", "w.jpg")] == ["Unknown 1", NEW_PILE]


def test_doubtful_and_bad_ones_say_what_to_do(scene: Any) -> None:
    doubt, bad = sorted(arrive(scene, "doubt.jpg", "bad.jpg"), key=lambda x: x.photo, reverse=True)
    assert doubt.pile is None and doubt.look[0].startswith("not sure")
    assert bad.bait is None and bad.look == ("no photo",)


def test_a_photo_is_shown_at_once_and_then_how_far_it_is(scene: Any) -> None:
    folder, sorter, _, shown, watcher = scene
    (folder / "tray.jpg").write_bytes(b"x")
    watcher.look()
    assert sorter.under_way == [{"tray.jpg": (0, 0)}] and not shown
    arrive(scene, "tray.jpg", "a.jpg")
    assert [u["tray.jpg"] for u in sorter.under_way if "tray.jpg" in u][-3:] == [(0, 3), (1, 3), (2, 3)]
    assert sorter.under_way[-1] == {} and len(shown) == 4
    (folder / "gone.jpg").write_bytes(b"x")
    watcher.look()
    (folder / "gone.jpg").unlink()
    watcher.look()
    assert sorter.under_way[-2:] == [{"gone.jpg": (0, 0)}, {}]


def test_bars_are_for_terminals() -> None:
    file = StringIO()
    for terminal in (True, False):
        out = Console(width=100, file=file, force_terminal=terminal)
        with Screen(out) as screen:
            screen.under_way({"a.jpg": (0, 0)})
            screen.under_way({"a.jpg": (2, 10), "b.jpg": (0, 0)})
            screen.under_way({})
        if not terminal:
            assert not file.getvalue()
        file.seek(0)
        file.truncate()
    out = Console(width=100, file=file)
    out.print(bars({"[a].jpg": (2, 10), "b.jpg": (0, 0)}))
    assert "[a].jpg" in file.getvalue() and "2 of 10 baits" in file.getvalue() and "seen" in file.getvalue()


def test_what_is_shown() -> None:
    out = Console(width=100, record=True, file=None, quiet=False)
    screen = Screen(out)
    with out.capture() as got:
        screen.arrived([Arrival("a.jpg", 1, "mill/1", "Works / A 1", 0.96, ())])
        screen.arrived([Arrival("t.jpg", i, None, None, None, ("look here",)) for i in (1, 2, 3)])
    text = got.get()
    assert "█" in text and "a.jpg · mill/1" in text and "Nothing more to look at." in text
    assert text.count("Look again") == 3 and text.count("look here") == 3


def test_large_letters_fit_or_stay_small() -> None:
    fitting = large("Low Otter 2", 60).plain
    assert "█" in fitting and max(map(len, fitting.splitlines())) <= 62
    assert large("Donaudampfschiff", 20).plain == "Donaudampfschiff" and large("", 20).plain == ""


def test_it_ends_when_told_and_writes(scene: Any) -> None:
    folder, sorter, _, _, _ = scene
    (folder / "a.jpg").write_bytes(b"x")
    looks = iter([False, False, True])
    watch(sorter, lambda arrivals: None, lambda: next(looks), lambda seconds: None)
    with pytest.raises(KeyboardInterrupt):
        watch(sorter, lambda arrivals: None, _interrupt, lambda seconds: None)
    assert len(sorter.written) >= 3


def _interrupt() -> bool:
    raise KeyboardInterrupt
