"""A model whose small size has two line ties and whose large one three: checked, told apart in drawn photos, and shown
so in the report and the guide."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from identify.answer import References, rank_photo, read_sets
from identify.guide import write_guide
from identify.measure import measure
from identify.records import Candidate, PhotoRecord
from identify.reference import lint, read
from identify.reference.profile import Form
from identify.report.write import Report
from identify.settings import Settings
from tests.scenes.develop import save
from tests.scenes.drawer import draw
from tests.scenes.shot import any_shot
from tests.scenes.solid import as_listed
from tests.unit.test_guide import words

DEMO = Path(__file__).parents[2] / "reference_sets" / "ammerfold-lakes"
MODEL = ("Pellow Lake Supply", "Stair Runner")
FILE = "pellow-lake-supply/stair-runner.toml"


@pytest.fixture(scope="module")
def references() -> References:
    return read_sets([DEMO])


def sizes(references: References) -> dict[str, Form]:
    return {f.size: f for f in references.prepared.forms if (f.maker, f.model) == MODEL}


def test_it_is_linted(tmp_path: Path) -> None:
    shelf = tmp_path / "shelf"
    shutil.copytree(DEMO, shelf)
    assert not lint(shelf).errors
    text = (shelf / FILE).read_text("utf-8")
    (shelf / FILE).write_text(text.replace("line_ties = { count = 2,", "line_ties = { count = 3,", 1), "utf-8")
    (fault,) = lint(shelf).errors
    line = 1 + text[: text.index("line_ties")].count("\n")
    assert (fault.file, fault.line) == (FILE, line) and "counts 3, but gives 2 place(s)" in fault.text


def test_each_is_ranked_as_what_it_is_and_shown_with_its_own_ties(references: References, tmp_path: Path) -> None:
    report = Report(tmp_path / "report", references)
    records = {}
    for size, form in sizes(references).items():
        rng = np.random.default_rng(7)
        photo = tmp_path / f"size-{size}.jpg"
        save(draw(as_listed(form), replace(any_shot(rng), ground="wood")).photo, photo)
        records[size] = report.add(photo, Settings(), lambda record: rank_photo(record, references))
    for size, ties in (("1", 2), ("2", 3)):
        best = _best(records[size])
        assert (best.maker, best.model, best.size) == (*MODEL, size) and best.probability > 0.9
        (row,) = (e for e in best.evidence if e.feature == "line ties")
        assert (row.measured.split()[0], row.expected) == (str(ties), str(ties)) and row.weight > 0
    page = report.write().read_text("utf-8")
    shown = re.sub(r"<[^>]+>", " ", page)
    assert all(re.search(rf"line ties\s+{ties} \(\d+ %\)\s+{ties}\s", shown) for ties in (2, 3))


def test_a_large_one_that_lost_a_tie_is_still_the_large_one(references: References) -> None:
    piece = as_listed(sizes(references)["2"])
    drawn = draw(replace(piece, ties_mm=piece.ties_mm[:2]), replace(any_shot(np.random.default_rng(3)), ground="felt"))
    best = _best(rank_photo(measure(drawn.photo), references))
    assert (best.maker, best.model, best.size) == (*MODEL, "2")


def test_the_guide_prints_both(tmp_path: Path) -> None:
    found = read(DEMO)
    only = replace(found, profiles=tuple(p for p in found.profiles if p.name == " / ".join(MODEL)))
    write_guide(only, tmp_path / "guide.pdf")
    said = words(tmp_path / "guide.pdf")
    small, large = said.index("Size 1"), said.index("Size 2")
    assert "2 line ties" in said[small:large] and "3 line ties" in said[large:]


def _best(record: PhotoRecord) -> Candidate:
    (bait,) = record.baits
    assert bait.identification is not None
    return bait.identification.candidates[0]
