"""The main job as a user runs it: contract, report, exit codes."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import jsonschema

from tests.end_to_end.conftest import PHOTOS, Run, no_traceback
from tests.unit.test_serialise import KEYS_OF_ANSWER, check


def lines(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def test_photos_good_and_bad_in_their_order(run: Run, photo: Path, refs: Path, tmp_path: Path) -> None:
    """A missing photo, a folder and a broken file among others: their lines say so, the rest is done."""
    broken = tmp_path / "broken.jpg"
    broken.write_bytes((PHOTOS / "single-wood.jpg").read_bytes()[:5000])
    given = [tmp_path / "gone.jpg", photo, tmp_path, broken]
    report = tmp_path / "found"
    result = run("identify", *given, "--refs", refs, "--json", "--report", report)
    no_traceback(result)
    assert result.returncode == 1
    found = lines(result.stdout)
    assert [line["photo"] for line in found] == [str(path) for path in given]
    codes = [line["error"] and line["error"]["code"] for line in found]
    assert codes == ["photo-missing", None, "photo-unreadable", "photo-unreadable"]
    for line in found:
        check(line, "photo")
    assert result.stderr.count("\n") == 3

    (bait,) = found[1]["baits"]
    best = bait["candidates"][0]
    assert (best["maker"], best["model"], best["size"]) == ("Pellow Lake Supply", "Kettle Lid", "1")
    length = bait["length_mm"]
    assert abs(length["value"] - 58.57) < 3 * length["u"] + 0.2
    whole = sum(c["probability"] for c in bait["candidates"]) + bait["none_of_these"] + bait["not_comparable"]
    assert math.isclose(whole, 1, abs_tol=1e-9)
    for candidate in bait["candidates"]:
        if candidate["probability"] > 1e-12:
            told = sum(row["weight"] for row in candidate["evidence"])
            assert math.isclose(told, math.log10(candidate["probability"] / bait["none_of_these"]), abs_tol=1e-6)

    html = (report / "index.html").read_text("utf-8")
    assert "Kettle Lid" in html and photo.name in html and str(tmp_path) not in html
    assert "http://" not in html.replace("http://www.w3.org", "") and "https://" not in html and "<script" not in html
    assert [p.name for p in report.iterdir()] == ["index.html"]


def test_without_a_set_it_measures_and_says_so(run: Run, photo: Path) -> None:
    result = run("identify", photo, "--json")
    assert result.returncode == 0
    (found,) = lines(result.stdout)
    check(found, "photo")
    assert found["refs"] == [] and "no-refs" in [w["code"] for w in found["warnings"]]
    assert [found["baits"][0][key] for key in KEYS_OF_ANSWER] == [None] * len(KEYS_OF_ANSWER)
    assert "refs use" in result.stderr


def test_a_chosen_set_is_asked(run: Run, photo: Path, refs: Path) -> None:
    chosen = run("refs", "use", refs)
    assert chosen.returncode == 0 and "The Ammerfold lakes" in chosen.stdout
    assert json.loads(run("refs", "list", "--json").stdout)["rows"][0]["chosen"] is True
    result = run("identify", photo, "--top", "2", "--units", "inch")
    assert result.returncode == 0
    said = " ".join(result.stdout.split())
    assert "Kettle Lid" in said and "likelier than for an unlisted bait" in said
    assert "\x1b" not in result.stdout  # no colours where there is no terminal
    assert " in" in result.stdout and " mm" not in result.stdout


def test_measure_without_a_card(run: Run, photo: Path) -> None:
    result = run("measure", photo, "--no-card", "--json")
    assert result.returncode == 0
    (found,) = lines(result.stdout)
    check(found, "photo")
    assert "refs" not in found and found["card"]["found"] is False
    bait = found["baits"][0]
    assert bait["length_mm"] is None and bait["depth_mm"] is None and bait["depth_to_length"]["value"] > 0
    assert not set(bait) & set(KEYS_OF_ANSWER)


def test_a_set_without_models_leaves_none_of_these(run: Run, photo: Path, tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    (empty / "set.toml").write_text('schema = 1\ntitle = "Nothing yet"\n', encoding="utf-8")
    result = run("identify", photo, "--refs", empty, "--json")
    assert result.returncode == 0
    (found,) = lines(result.stdout)
    bait = found["baits"][0]
    assert bait["candidates"] == [] and bait["none_of_these"] == 1
    assert "refs-empty" in [w["code"] for w in found["warnings"]]


def test_the_same_model_in_two_sets_is_one_candidate(run: Run, photo: Path, refs: Path) -> None:
    result = run("identify", photo, "--refs", refs, "--refs", refs, "--json")
    (found,) = lines(result.stdout)
    assert "same-model-twice" in [w["code"] for w in found["warnings"]]
    assert {c["set"] for c in found["baits"][0]["candidates"]} == {0}


def test_the_schema_is_strict_enough_to_fail(run: Run, photo: Path) -> None:
    (found,) = lines(run("measure", photo, "--json").stdout)
    found["baits"][0]["length_mm"]["value"] = "63"
    try:
        check(found, "photo")
    except jsonschema.ValidationError:
        return
    raise AssertionError("a length in quotes passed")
