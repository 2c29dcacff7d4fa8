"""`--told` and `--prior` as a user gives them; probabilities recomputed from the weights in the JSON."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from tests.end_to_end.conftest import Run, no_traceback
from tests.unit.test_serialise import KEYS_OF_TOLD, check


def only_bait(text: str) -> dict[str, Any]:
    (line,) = text.splitlines()
    found = json.loads(line)
    check(found, "photo")
    (bait,) = found["baits"]
    assert isinstance(bait, dict)
    return bait


def recomputed(bait: dict[str, Any]) -> dict[str, float]:
    """Probabilities from nothing but the rows of evidence and the odds of not comparable: each candidate's odds against
    none of these are 10 to the sum of its weights."""
    odds = {
        f"{c['maker']} / {c['model']} / {c['size']}": 10 ** sum(row["weight"] for row in c["evidence"])
        for c in bait["candidates"]
    }
    comparable = 1 - bait["not_comparable"]
    whole = 1 + sum(odds.values())
    return {name: comparable * value / whole for name, value in odds.items()} | {"none": comparable / whole}


def test_probabilities_follow_from_the_weights(run: Run, photo: Path, refs: Path) -> None:
    told = ["--told", "ties=1", "--told", "thickness_mm=15+-0.5", "--told", "material=plastic"]
    result = run("identify", photo, "--refs", refs, "--json", *told, "--prior", "brack & linn=4")
    no_traceback(result)
    assert result.returncode == 0
    bait = only_bait(result.stdout)
    found = recomputed(bait)
    assert found.pop("none") == pytest.approx(bait["none_of_these"], rel=1e-6)
    for c in bait["candidates"]:
        name = f"{c['maker']} / {c['model']} / {c['size']}"
        assert found[name] == pytest.approx(c["probability"], rel=1e-6, abs=1e-15)
        rows = {row["feature"]: row for row in c["evidence"]}
        assert {f for f, row in rows.items() if row["told"]} == {"line ties", "thickness", "material"}
        weighed = "weighed 4" if c["maker"] == "Brack & Linn" else "weighed 1"
        assert weighed in rows["prior"]["expected"] and "calibration" in rows
    whole = sum(c["probability"] for c in bait["candidates"]) + bait["none_of_these"] + bait["not_comparable"]
    assert math.isclose(whole, 1, abs_tol=1e-9)
    assert bait["thickness_mm"] == {"value": 15.0, "u": 0.5, "from": "told"}
    assert bait["told"][0] == {"key": "thickness_mm", "value": 15.0, "u": 0.5}
    assert bait["clashes"] == []
    assert {w["feature"] for w in bait["candidates"][0]["without"]} >= {"length", "outline", "line ties", "material"}


def test_measure_keeps_what_the_photo_gave(run: Run, photo: Path) -> None:
    plain, told = (
        only_bait(run("measure", photo, "--json", *more).stdout)
        for more in ((), ("--told", "length_mm=2-1/2in", "--told", "ties=1"))
    )
    assert not set(plain) & set(KEYS_OF_TOLD) and "candidates" not in told
    (clash,) = told["clashes"]
    assert clash["key"] == "length_mm" and "63.5" in clash["told"] and "63.5" in clash["text"]
    assert {key: value for key, value in told.items() if key not in KEYS_OF_TOLD} == plain


def test_what_names_no_bait_that_is_there_is_not_used(run: Run, photo: Path) -> None:
    result = run("measure", photo, "--json", "--told", "7:ties=1")
    assert result.returncode == 0
    found = json.loads(result.stdout)
    (notice,) = [w for w in found["warnings"] if w["code"] == "told-unused"]
    assert "7:ties" in notice["text"] and found["baits"][0]["told"] == []


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [
        ("--told", "lenght_mm=63", "length_mm"),
        ("--told", "ties=two", "whole number"),
        ("--prior", "Brack=2", "Nearest: Brack & Linn"),
        ("--prior", "Brack & Linn=-2", "no weight"),
    ],
)
def test_what_cannot_be_read_is_wrong_usage(
    option: str, value: str, said: str, run: Run, photo: Path, refs: Path
) -> None:
    result = run("identify", photo, "--refs", refs, option, value)
    no_traceback(result)
    assert result.returncode == 2 and said in result.stderr and result.stdout == ""


def test_a_sheet_for_the_file(run: Run, photo: Path, refs: Path, tmp_path: Path) -> None:
    result = run("identify", photo, "--refs", refs, "--told", "ties=3", "--told", "material=wood", "--report", tmp_path)
    assert result.returncode == 0
    assert "Told was 3 line ties" in " ".join(result.stdout.split())
    html = " ".join((tmp_path / "index.html").read_text("utf-8").split())
    line = json.loads(run("identify", photo, "--refs", refs, "--json").stdout)
    for text in (
        line["sha256"], line["refs"][0]["sha256"], line["version"], "Told by a person: line ties 3; material wood",
        "Told was 3 line ties", "line ties (told)", "Runner-up:", "What would change the answer", "not comparable",
    ):  # fmt: skip
        assert text in html, text
