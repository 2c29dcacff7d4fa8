"""A set built from photos with the installed command: made, killed while it is made, asked, given away."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from pathlib import Path

import pytest

from tests.end_to_end.conftest import PHOTOS, Run, command, no_traceback

MAKER = "Pellow Lake Supply"
TABLE = """photo;maker;model;size;colourway;name;made;ties;known_by;piece;length_mm
{0}/single-wood.jpg;Pellow Lake Supply;Kettle Lid;1;55;Moss over straw, ivory tail;1949~/1961;1;paper;A-1;
{0}/single-three-ties.jpg;Pellow Lake Supply;Stair Runner;2;46;Lake blue over ivory;;3;marked;A-2;63,65
{0}/single-felt.jpg;Auldaine Sisters;Sickle Bough;1;35;Teal, cream dots;;;collectors;A-3;
{0}/stranger.jpg;;Nobody's;1;;;;;;;
"""


def test_a_first_reference_set(run: Run, tmp_path: Path) -> None:
    shelf = tmp_path / "my shelf"
    made = run("refs", "new", shelf, "--title", "My shelf", "--editor", "E. Marl", "--licence", "CC0-1.0")
    assert made.returncode == 0, made.stderr
    again = run("refs", "new", shelf, "--title", "My shelf")
    assert again.returncode == 2 and "already" in again.stderr
    (tmp_path / "known.csv").write_text("\ufeff" + TABLE.format(PHOTOS), "utf-8")
    added = run("refs", "add", shelf, "--table", tmp_path / "known.csv", "--contributor", "E. Marl", "--jobs", "1")
    no_traceback(added)
    assert added.returncode == 1 and "line 5: The column maker is empty" in added.stderr
    assert "3 of 3 photos learned from" in added.stdout and "line ties: 3" in added.stdout

    linted = run("refs", "lint", shelf)
    assert linted.returncode == 0 and "0 errors" in linted.stdout
    shown = run("refs", "show", shelf, f"{MAKER} / Stair Runner")
    assert "single-three-ties.jpg" in shown.stdout and "A-2" in shown.stdout and "marked" in shown.stdout
    found = run("refs", "find", shelf, "staer runer no 2")
    assert "Stair Runner" in found.stdout.splitlines()[1]

    answer = run("identify", PHOTOS / "single-three-ties.jpg", "--refs", shelf)
    assert answer.returncode == 0 and "Stair Runner" in answer.stdout
    assert "rests, at its weakest, on pieces marked by their maker" in " ".join(answer.stdout.split())

    other = run(
        "refs", "add", shelf, "--maker", MAKER, "--model", "Stair Runner", "--size", "2", PHOTOS / "single-felt.jpg"
    )
    assert other.returncode == 1 and "in the set already" in other.stderr and "--without" in other.stderr
    wrong = run(
        "refs",
        "add",
        shelf,
        "--maker",
        MAKER,
        "--model",
        "Kettle Lid",
        "--size",
        "1",
        PHOTOS / "single-white-paper.jpg",
    )
    no_traceback(wrong)
    assert wrong.returncode == 1 and "does not fit" in wrong.stderr and "--variant" in wrong.stderr

    archive = tmp_path / "shelf.zip"
    assert run("refs", "export", shelf, archive, "--photos").returncode == 0
    assert run("refs", "import", archive, tmp_path / "theirs").returncode == 0
    assert len(list((tmp_path / "theirs" / "photos").iterdir())) == 3
    assert run("refs", "guide", shelf, "--out", tmp_path / "guide.pdf", "--paper", "letter").returncode == 0
    assert (tmp_path / "guide.pdf").read_bytes().startswith(b"%PDF")
    gone = run("refs", "add", shelf, "--without", PHOTOS / "single-felt.jpg")
    assert gone.returncode == 0 and "the profile is gone" in gone.stdout
    assert sorted(p.name for p in shelf.iterdir() if not p.name.startswith(".")) == ["pellow-lake-supply", "set.toml"]


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_killed_while_it_learns_it_goes_on_where_it_was(run: Run, tmp_path: Path, environment: dict[str, str]) -> None:
    shelf = tmp_path / "shelf"
    run("refs", "new", shelf, "--title", "Shelf")
    (tmp_path / "known.csv").write_text("\n".join(TABLE.format(PHOTOS).splitlines()[:4]), "utf-8")
    asked = [*command(), "refs", "add", str(shelf), "--table", str(tmp_path / "known.csv"), "--jobs", "1"]
    process = subprocess.Popen(asked, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    until = time.monotonic() + 120
    while not list(shelf.glob("*/*.toml")) and time.monotonic() < until:
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert run("refs", "lint", shelf).returncode == 0
    done = run(*asked[1:])
    no_traceback(done)
    assert done.returncode == 0 and "in already" in done.stdout
    assert len(list(shelf.glob("*/*.toml"))) == 3 and run("refs", "lint", shelf).returncode == 0


def test_wrong_wishes_are_said_plainly(run: Run, tmp_path: Path, refs: Path) -> None:
    for asked, said in (
        (("refs", "add", tmp_path, "x.jpg"), "--maker, --model and --size"),
        (("refs", "lookalikes", tmp_path), "no set.toml"),
        (("refs", "new", tmp_path / "a"), "--title"),
        (("refs", "guide", refs), "--out"),
        (("refs", "import", tmp_path / "no.zip", tmp_path / "b"), "is not there"),
        (("refs", "find", refs, "?!"), "nothing to look for"),
    ):
        answer = run(*asked)
        no_traceback(answer)
        assert answer.returncode in (1, 2) and said in answer.stderr, (asked, answer.stderr)
