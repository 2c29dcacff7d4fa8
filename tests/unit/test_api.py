"""The public surface is exactly what is meant."""

from __future__ import annotations

import inspect
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest

import identify

MEANT = {
    "Advice", "advice_json", "advise_photo",
    "Bait", "BaitprintError", "Identification", "Measurement", "Photo", "PhotoRecord", "Quantity", "References",
    "ScaleLine", "Settings", "__version__", "identify_photo", "measure_photo", "photo_json", "rank_photo", "read_photo",
    "Check", "check_json", "check_photos",
    "Draft", "Piles", "add_drafts", "drafts", "slip_sheet", "sort_folder", "read_sets",
    "PieceRecord", "identify_piece", "join_photos", "piece_json",
}  # fmt: skip


def test_the_surface() -> None:
    assert set(identify.__all__) == MEANT
    assert identify.__all__ == sorted(identify.__all__)
    assert set(identify.__all__) <= set(dir(identify))


@pytest.mark.parametrize("name", sorted(MEANT - {"__version__"}))
def test_everything_public_is_there_and_documented(name: str) -> None:
    found = getattr(identify, name)
    assert inspect.getdoc(found)
    assert callable(found)


def test_a_name_that_is_not_there() -> None:
    with pytest.raises(AttributeError, match="guess"):
        identify.guess  # noqa: B018


def test_types_and_licence_are_carried() -> None:
    assert files("identify").joinpath("py.typed").is_file()
    assert files("identify").joinpath("LICENSE").read_text("utf-8").startswith("MIT")


def test_the_wheel_carries_every_demo_photo() -> None:
    top = Path(identify.__file__).parents[1]
    carried = tomllib.loads((top / "pyproject.toml").read_text("utf-8"))["tool"]["hatch"]["build"]["targets"]["wheel"]
    photos = {path.name for path in (top / "demo_photos").glob("*.jpg")}
    assert len(photos) >= 10
    assert photos == {Path(name).name for name in carried["force-include"] if name.endswith(".jpg")}
