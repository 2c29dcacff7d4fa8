"""A tray as a user does it."""

from __future__ import annotations

import json
from pathlib import Path

from PIL import Image

from tests.end_to_end.conftest import PHOTOS, Run, no_traceback
from tests.unit.test_serialise import check


def test_a_tray_becomes_a_report_and_drafts(run: Run, refs: Path, tmp_path: Path) -> None:
    photo, broken = tmp_path / "my tray.jpg", tmp_path / "broken.jpg"
    with Image.open(PHOTOS / "tray.jpg") as whole:
        whole.resize((whole.width // 2, whole.height // 2), Image.Resampling.BOX).save(photo, quality=90)
    broken.write_bytes(b"\xff\xd8no")
    report, drafts = tmp_path / "found", tmp_path / "records.jsonl"
    given = ["tray", photo, broken, "--refs", refs, "--drafts", drafts]
    result = run(*given, "--report", report)
    no_traceback(result)
    assert result.returncode == 1 and "broken.jpg" in result.stderr
    lines = [json.loads(line) for line in drafts.read_text("utf-8").splitlines()]
    for line in lines:
        check(line, "draft")
    assert len(lines) >= 8 and [line["photo"]["bait"] for line in lines] == list(range(1, len(lines) + 1))
    assert f"Drafts: {len(lines)} added" in result.stdout and "Kettlemoor Works" in result.stdout
    html = (report / "index.html").read_text("utf-8")
    assert html.count("<li>") == len(lines) and "my tray.jpg" in html and "Could not be used" in html
    assert str(tmp_path) not in html and "<script" not in html and [p.name for p in report.iterdir()] == ["index.html"]

    again = run(*given, "--json")
    found = [json.loads(line) for line in again.stdout.splitlines()]
    check(found[0], "photo")
    assert len(found[0]["baits"]) == len(lines) and found[1]["error"]["code"] == "photo-unreadable"
    assert len(drafts.read_text("utf-8").splitlines()) == len(lines)
