"""Several photos of one piece, as a user runs it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from PIL import Image

from tests.end_to_end.conftest import PHOTOS, Run, no_traceback
from tests.unit.test_serialise import check


def test_photos_of_one_piece_get_one_more_line_and_one_more_part_of_the_report(
    run: Run, photo: Path, refs: Path, tmp_path: Path
) -> None:
    turned, other = tmp_path / "turned.jpg", tmp_path / "other.jpg"
    with Image.open(photo) as picture:
        picture.transpose(Image.Transpose.ROTATE_180).save(turned, quality=92, exif=picture.getexif())
    shutil.copyfile(PHOTOS / "single-blue-cloth.jpg", other)
    report = tmp_path / "found"
    given = [photo, turned, other]
    result = run("identify", *given, "--refs", refs, "--same-piece", "--json", "--report", report)
    no_traceback(result)
    assert result.returncode == 0
    *photos, piece = [json.loads(line) for line in result.stdout.splitlines()]
    for line in photos:
        check(line, "photo")
    check(piece, "piece")
    assert piece["photos"] == [str(path) for path in given]
    assert [shot["used"] for shot in piece["shots"]] == [True, True, False]
    assert [w["code"] for w in piece["warnings"]] == ["piece-differs"]
    lengths = [line["baits"][0]["length_mm"] for line in photos[:2]]
    joint = piece["bait"]["length_mm"]
    assert min(q["value"] for q in lengths) <= joint["value"] <= max(q["value"] for q in lengths)
    best = piece["bait"]["candidates"][0]
    assert (best["maker"], best["model"]) == ("Pellow Lake Supply", "Kettle Lid")
    html = (report / "index.html").read_text("utf-8")
    assert "All photos together" in html and "other.jpg: it does not seem to show the same piece" in html
