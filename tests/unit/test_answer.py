"""Measured and ranked: what reference sets add to a photo's record."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from identify.answer import References, identify_photo, rank_photo, read_sets, unreadable
from identify.errors import BadOption, SetMissing
from identify.records import Bait, PhotoRecord
from identify.told import parse
from tests.unit.test_serialise import measurement, record

REFS = Path(__file__).resolve().parents[2] / "reference_sets" / "ammerfold-lakes"


def measured(**changes: object) -> PhotoRecord:
    return record(refs=None, baits=(Bait(replace(measurement(), **changes)),))  # type: ignore[arg-type]


def codes(found: PhotoRecord) -> list[str]:
    return [notice.code for notice in found.warnings]


def test_all_candidates_and_none_of_these_sum_to_one() -> None:
    references = read_sets([REFS])
    found = rank_photo(measured(), references)
    answer = found.baits[0].identification
    assert answer is not None
    assert len(answer.candidates) == len(references.prepared.forms) == 30
    whole = sum(c.probability for c in answer.candidates) + answer.none_of_these + answer.not_comparable
    assert whole == pytest.approx(1, abs=1e-12)
    assert found.refs == references.used and found.refs[0].title == "The Ammerfold lakes"


def test_a_shorter_list_keeps_its_probabilities() -> None:
    references = read_sets([REFS])
    whole = rank_photo(measured(), references).baits[0].identification
    short = rank_photo(measured(), references, at_most=2).baits[0].identification
    assert whole is not None and short is not None
    assert short.candidates == whole.candidates[:2] and short.none_of_these == whole.none_of_these


def test_without_references_nothing_is_ranked_and_it_says_so() -> None:
    found = rank_photo(measured(), None)
    assert found.refs is None and found.baits[0].identification is None
    assert codes(found) == ["no-refs"]


def test_without_a_scale_sizes_stay_open() -> None:
    references = read_sets([REFS])
    found = rank_photo(measured(length_mm=None, depth_mm=None, outline_mm=None, px_per_mm=None), references)
    bait = found.baits[0]
    assert "size-open" in [notice.code for notice in bait.measurement.warnings]
    assert bait.identification is not None
    assert {(c.size, c.variant) for c in bait.identification.candidates} == {(None, None)}
    assert len(bait.identification.candidates) == len(references.prepared.models)


def test_the_first_of_two_sets_counts() -> None:
    references = read_sets([REFS, REFS])
    found = rank_photo(measured(), references)
    (notice,) = found.warnings
    assert notice.code == "same-model-twice" and "and 11 more" in notice.text
    assert found.baits[0].identification is not None
    assert {c.set for c in found.baits[0].identification.candidates} == {0}
    assert found.refs is not None and len(found.refs) == 2


def test_a_set_without_models(tmp_path: Path) -> None:
    (tmp_path / "set.toml").write_text('schema = 1\ntitle = "Nothing yet"\n', encoding="utf-8")
    found = rank_photo(measured(length_mm=None), read_sets([tmp_path]))
    assert codes(found) == ["refs-empty"]
    answer = found.baits[0].identification
    assert answer is not None and answer.candidates == () and answer.none_of_these == 1


def test_what_a_set_says_of_a_candidate() -> None:
    references = read_sets([REFS])
    form = references.form("Kettlemoor Works", "Low Otter", "2", None)
    assert form is not None and form.length_mm == 56
    assert references.form("Kettlemoor Works", "Low Otter", None, None) is not None
    assert references.form("Kettlemoor Works", "No Otter", None, None) is None


def prior_odds(references: References, maker: str) -> float:
    """What is assumed of a maker before looking, against none of these, from the rows of evidence."""
    answer = rank_photo(measured(), references).baits[0].identification
    assert answer is not None
    return sum(
        10**row.weight for c in answer.candidates if c.maker == maker for row in c.evidence if row.feature == "prior"
    )


def test_a_set_may_weigh_its_makers_and_a_run_goes_before_it(tmp_path: Path) -> None:
    own = tmp_path / "own"
    shutil.copytree(REFS, own)
    with (own / "set.toml").open("a", encoding="utf-8") as file:
        file.write('\n[prior]\n"Brack & Linn" = 3.0\n"Orsvane Turnery" = 0.5\n')
    plain, weighed = read_sets([REFS]), read_sets([own])
    for references, brack, orsvane in (
        (plain, 1.0, 1.0),
        (weighed, 3.0, 0.5),
        (weighed.weighing({"Brack & Linn": 1.0}), 1.0, 0.5),
        (read_sets([REFS, own]), 3.0, 0.5),
    ):
        whole = 3 + brack + orsvane
        for maker, weight in (("Brack & Linn", brack), ("Orsvane Turnery", orsvane), ("Kettlemoor Works", 1.0)):
            assert prior_odds(references, maker) == pytest.approx(0.85 / 0.15 * weight / whole)
    with pytest.raises(BadOption, match="Nobody"):
        plain.weighing({"Nobody": 2.0})


def test_what_was_told_goes_with_the_bait() -> None:
    told = parse(["length_mm=56", "ties=1"])
    bare = measured(length_mm=None, depth_mm=None, outline_mm=None, px_per_mm=None)
    asked = replace(bare, baits=(replace(bare.baits[0], told=told, clashes=()),))
    (bait,) = rank_photo(asked, read_sets([REFS])).baits
    assert (bait.told, bait.clashes) == (told, ())
    assert "size-open" not in [notice.code for notice in bait.measurement.warnings]
    assert bait.measurement.length_mm is None
    assert bait.identification is not None
    best = bait.identification.candidates[0]
    assert best.size is not None and {e.feature for e in best.evidence if e.told} == {"length", "line ties"}
    assert best.without


def test_a_photo_that_is_not_there_keeps_its_line(tmp_path: Path) -> None:
    found = identify_photo(tmp_path / "gone.jpg", None)
    assert found.error is not None and found.error.code == "photo-missing"
    assert found.warnings == () and found.baits == ()
    assert unreadable("x", "photo-missing", "…").sha256 is None


def test_no_set_no_references(tmp_path: Path) -> None:
    with pytest.raises(SetMissing):
        read_sets([REFS, tmp_path / "gone"])
