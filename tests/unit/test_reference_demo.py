"""The demo set, and sets made from the truth of a photo set."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from identify.reference import lint, read
from tests.benchmarks.refs_from_truth import write_refs

DEMO = Path(__file__).parents[2] / "reference_sets" / "ammerfold-lakes"


def test_the_demo_set_is_without_fault_or_remark() -> None:
    report = lint(DEMO)
    assert (report.errors, report.remarks) == ((), ())


def test_the_demo_set_holds_its_world() -> None:
    forms = read(DEMO).forms()
    assert len({f.maker for f in forms}) == 5 and len({(f.maker, f.model) for f in forms}) == 14
    ties = {(f.model, f.size): f.line_ties.count for f in forms if f.line_ties}
    assert ties["Low Otter", "1"] == 2 and ties["Ferry Otter", "1"] == 1
    assert ties["Stair Runner", "1"] == 2 and ties["Stair Runner", "2"] == 3
    assert all(f.outline_mm and f.colourways and f.made for f in forms)
    total = sum(p.stat().st_size for p in DEMO.rglob("*") if p.is_file())
    assert total < 80_000


def bent_world() -> dict[str, Any]:
    """One maker, one bent model whose own frame is not the Feret frame, sizes out of order."""
    x = np.linspace(0, 1, 60)
    middle = -0.15 * x**2
    half = 0.12 * np.sqrt(x * (1 - x)) * 2
    shape = np.vstack([np.column_stack([x, middle + half]), np.column_stack([x, middle - half])[-2:0:-1]])

    def size(length: float) -> dict[str, Any]:
        return {
            "length_mm": length,
            "thickness_mm": 10.0,
            "outline_mm": (shape * length).tolist(),
            "ties": [{"kind": "nose", "centre_mm": [-1.5, 0.0]}],
            "hangers": [],
            "eye": None,
        }

    return {
        "title": "Bent",
        "maker_names": {"X": "Con & Söhne"},
        "model_names": {"X1": "Aux"},
        "models": {
            "X1": {"maker": "X", "sizes": [size(90.0), size(60.0)], "hook_count": 1, "lip": None, "colourways": ["7"]}
        },
        "colourways": {
            "7": {
                "edge": "smooth",
                "bars": True,
                "bars_lab_d50": [27.0, 9.0, 15.0],
                "back_lab_d50": [79.0, 4.0, 24.0],
                "belly_lab_d50": [86.0, 1.0, 14.0],
                "zones": [{"kind": "stripe", "lab_d50": [50.0, 0.0, 0.0]}],
            }
        },
    }


def test_a_set_from_any_truth(tmp_path: Path) -> None:
    folder = write_refs(bent_world(), tmp_path / "set")
    report = lint(folder)
    assert (report.errors, report.remarks) == ((), ())
    small, large = read(folder).forms()
    assert (small.size, large.size) == ("1", "2")
    assert small.length_mm == pytest.approx(60 * np.hypot(1, 0.15), abs=0.3)
    assert large.length_mm == pytest.approx(1.5 * small.length_mm, abs=0.02)
    assert small.line_ties is not None and small.line_ties.at_mm is not None
    x, y = small.line_ties.at_mm[0]
    assert np.hypot(x, y) == pytest.approx(1.5, abs=0.8)
    assert small.hangers is not None and small.hangers.count == 0 and small.made is None
    assert small.eye is not None and small.eye.kind == "none"
    (colourway,) = small.colourways
    assert (colourway.name, colourway.pattern, colourway.finish) == ("7", "bars", "paint")
    assert colourway.zones[0].kind == "side" and colourway.pattern_lab == (27.0, 9.0, 15.0)
    before = {p.name: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    write_refs(bent_world(), folder)
    assert {p.name: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before
