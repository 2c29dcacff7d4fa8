"""`baitprint advice` from outside the repository."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema

from tests.end_to_end.conftest import PHOTOS, TOP, Run, no_traceback

SCHEMA = json.loads((TOP / "identify" / "help" / "schemas" / "advice-1.json").read_text("utf-8"))


def test_a_good_photo_in_words(run: Run, photo: Path) -> None:
    result = run("advice", photo, COLUMNS="200")
    no_traceback(result)
    assert result.returncode == 0
    assert "Good enough for length, line ties and colour." in result.stdout
    assert "hooks over an edge or in foam" in result.stdout


def test_json_for_every_photo(run: Run, photo: Path, tmp_path: Path) -> None:
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(photo.read_bytes()[:5000])
    result = run("advice", photo, PHOTOS / "listing.jpg", broken, "gone.jpg", "--json")
    no_traceback(result)
    assert result.returncode == 1
    lines = [json.loads(line) for line in result.stdout.splitlines()]
    for line in lines:
        jsonschema.validate(line, SCHEMA)
    good, listing, unreadable, missing = lines
    assert good["good_for"] == {"length": True, "ties": True, "colour": True}
    assert not listing["good_for"]["length"] and "no-card" in [a["code"] for a in listing["advice"]]
    assert unreadable["error"]["code"] == "photo-unreadable"
    assert missing["error"]["code"] == "photo-missing" and not any(missing["good_for"].values())


def test_no_photo_at_all_is_wrong_usage(run: Run) -> None:
    result = run("advice", "gone.jpg")
    no_traceback(result)
    assert result.returncode == 2
