"""What an answer rests on: of linked models, which sizes shape cannot tell from the one that was found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from identify.answer import References, rank_bait, read_sets
from identify.records import Bait, Measurement, Quantity
from identify.reference import write
from identify.report.rests import rests_on
from tests.unit.test_listing import without_scale
from tests.unit.test_rank import OTTER, body, measurement

SIZES = {"1": 42.0, "2": 56.0}


def shelf(folder: Path, twins_sizes: Sequence[str]) -> References:
    """Two models of one mould, each in some sizes."""
    write.put(folder / "set.toml", write.set_toml({"title": "Shelf"}))
    for model, link, codes in (("Low Otter", "Twin", list(SIZES)), ("Twin", "Low Otter", twins_sizes)):
        sizes = [
            {"code": code, "length_mm": SIZES[code], "depth_mm": SIZES[code] * 15 / 56, "tolerance_mm": 0.3}
            for code in codes
        ]
        values = {
            "maker": "Kettlemoor", "model": model, "same_mould_as": [f"Kettlemoor / {link}"], "known_by": "paper",
            "lip": "none" if model == "Twin" else "metal", "size": sizes,
        }  # fmt: skip
        path = folder / write.model_path("Kettlemoor", model)
        write.put(path, write.model_toml(values))
        length = SIZES[codes[0]]
        write.put(path.with_suffix(".svg"), write.outline_svg(body(length, length * 15 / 56), model))
    return read_sets([folder])


def said(shown: Measurement, references: References) -> tuple[str, ...]:
    found = rank_bait(Bait(shown), references).identification
    assert found is not None
    names = {(c.model, c.size) for c in found.candidates[:4]}
    assert ("Twin", None if shown.length_mm is None else "1") in names, "the other model must be in question"
    return rests_on(found, references)


@pytest.fixture
def otter() -> Measurement:
    """A bait of 56 mm."""
    return measurement(OTTER)


def test_only_the_size_that_length_leaves_open_is_said_to_be_alike(otter: Measurement, tmp_path: Path) -> None:
    known, linked = said(otter, shelf(tmp_path, ["1", "2"]))
    assert "at its weakest, on paper of the time" in known
    assert "Kettlemoor / Low Otter 2" in linked and "Kettlemoor / Twin 2" in linked
    assert "shape cannot decide" in linked and "lip: " in linked and "Both are equally long" in linked


def test_a_model_that_is_linked_in_another_size_only_is_no_look_alike(otter: Measurement, tmp_path: Path) -> None:
    assert len(said(otter, shelf(tmp_path, ["1"]))) == 1


def test_a_length_that_was_hardly_measured_rules_no_size_out(otter: Measurement, tmp_path: Path) -> None:
    vague = replace(otter, length_mm=Quantity(50.0, 8.0), depth_mm=None)
    alike, longer = sorted(said(vague, shelf(tmp_path, ["1"]))[1:], key=lambda text: "but length tells" in text)
    assert "shape cannot decide" in alike and "Both are equally long" in alike
    assert "but length tells them apart, and so do these features: lip: " in longer and "14.0 ± 0.4 mm" in longer


def test_without_a_scale_the_sizes_nearest_to_each_other_are_named(otter: Measurement, tmp_path: Path) -> None:
    both = said(without_scale(otter), shelf(tmp_path / "both", ["1", "2"]))
    assert "shape cannot decide" in both[1] and "Both are equally long" in both[1]
    one = said(without_scale(otter), shelf(tmp_path / "one", ["1"]))
    assert "Low Otter 1" in one[1] and "Twin 1" in one[1] and "shape cannot decide" in one[1]
