"""Records come back from their JSON as they were written."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from typing import Any

import pytest

from identify.records import Bait, LineTies, Measurement, Quantity, Slip, Thickness
from identify.restore import photo_restored, restored
from identify.serialise import dumps, photo_json
from identify.settings import ScaleLine, Settings
from identify.told import parse
from tests.unit.test_serialise import SQUARE, measurement, record

TOLD = Thickness(11.0, 2.0, "told")


def again(found: Any) -> Any:
    return json.loads(dumps(found))


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"slip": Slip("mill/1", SQUARE), "baits": ()},
        {"card": None, "scale": None, "set_aside": ()},
        {"baits": (Bait(replace(measurement(), outline_mm=None, length_mm=None, line_ties=None, eye=None, zones=())),)},
        {"baits": (Bait(replace(measurement(), line_ties=LineTies(None, None), thickness_mm=TOLD)),)},
    ],
)
def test_a_photo_written_again_is_the_same(changes: dict[str, Any]) -> None:
    line = again(photo_json(record(**changes)))
    found = photo_restored(line)
    bare = again(photo_json(replace(record(**changes), baits=tuple(Bait(b.measurement) for b in found.baits)), False))
    assert again(photo_json(found, ranked=False)) == bare
    assert again(photo_json(photo_restored(again(photo_json(found, ranked=False))), ranked=False)) == bare


def test_values_keep_their_types() -> None:
    line = again(photo_json(record()))
    line["baits"][0]["length_mm"] = {"value": 63, "u": 1, "parts": []}
    m = photo_restored(line).baits[0].measurement
    assert m.length_mm == Quantity(63.0, 1.0) and isinstance(m.length_mm.value, float)
    assert m.line_ties is not None and m.line_ties.probabilities == (0.0, 0.02, 0.97, 0.01, 0.0, 0.0)
    assert m.orientation_certainty == (0.99, 0.98) and m.outline_px[0] == (0.0, 0.0)


def test_settings_come_back() -> None:
    for settings in (
        Settings(),
        Settings(scale_line=ScaleLine((0, 0), (10.5, 0), 50), told=parse(["2:ties=1", "length_mm=63.5", "lip=metal"])),
        Settings(card_corners_px=((0, 0), (1, 0), (1, 1), (0, 1)), no_card=False, card_size_mm=(90, 50)),
    ):
        assert restored(Settings, json.loads(json.dumps(asdict(settings)))) == settings


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("number", "1"),
        ("nose", "up"),
        ("outline_px", [[1]]),
        ("length_mm", 3),
        ("view", {"kind": "side"}),
        ("number", True),
    ],
)
def test_what_does_not_fit_is_refused(key: str, value: Any) -> None:
    line = again(photo_json(record()))
    line["baits"][0][key] = value
    with pytest.raises(ValueError, match="this is no"):
        photo_restored(line)


@pytest.mark.parametrize("line", [{}, {"baits": None}, {"baits": [{}]}])
def test_other_json_is_refused(line: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="this is no"):
        photo_restored(line)


def test_a_line_of_an_older_version_lacks_what_has_a_default() -> None:
    line = again(photo_json(record()))
    del line["baits"][0]["length_mm"]["parts"]
    length = restored(Measurement, line["baits"][0]).length_mm
    assert length is not None and length.value == 63.4 and length.parts == ()
