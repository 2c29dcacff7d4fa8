"""Runs the installed command in a folder that is not the repository."""

from __future__ import annotations

import os
import shutil
import subprocess
import sysconfig
from collections.abc import Callable
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
PHOTOS = TOP / "demo_photos"
REFS = TOP / "reference_sets" / "ammerfold-lakes"
Result = subprocess.CompletedProcess[str]
Run = Callable[..., Result]


def command() -> list[str]:
    """The installed `baitprint`."""
    name = "baitprint.exe" if os.name == "nt" else "baitprint"
    place = Path(sysconfig.get_path("scripts")) / name
    assert place.exists(), "install baitprint first: pip install -e '.[test]'"
    return [str(place)]


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("BAITPRINT", "NO_COLOR", "COLUMNS", "PYTHONPATH"))}
    own = {"BAITPRINT_CONFIG": str(tmp_path / "config" / "settings.json"), "BAITPRINT_CACHE": str(tmp_path / "cache")}
    return {**kept, **own}


@pytest.fixture
def run(tmp_path: Path, environment: dict[str, str]) -> Run:
    """`run("measure", photo)` gives the finished process; it runs in an empty folder."""
    here = tmp_path / "elsewhere"
    here.mkdir()

    def call(*arguments: str | Path, **more: str) -> Result:
        return subprocess.run(
            [*command(), *map(str, arguments)],
            cwd=here,
            env={**environment, **more},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=300,
        )

    return call


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """One good photo under a difficult name."""
    place = tmp_path / "box [1] 🎣 é.jpg"
    shutil.copyfile(PHOTOS / "single-wood.jpg", place)
    return place


@pytest.fixture
def refs() -> Path:
    return REFS


def no_traceback(result: Result) -> None:
    assert "Traceback" not in result.stderr + result.stdout, result.stderr
