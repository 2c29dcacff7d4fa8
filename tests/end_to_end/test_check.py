"""An offer's pictures checked as a user does it."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from PIL import Image, ImageOps

from identify.errors import BadOption
from tests.docs.write_check_schema import check_schema
from tests.end_to_end.conftest import PHOTOS, Run, no_traceback

TRUE, WRONG = "Brack & Linn / Reed Wedge", "Kettlemoor Works / Cairn Loaf"


@pytest.fixture
def pictures(tmp_path: Path) -> list[Path]:
    """One offer: the picture as it is, and turned left for right in a screenshot's frame."""
    one, other = tmp_path / "a [1].jpg", tmp_path / "b é.jpg"
    with Image.open(PHOTOS / "listing.jpg") as whole:
        whole.save(one, quality=40)
        ImageOps.expand(ImageOps.mirror(whole.convert("RGB")), 60, (245, 246, 248)).save(other, quality=90)
    return [one, other]


def test_true_and_wrong_words(run: Run, refs: Path, pictures: list[Path], tmp_path: Path) -> None:
    report = tmp_path / "sheet"
    told = run("check", *pictures, "--sold-as", TRUE, "--refs", refs, "--report", report)
    no_traceback(told)
    assert told.returncode == 0, told.stderr
    assert "✓ agrees" in told.stdout and "These pictures agree with the words." in told.stdout
    assert "What to ask" in told.stdout and "mm for size" in told.stdout
    html = (report / "index.html").read_text("utf-8")
    assert html.count("<figure>") == 2 and 'class="stated"' in html and "a [1].jpg" in html
    assert str(tmp_path) not in html and "<script" not in html and [p.name for p in report.iterdir()] == ["index.html"]

    wrong = run("check", *pictures, tmp_path / "gone.jpg", "--sold-as", WRONG, "--refs", refs, "--json")
    no_traceback(wrong)
    assert wrong.returncode == 1 and "gone.jpg" in wrong.stderr
    found = json.loads(wrong.stdout)
    jsonschema.validate(found, check_schema(), jsonschema.Draft202012Validator)
    assert found["verdict"] == "disagrees" and found["better"][0]["model"] == "Reed Wedge"
    assert len(found["photo_reports"]) == 3 and found["left_out"][0]["photo"].endswith("gone.jpg")
    assert all(not report["card"]["found"] for report in found["photo_reports"][:2])


def test_size_colourway_and_length(run: Run, refs: Path, pictures: list[Path]) -> None:
    given = ["check", pictures[0], "--refs", refs, "--json", "--length-mm", "60"]
    right = json.loads(run(*given, "--sold-as", f"{TRUE} / 2 / Gold leaf").stdout)
    assert right["verdict"] == "agrees"
    findings = {point["feature"]: point["finding"] for point in right["points"]}
    assert findings["length"] == "agrees"
    other = json.loads(run(*given, "--sold-as", f"{TRUE} / 1").stdout)
    assert other["verdict"] == "disagrees"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--sold-as", "Brack and Lin / Red Wedge"], "Nearest names: Brack & Linn / Reed Wedge"),
        (["--sold-as", "Reed Wedge"], "does not say maker and model"),
        (["--sold-as", f"{TRUE} / 17"], "has no size"),
        (["--sold-as", TRUE, "--bait", "none"], "--bait none"),
        (["--sold-as", TRUE, "--bait", "0"], "--bait 0"),
        (["--sold-as", TRUE, "--bait", "4"], "no bait 4"),
        (["--sold-as", TRUE, "--length-mm", "long"], "--length-mm long"),
        (["--sold-as", TRUE, "--length-mm", "60", "--told", "length_mm=61"], "told twice"),
        ([], "--sold-as"),
    ],
)
def test_wrong_usage(run: Run, refs: Path, pictures: list[Path], more: list[str], said: str) -> None:
    result = run("check", pictures[0], "--refs", refs, *more)
    no_traceback(result)
    assert result.returncode == 2 and said in result.stderr and not result.stdout


def test_without_a_set_or_a_picture(run: Run, refs: Path, pictures: list[Path], tmp_path: Path) -> None:
    alone = run("check", pictures[0], "--sold-as", TRUE)
    assert alone.returncode == 2 and "--refs SET" in alone.stderr
    gone = run("check", tmp_path / "gone.jpg", "--sold-as", TRUE, "--refs", refs, "--json")
    assert gone.returncode == 2 and "gone.jpg" in gone.stderr and not gone.stdout


def test_from_python(refs: Path, pictures: list[Path]) -> None:
    import identify

    sets = identify.read_sets([refs])
    found = identify.check_photos([pictures[0]], TRUE, sets, length_mm=60)
    assert found.verdict == "agrees" and identify.check_json(found)["sold_as"] == TRUE
    with pytest.raises(BadOption):
        identify.check_photos([pictures[0]], "nothing", sets)
