"""Sorting a box as a user does it: stopped and gone on with, changed, moved, watched, with slips."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.end_to_end.conftest import PHOTOS, REFS, Run, command, no_traceback
from tests.unit.test_serialise import check
from tests.unit.test_slips import drawn, laid, spoilt

SMALL = 400
posix = pytest.mark.skipif(os.name != "posix", reason="signals as on Unix")


def small(name: str, width: int = SMALL) -> Image.Image:
    with Image.open(PHOTOS / f"{name}.jpg") as photo:
        return photo.convert("RGB").resize((width, width * photo.height // photo.width), Image.Resampling.BOX)


@pytest.fixture(scope="module")
def box(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """60 small photos in nested folders: a few of the demo's, brighter and darker, and bare grounds; one is none."""
    top = tmp_path_factory.mktemp("box")
    shots = [small(name) for name in ("single-wood", "single-felt", "single-grey-tray", "stranger")]
    rng = np.random.default_rng(0)
    for i in range(59):
        folder = top / f"day {i % 3}" / ("é" if i % 2 else "")
        folder.mkdir(parents=True, exist_ok=True)
        if i < 8:
            pixels = np.asarray(shots[i % 4], float) * (1 - 0.01 * (i // 4))
        else:
            pixels = np.full((60, 80, 3), 140.0) + rng.normal(0, 5, (60, 80, 3))
        Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8)).save(folder / f"p{i:02}.png")
    (top / "broken.jpg").write_bytes(b"no photo")
    return top


def arguments(box: Path, out: Path, *more: str) -> list[str]:
    return [*command(), "sort", str(box), "--out", str(out), "--refs", str(REFS), "--jobs", "2", *more]


def read(out: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((out / "piles.json").read_text("utf-8"))
    check(found, "piles")
    return found


def piles_of(out: Path) -> str:
    """`piles.json` but for where the photos are."""
    found = read(out)
    assert (out / found.pop("folder")).is_dir()
    return json.dumps(found)


@pytest.fixture(scope="module")
def undisturbed(box: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("undisturbed")
    environment = {**os.environ, "BAITPRINT_CONFIG": str(out / "none.json")}
    done = subprocess.run(arguments(box, out), capture_output=True, text=True, env=environment, timeout=300)
    assert done.returncode == 1 and "broken.jpg" in done.stderr, done.stderr  # one photo is none
    return out


def test_every_photo_has_its_place(box: Path, undisturbed: Path) -> None:
    found = read(undisturbed)
    kettle = next(p for p in found["piles"] if p["model"] == "Kettle Lid")
    assert {p["photo"].rpartition("/")[2] for p in kettle["photos"]} >= {"p00.png", "p04.png"}
    placed = [p["photo"] for heap in (*found["piles"], *found["unknown_piles"]) for p in heap["photos"]]
    placed += [p["photo"] for p in (*found["look_again"], *found["not_measured"])]
    photos = sorted(p.relative_to(box).as_posix() for p in box.rglob("*") if p.is_file())
    assert sorted(set(placed)) == photos
    lines = [json.loads(line) for line in (undisturbed / "photos.jsonl").read_text("utf-8").splitlines()]
    assert [line["photo"] for line in lines] == photos
    for line in lines[:8]:
        check(line, "photo")
    text = (undisturbed / "index.html").read_text("utf-8")
    assert "Kettle Lid" in text and str(box) not in text and "data:" not in text
    for source in text.split('src="')[1:]:
        assert (undisturbed / source.partition('"')[0]).is_file()


def children(pid: int) -> set[int]:
    text = Path(f"/proc/{pid}/task/{pid}/children")
    found: set[int] = set()
    for task in text.parent.parent.iterdir():
        found |= {int(c) for c in (task / "children").read_text().split()}
    return found


@posix
def test_killed_twice_it_ends_the_same(
    box: Path, undisturbed: Path, tmp_path: Path, environment: dict[str, str]
) -> None:
    out = tmp_path / "out"
    journal = out / "photos.jsonl"
    for lines in (7, 25):
        worker = subprocess.Popen(
            arguments(box, out, "--json"), stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment
        )
        wait_for(lambda n=lines: journal.exists() and journal.read_bytes().count(b"\n") >= n)
        workers = children(worker.pid) if Path("/proc").exists() else set()
        worker.kill()
        worker.communicate()
        wait_for(lambda gone=workers: not any(Path(f"/proc/{pid}").exists() for pid in gone), 5)
    (out / ".photos.jsonl.1.part").write_bytes(b"half")
    with journal.open("ab") as torn:
        torn.write(b'{"schema": "baitprint/photo/1", "pho')
    known = journal.read_bytes().count(b"\n")
    before = journal.read_bytes()[: journal.read_bytes().rfind(b"\n")]
    done = subprocess.run(arguments(box, out, "--json"), capture_output=True, text=True, env=environment, timeout=300)
    no_traceback(done)
    assert piles_of(out) == piles_of(undisturbed)
    assert json.loads(done.stdout) == read(out)
    assert not list(out.rglob("*.part"))
    assert known >= 25 and set(before.splitlines()) <= set(journal.read_bytes().splitlines())  # not done twice


@posix
def test_interrupted_it_says_so_and_leaves_no_worker(box: Path, tmp_path: Path, environment: dict[str, str]) -> None:
    out = tmp_path / "out"
    worker = subprocess.Popen(
        arguments(box, out, "--jobs", "1"), stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    wait_for(lambda: (out / "photos.jsonl").exists() and (out / "photos.jsonl").stat().st_size > 0)
    worker.send_signal(signal.SIGSTOP)  # it is not to end before the second one looks
    second = subprocess.run(arguments(box, out), capture_output=True, text=True, env=environment, timeout=60)
    worker.send_signal(signal.SIGCONT)
    assert second.returncode == 1 and f"process {worker.pid}" in second.stderr
    workers = children(worker.pid) if Path("/proc").exists() else set()
    worker.send_signal(signal.SIGINT)
    said = worker.communicate(timeout=60)[1]
    assert worker.returncode == 130 and "Interrupted" in said and "Traceback" not in said
    assert not any(Path(f"/proc/{pid}").exists() for pid in workers)


def wait_for(done: Any, seconds: float = 120) -> None:
    until = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.05)


def test_changed_moved_and_gone_photos(box: Path, undisturbed: Path, run: Run, tmp_path: Path) -> None:
    mine, out = tmp_path / "mine", tmp_path / "out"
    shutil.copytree(box, mine)
    shutil.copytree(undisturbed, out)
    first = (out / "photos.jsonl").read_bytes()
    again = run("sort", mine, "--out", out, "--refs", REFS, "--jobs", "1", "--json")  # all have another date or place
    assert again.returncode == 1 and piles_of(out) == piles_of(undisturbed)
    assert [json.loads(a)["baits"] for a in first.splitlines()] == [
        json.loads(b)["baits"] for b in (out / "photos.jsonl").read_bytes().splitlines()
    ]
    (mine / "day 0" / "p00.png").rename(mine / "moved 🎣.png")
    (mine / "day 1" / "p04.png").unlink()
    pictures = len(list((out / "thumbs").iterdir()))
    shutil.copy(mine / "day 2" / "é" / "p05.png", mine / "day 1" / "é" / "p01.png")
    found = json.loads(run("sort", mine, "--out", out, "--refs", REFS, "--jobs", "1", "--json").stdout)
    names = {p["photo"] for heap in (*found["piles"], *found["unknown_piles"]) for p in heap["photos"]}
    assert len(list((out / "thumbs").iterdir())) < pictures
    assert "moved 🎣.png" in names and not {"day 0/p00.png", "day 1/p04.png"} & names
    lines = [json.loads(line) for line in (out / "photos.jsonl").read_text("utf-8").splitlines()]
    assert {line["photo"] for line in lines} == {p.relative_to(mine).as_posix() for p in mine.rglob("*") if p.is_file()}


def test_without_a_set_like_is_laid_with_like(box: Path, undisturbed: Path, run: Run, tmp_path: Path) -> None:
    """The same lines, ranked by another set or none, need not be measured again."""
    out = tmp_path / "out"
    shutil.copytree(undisturbed, out)
    begun = time.monotonic()
    result = run("sort", box, "--out", out, "--jobs", "1", "--json")
    found = json.loads(result.stdout)
    assert found["piles"] == [] and found["unknown_piles"] and "refs use" in result.stderr
    assert time.monotonic() - begun < 60
    line = json.loads((out / "photos.jsonl").read_text("utf-8").splitlines()[1])
    assert line["refs"] == [] and all(b["candidates"] is None for b in line["baits"])


def with_slip(name: str, slip: Any, folder: Path, file: str, width: int = 1000) -> None:
    """A demo photo with a slip laid into its free corner."""
    ground = np.asarray(small(name, width))
    pixels, _ = laid(slip, (0.03 * width, 0.55 * width), 0, 0.0033 * width, ground)
    Image.fromarray(pixels).save(folder / file, quality=92)


def test_photos_of_one_slip_are_one_piece(run: Run, tmp_path: Path) -> None:
    box, out = tmp_path / "box", tmp_path / "out"
    box.mkdir()
    for number, name in enumerate(("single-wood", "single-grey-tray"), 1):
        with_slip(name, drawn(f"baitprint:mill/{number}"), box, f"{number}a.jpg")
        brighter = np.asarray(cv2.convertScaleAbs(np.asarray(small(name, 1000)), alpha=1.04), np.uint8)
        Image.fromarray(laid(drawn(f"baitprint:mill/{number}"), (30, 550), 0, 3.3, brighter)[0]).save(
            box / f"{number}b.jpg"
        )
    with_slip("single-felt", spoilt(), box, "3.jpg")
    result = run("sort", box, "--out", out, "--refs", REFS, "--labels", "--copy-plan", tmp_path / "plan.csv")
    assert result.returncode == 0, result.stderr
    found = read(out)
    pieces = {p["photo"]: p["piece"] for heap in (*found["piles"], *found["unknown_piles"]) for p in heap["photos"]}
    pieces |= {p["photo"]: p["piece"] for p in found["look_again"]}
    assert {k: v for k, v in pieces.items() if k != "3.jpg"} == {
        "1a.jpg": "mill/1", "1b.jpg": "mill/1", "2a.jpg": "mill/2", "2b.jpg": "mill/2",
    }  # fmt: skip
    assert found["unread_slips"] == [{"photo": "3.jpg"}] and pieces.get("3.jpg") is None
    assert (out / "labels.pdf").read_bytes().startswith(b"%PDF")
    assert (tmp_path / "plan.csv").read_text("utf-8").startswith("photo,pile,copy_to")


@pytest.fixture
def watching(tmp_path: Path, environment: dict[str, str]) -> Iterator[tuple[Path, Path, Any]]:
    box, out = tmp_path / "phone", tmp_path / "out"
    box.mkdir()
    worker = subprocess.Popen(
        arguments(box, out, "--watch", "--jobs", "1"), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        env={**environment, "COLUMNS": "100", "PYTHONUNBUFFERED": "1"}, encoding="utf-8",
    )  # fmt: skip
    yield box, out, worker
    worker.kill()
    worker.communicate()


@posix
def test_watched_a_photo_is_placed_when_it_is_whole(watching: tuple[Path, Path, Any], tmp_path: Path) -> None:
    box, out, worker = watching
    while "Watching" not in worker.stdout.readline():
        assert worker.poll() is None
    wait_for(lambda: (out / "piles.json").exists())
    time.sleep(3)  # the worker loads
    small("single-wood", 500).save(tmp_path / "new.jpg")
    data = (tmp_path / "new.jpg").read_bytes()
    with (box / "new.jpg").open("wb") as file:  # as a slow phone writes it
        for part in (data[: len(data) // 2], data[len(data) // 2 :]):
            file.write(part)
            file.flush()
            time.sleep(0.5)
    arrived = time.monotonic()
    said = ""
    while "new.jpg" not in said:
        said = worker.stdout.readline()
        assert time.monotonic() - arrived < 30
    while "Nothing more" not in said and "╰" not in said:
        said = worker.stdout.readline()
    (box / "noise.txt").write_text("no photo", "utf-8")
    wait_for(lambda: "new.jpg" in (out / "piles.json").read_text("utf-8"), 20)
    worker.send_signal(signal.SIGINT)
    assert worker.wait(30) == 130
    assert read(out)["piles"][0]["photos"][0]["photo"] == "new.jpg"


@pytest.mark.parametrize(
    "more",
    [["--jobs", "0"], ["--watch", "--json"], ["--prior", "Nobody=2"], ["--refs", "no-such-set"], ["--card", "1"]],
)
def test_wishes_that_cannot_be(run: Run, box: Path, tmp_path: Path, more: list[str]) -> None:
    refs = [] if "--refs" in more else ["--refs", str(REFS)]
    result = run("sort", box, "--out", tmp_path / "out", *refs, *more)
    no_traceback(result)
    assert result.returncode == 2 and result.stderr


def test_folders_that_cannot_be(run: Run, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    file = tmp_path / "file"
    file.write_text("x", "utf-8")
    for folder, out, code in (("gone", "out", 2), ("empty", "out", 2), ("empty", "empty", 2), ("empty", "file", 1)):
        result = run("sort", tmp_path / folder, "--out", tmp_path / out)
        no_traceback(result)
        assert result.returncode == code, (folder, out, result.stderr)
