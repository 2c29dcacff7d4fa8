"""Bad input: a clear message, the right exit code, no traceback, nothing lost."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.end_to_end.conftest import PHOTOS, Run, command, no_traceback


def drawn(place: Path, width: int, height: int, value: int) -> Path:
    Image.fromarray(np.full((height, width, 3), value, np.uint8)).save(place)
    return place


@pytest.mark.parametrize(
    "arguments",
    [
        ["identify"],
        ["identify", "gone.jpg", "also-gone.jpg"],
        ["identify", "gone.jpg", "--refs", "no-such-set"],
        ["measure", "gone.jpg", "--card", "1,2,3"],
        ["measure", "gone.jpg", "--card", "0,0,1,1,2,2,3,3"],
        ["measure", "gone.jpg", "--card-size", "big"],
        ["measure", "gone.jpg", "--card-thickness", "-1"],
        ["measure", "gone.jpg", "--card-reflectance", "18"],
        ["measure", "gone.jpg", "--scale", "1,1,1,1,20"],
        ["measure", "gone.jpg", "--units", "furlong"],
        ["identify", "gone.jpg", "--top", "0"],
        ["measure", "gone.jpg", "--no-such-option"],
        ["refs", "show", "no-such-set"],
        ["refs", "use"],
        ["no-such-command"],
    ],
    ids=lambda a: " ".join(a),
)
def test_wrong_usage(run: Run, arguments: list[str]) -> None:
    result = run(*arguments)
    no_traceback(result)
    assert result.returncode == 2
    assert len(result.stderr.strip()) > 20


def test_a_folder_without_set_and_a_set_with_faults(run: Run, tmp_path: Path) -> None:
    faulty = tmp_path / "faulty"
    (faulty / "m").mkdir(parents=True)
    without = run("refs", "lint", faulty, "--json")
    assert without.returncode == 1
    assert [e["code"] for e in json.loads(without.stdout)["errors"]] == ["set-toml-missing"]
    (faulty / "set.toml").write_text('schema = 1\ntitle = "Faulty"\n', encoding="utf-8")
    (faulty / "m" / "n.toml").write_text('schema = 1\nmaker = "M"\nmodel = "N"\n[[size]]\ndepth_mm = 3\n', "utf-8")
    refused = run("identify", PHOTOS / "single-wood.jpg", "--refs", faulty)
    no_traceback(refused)
    assert refused.returncode == 2 and "refs lint" in refused.stderr
    found = run("refs", "lint", faulty)
    assert found.returncode == 1 and "n.toml" in found.stdout and "length_mm" in found.stdout


def test_pictures_with_nothing_in_them(run: Run, tmp_path: Path) -> None:
    black = drawn(tmp_path / "black.png", 400, 300, 0)
    white = drawn(tmp_path / "white.png", 400, 300, 255)
    tiny = drawn(tmp_path / "tiny.png", 30, 30, 120)
    huge = tmp_path / "huge.png"
    Image.new("1", (20000, 10000)).save(huge)
    result = run("measure", black, white, tiny, huge, "--json")
    no_traceback(result)
    assert result.returncode == 1
    found = [json.loads(line) for line in result.stdout.splitlines()]
    assert [line["error"] and line["error"]["code"] for line in found] == [None, None, None, "photo-too-large"]
    for line in found[:3]:
        assert line["baits"] == [] and "no-bait" in [w["code"] for w in line["warnings"]]


def test_an_option_that_does_not_suit_the_photo(run: Run, tmp_path: Path) -> None:
    black = drawn(tmp_path / "black.png", 400, 300, 0)
    result = run(
        "identify", black, "--card", "5000,5000,6000,5000,6000,6000,5000,6000", "--report", tmp_path / "r", "--json"
    )
    no_traceback(result)
    assert result.returncode == 2
    assert json.loads(result.stdout)["error"]["code"] == "bad-option"
    assert "black.png" in (tmp_path / "r" / "index.html").read_text("utf-8")


@pytest.mark.skipif(os.name == "nt" or not hasattr(os, "geteuid"), reason="POSIX pipes and permissions")
def test_a_closed_pipe_ends_quietly(run: Run, environment: dict[str, str], tmp_path: Path) -> None:
    black = drawn(tmp_path / "black.png", 200, 150, 0)
    writer = subprocess.Popen(
        [*command(), "measure", *[str(black)] * 3], stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment
    )
    assert writer.stdout is not None and writer.stderr is not None
    writer.stdout.close()
    said = writer.stderr.read().decode()
    writer.stderr.close()
    assert writer.wait(120) == 0
    assert said == ""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a disk that is always full")
def test_a_full_disk(environment: dict[str, str], tmp_path: Path) -> None:
    black = drawn(tmp_path / "black.png", 200, 150, 0)
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        result = subprocess.run(
            [*command(), "measure", str(black), "--json"],
            stdout=full, stderr=subprocess.PIPE, text=True, env=environment, timeout=120, check=False,
        )  # fmt: skip
    assert result.returncode == 1
    assert "cannot be written" in result.stderr and "Traceback" not in result.stderr


def test_a_report_where_nothing_can_be_written(run: Run, tmp_path: Path) -> None:
    """A file stands where the folder should be; so it fails for the superuser too."""
    place = tmp_path / "taken"
    place.write_text("mine", encoding="utf-8")
    black = drawn(tmp_path / "black.png", 200, 150, 0)
    result = run("identify", black, "--report", place)
    no_traceback(result)
    assert result.returncode == 1 and "cannot be made" in result.stderr
    assert place.read_text("utf-8") == "mine"


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_interrupted(environment: dict[str, str], tmp_path: Path) -> None:
    black = drawn(tmp_path / "black.png", 200, 150, 0)
    worker = subprocess.Popen(
        [*command(), "measure", *[str(black)] * 5000, "--json"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # a shell's background jobs ignore it
    )  # fmt: skip
    assert worker.stdout is not None and worker.stderr is not None
    worker.stdout.readline()
    time.sleep(0.2)
    worker.send_signal(signal.SIGINT)
    said = worker.communicate(timeout=60)[1].decode()
    assert worker.returncode == 130
    assert "Traceback" not in said and "Interrupted" in said


def test_settings_that_cannot_be_read(run: Run, tmp_path: Path) -> None:
    config = tmp_path / "broken.json"
    config.write_text("{", encoding="utf-8")
    result = run("identify", PHOTOS / "single-wood.jpg", BAITPRINT_CONFIG=str(config))
    no_traceback(result)
    assert result.returncode == 2 and str(config) in result.stderr
