"""Sets of every size: one model, thousands, look-alikes only; and that no order of anything changes an answer."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from identify.answer import References, rank_photo, read_sets
from identify.rank import Prepared, prepare, rank_readings
from identify.rank.telling import tell
from identify.records import Bait, PhotoRecord
from identify.reference.profile import Form, RingPlaces
from identify.told import parse
from tests.unit.test_answer import REFS
from tests.unit.test_rank import OTTER, SET, form, measurement, seen, stranger, total
from tests.unit.test_serialise import record

THOUSANDS = 5000


@pytest.fixture(scope="module")
def many() -> Prepared:
    """Thousands of models that differ in length, depth, ties and hangers; every fiftieth has an outline."""
    rng = np.random.default_rng(4)
    forms: list[Form] = [OTTER]
    for k in range(THOUSANDS - 1):
        length = float(np.exp(rng.normal(4.1, 0.4)))
        depth = length * float(np.exp(rng.normal(-1.3, 0.3)))
        ties = int(rng.integers(1, 4))
        at = [length * float(x) for x in np.sort(rng.uniform(0, 0.5, ties))]
        hung = length * float(rng.uniform(0.3, 0.7))
        one = form(f"maker {k % 400}", f"model {k}", length, depth, ties) if k % 50 == 0 else replace(
            OTTER, maker=f"maker {k % 400}", model=f"model {k}", length_mm=length, depth_mm=depth, outline_mm=None
        )  # fmt: skip
        line_ties = RingPlaces(ties, tuple((x, depth / 2) for x in at))
        forms.append(replace(one, line_ties=line_ties, hangers=RingPlaces(2, ((hung, -depth / 2), (length, 0.0)))))
    return prepare(forms)


def test_one_of_thousands_is_found_and_a_stranger_is_none_of_them(many: Prepared) -> None:
    assert len(many.models) == THOUSANDS
    found = rank_readings(seen(OTTER), many, explain=True)
    assert found.candidates[0].model == "Low Otter" and found.candidates[0].probability > 0.5
    assert total(rank_readings(seen(OTTER), many, at_most=THOUSANDS)) == pytest.approx(1, abs=1e-9)
    # most of the set have no outline, so only a size that none of them has tells a stranger
    assert rank_readings(seen(stranger(250.0, 20.0, 1)), many).none_of_these > 0.8


def test_what_would_change_the_answer_is_asked_of_few_and_comes_out_as_of_all(many: Prepared) -> None:
    r = seen(OTTER)
    found = {w.feature: w for w in rank_readings(r, many, explain=True).candidates[0].without}
    for feature, changes in {
        "line ties": {"tie_counts": None},
        "hangers": {"hangers": None},
        "lip": {"lip": None},
    }.items():
        again = rank_readings(replace(r, **changes), many).candidates[0]  # type: ignore[arg-type]
        assert found[feature].top == again.name
        assert found[feature].probability == pytest.approx(again.probability, abs=0.02)


def test_thousands_of_look_alikes_leave_the_answer_open_among_them() -> None:
    twins = [replace(OTTER, maker=f"maker {k % 7}", model=f"model {k}") for k in range(1000)]
    found = rank_readings(seen(OTTER), prepare(twins), explain=True)
    assert max(c.probability for c in found.candidates) < 0.01
    assert found.none_of_these < 0.2
    assert found.would_settle == ()
    assert rank_readings(seen(stranger(70.0, 24.0, 1)), prepare(twins)).none_of_these > 0.95


def test_a_set_of_one_model_says_how_far_it_goes() -> None:
    alone = prepare([OTTER])
    found = rank_readings(seen(OTTER), alone, explain=True)
    assert found.candidates[0].probability > 0.9
    assert {w.top for w in found.candidates[0].without} == {found.candidates[0].name}
    assert found.would_settle == ()


# ------------------------------------------------------------------ orders


@settings(max_examples=15, deadline=None)
@given(st.permutations(SET), st.permutations(["ties=2", "length_mm=56", "material=wood", "hooks=1"]))
def test_no_order_of_candidates_or_of_what_was_told_changes_anything(order: list[Form], told: list[str]) -> None:
    r = tell(seen(OTTER), parse(told))
    plain = tell(seen(OTTER), parse(["hooks=1", "ties=2", "length_mm=56", "material=wood"]))
    assert rank_readings(r, prepare(order), explain=True) == rank_readings(plain, prepare(SET), explain=True)


def test_another_run_gives_the_same_answer_to_the_last_digit() -> None:
    """Names are hashed otherwise in each run of Python, so sets of names come in another order."""
    lines = (
        "from identify.rank import prepare, rank_readings",
        "from identify.rank.telling import tell",
        "from identify.told import parse",
        "from tests.unit.test_rank import OTTER, SET, seen",
        "r = tell(seen(OTTER), parse(['ties=2', 'length_mm=56', 'material=wood', 'hooks=1']))",
        "print(repr(rank_readings(r, prepare(SET), explain=True)))",
    )
    said = set()
    for seed in ("1", "2", "3"):
        environment = os.environ | {"PYTHONHASHSEED": seed}
        run = subprocess.run(
            [sys.executable, "-c", "\n".join(lines)], capture_output=True, text=True, env=environment, check=True,
            cwd=Path(__file__).resolve().parents[2],
        )  # fmt: skip
        said.add(run.stdout)
    assert len(said) == 1


@pytest.fixture(scope="module")
def references() -> References:
    return read_sets([REFS])


def test_no_order_of_photos_or_baits_changes_anything(references: References) -> None:
    photos = [
        record(photo=f"{k}.jpg", refs=None, baits=(Bait(measurement(one)), Bait(measurement(other))))
        for k, (one, other) in enumerate(zip(SET[:4], SET[4:], strict=True))
    ]

    def answers(shown: list[PhotoRecord]) -> dict[str, PhotoRecord]:
        return {photo.photo: rank_photo(photo, references, 5) for photo in shown}

    plain = answers(photos)
    assert answers(photos[::-1]) == plain
    turned = [replace(photo, baits=photo.baits[::-1]) for photo in photos]
    assert {k: v.baits[::-1] for k, v in answers(turned).items()} == {k: v.baits for k, v in plain.items()}


def test_no_names_or_order_of_files_change_anything(references: References, tmp_path: Path) -> None:
    other = tmp_path / "renamed"
    shutil.copytree(REFS, other)
    folders = sorted(path for path in other.iterdir() if path.is_dir())
    random.Random(1).shuffle(folders)
    for i, folder in enumerate(folders):
        models = sorted(folder.glob("*.toml"), reverse=True)
        for k, toml in enumerate(models):
            for file in (toml, toml.with_suffix(".svg")):
                if file.exists():
                    file.rename(folder / f"m{k}{file.suffix}")
        folder.rename(other / f"f{i}")
    renamed = read_sets([other])
    photo = record(refs=None, baits=(Bait(measurement(OTTER)),))
    plain, again = (rank_photo(photo, sets).baits[0].identification for sets in (references, renamed))
    assert again == plain
    assert renamed.used != references.used  # the set's hash knows its files' names
