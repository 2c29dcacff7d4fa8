"""What the installed program says about itself."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

import identify
from tests.end_to_end.conftest import Run
from tests.unit.test_serialise import check

COMMANDS = [
    "demo",
    "measure",
    "identify",
    "tray",
    "slips",
    "sort",
    "about",
    "refs list",
    "refs show",
    "refs use",
    "refs lint",
]


def test_version(run: Run) -> None:
    result = run("--version")
    assert (result.returncode, result.stdout) == (0, identify.__version__ + "\n")


def test_about(run: Run) -> None:
    found = json.loads(run("about", "--json").stdout)
    check(found, "about")
    assert found["version"] == identify.__version__
    assert "numpy" in run("about").stdout


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(run: Run, command: str) -> None:
    result = run(*command.split(), "--help")
    assert result.returncode == 0 and "Usage: baitprint" in result.stdout


def test_sets_are_listed_and_shown(run: Run, refs: Path) -> None:
    listed = json.loads(run("refs", "list", refs.parent, "--json").stdout)
    check(listed, "sets")
    assert [row["title"] for row in listed["rows"]] == ["The Ammerfold lakes"]
    shown = json.loads(run("refs", "show", refs, "kettlemoor works / low otter", "--json").stdout)
    check(shown, "models")
    assert [row["size"] for row in shown["rows"]] == ["1", "2", "3"]
    assert "Slate over straw" in run("refs", "show", refs, "Kettlemoor Works / Low Otter").stdout
    linted = run("refs", "lint", refs, "--json")
    check(json.loads(linted.stdout), "lint")
    assert linted.returncode == 0


def test_the_package_is_ours(tmp_path: Path) -> None:
    """An unrelated library has a package of the same name."""
    code = "import identify; print(identify.__file__); print(identify.read_sets.__module__)"
    found = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    place, module = found.stdout.splitlines()
    assert Path(place) == Path(identify.__file__) or "site-packages" in place
    assert module == "identify.answer"
