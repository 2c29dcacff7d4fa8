"""Imports point up the table only, so that every room can be understood from those above it."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import identify

ROOT = Path(identify.__file__).parent
ORDER = (
    ("errors", "help"),
    ("files", "printing"),
    ("told",),
    ("settings",),
    ("records",),
    ("geometry", "pixelnet"),
    ("calibration", "stages", "outline"),
    ("encoding", "decode"),
    ("photo",),
    ("colour", "tables"),
    ("slips",),
    ("card",),
    ("separate",),
    ("closeup",),
    ("body",),
    ("size",),
    ("hardware",),
    ("orient",),
    ("paint",),
    ("view",),
    ("clash", "joint"),
    ("measure",),
    ("piece",),
    ("advice",),
    ("reference",),
    ("rank",),
    ("kept",),
    ("answer",),
    ("same_piece",),
    ("serialise", "restore"),
    ("report",),
    ("box", "guide", "listing", "tray"),
    ("commands",),
    ("__main__",),
)
"""Rooms from top to bottom; those in one line may use each other."""
LEVEL = {room: level for level, rooms in enumerate(ORDER) for room in rooms}
FORBIDDEN = {"cli", "extensions", "identify", "interpreters", "vendor"}
HEAVY = ("numpy", "cv2", "scipy", "skimage", "sklearn", "PIL", "pydantic", "jinja2", "shapely")
QUIET_LOOK = "import sys; {}; print(*sorted(m for m in sys.modules if '.' not in m))"


def rooms_used(path: Path) -> set[str]:
    """Rooms of ours that a file imports, wherever in the file."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            parts = node.module.split(".")
            if parts[0] == "identify":
                found |= {parts[1]} if len(parts) > 1 else {alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {a.name.split(".")[1] for a in node.names if a.name.startswith("identify.")}
    return {room for room in found if (ROOT / room).is_dir() or (ROOT / f"{room}.py").is_file()}


def files() -> list[Path]:
    return sorted(path for path in ROOT.rglob("*.py") if path != ROOT / "__init__.py")


def room_of(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


@pytest.mark.parametrize("path", files(), ids=lambda p: p.relative_to(ROOT).as_posix())
def test_imports_point_up(path: Path) -> None:
    room = room_of(path)
    assert room in LEVEL, f"{room} has no place in the table"
    for used in rooms_used(path) - {room}:
        assert LEVEL[used] <= LEVEL[room], f"{path.name} of {room} imports {used}, which stands below it"


def test_the_rule_would_be_noticed(tmp_path: Path) -> None:
    file = tmp_path / "x.py"
    file.write_text(
        "from identify.report import words\nimport identify.card.pose\nfrom identify import rank\n", "utf-8"
    )
    assert rooms_used(file) == {"report", "card", "rank"}


def test_no_module_is_named_like_those_of_the_unrelated_library() -> None:
    names = {path.stem for path in ROOT.glob("*.py")} | {path.name for path in ROOT.iterdir() if path.is_dir()}
    assert not names & FORBIDDEN


def test_names_suit_every_system() -> None:
    """Windows and macOS cannot tell upper from lower case; Windows keeps some names for itself."""
    for folder in {path.parent for path in ROOT.rglob("*") if "__pycache__" not in path.parts}:
        names = [path.name for path in folder.iterdir()]
        assert len({name.lower() for name in names}) == len(names)
        assert not {name.split(".")[0].lower() for name in names} & {"con", "prn", "aux", "nul", "com1", "lpt1"}


@pytest.mark.parametrize(
    ("code", "never"),
    [
        ("import identify.reference.measuring", "pydantic"),  # in each process that measures
        ("import identify.reference.learning", "identify.measure"),  # in the program that learns from what they measure
        ("import identify.guide", "identify.measure"),
    ],
)
def test_who_does_not_measure_loads_nothing_that_does_and_the_other_way_round(code: str, never: str) -> None:
    look = f"import sys; {code}; print({never!r} in sys.modules)"
    said = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True).stdout
    assert said.strip() == "False"


@pytest.mark.parametrize("code", ["import identify", "import identify.commands.app"])
def test_what_starts_quickly_loads_nothing_heavy(code: str) -> None:
    loaded = subprocess.run(
        [sys.executable, "-c", QUIET_LOOK.format(code)], capture_output=True, text=True, check=True
    ).stdout.split()
    assert "identify" in loaded
    assert not set(loaded) & set(HEAVY)
