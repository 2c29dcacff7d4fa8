"""Records as JSON: the contract's keys in its order, validated against the schemas that users get."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from importlib.resources import files
from typing import Any

import jsonschema
import pytest

from identify.records import (
    Bait,
    Candidate,
    Card,
    Colour,
    ColourwayMatch,
    Evidence,
    Eye,
    Failure,
    Hangers,
    Hooks,
    Identification,
    LineTies,
    Lip,
    MakerShare,
    Measurement,
    ModelShare,
    Notice,
    Pattern,
    PhotoRecord,
    Quantity,
    RefsUsed,
    Scale,
    SetAside,
    Thickness,
    Trace,
    View,
    Zone,
)
from identify.serialise import document, dumps, photo_json, to_json

SQUARE = ((0.0, 0.0), (10.126, 0.0), (10.0, 5.0), (0.0, 5.0))
COLOUR = Colour((38.123456, -2.0, -8.0), 5.0, (4.0, 2.0, 2.0), (40.0, -1.0, -7.0), 3.0, 0.83, "#44606e", None, "blue")
KEYS_OF_PHOTO = [
    "schema",
    "photo",
    "sha256",
    "width",
    "height",
    "version",
    "refs",
    "card",
    "scale",
    "slip",
    "warnings",
    "error",
    "set_aside",
    "baits",
]
KEYS_OF_ANSWER = [
    *("candidates", "by_maker", "by_model", "none_of_these", "not_comparable", "colourway_new", "new_colour_reasons"),
    "would_settle",
    "would_help",
    "other_size",
]
KEYS_OF_TOLD = ["told", "clashes"]
"""Left out when nothing was told."""


def measurement() -> Measurement:
    return Measurement(
        number=1,
        outline_px=SQUARE,
        outline_mm=SQUARE,
        view=View("side", 0.98),
        nose_px=(0.0, 2.5),
        tail_px=(10.0, 2.5),
        nose="left",
        back="up",
        axis_deg=-0.0,
        shows="left",
        orientation_certainty=(0.99, 0.98),
        length_mm=Quantity.of(63.4, scale=0.1, height=0.387),
        depth_mm=Quantity.of(17.9, outline=0.3),
        depth_to_length=Quantity(0.282, 0.004),
        thickness_mm=Thickness(11.0, 2.0),
        px_per_mm=11.8,
        line_ties=LineTies(2, (0.0, 0.02, 0.97, 0.01, 0.0, 0.0), SQUARE[:2], SQUARE[:2], (Trace(None, "hole"),)),
        hangers=Hangers(1, SQUARE[:1], None),
        hooks=Hooks(0, ()),
        eye=Eye((3.0, 2.0), (3.0, 2.0), Quantity(3.6, 0.2)),
        lip=Lip(False, 0.03),
        back_colour=COLOUR,
        belly_colour=None,
        zones=(Zone("head", SQUARE, COLOUR),),
        pattern=Pattern("plain", None, 0.0, 0.9),
        hard_to_read=("leaf",),
        warnings=(Notice("ties-unsure", "…"),),
    )


def answer() -> Identification:
    match = ColourwayMatch("31", "Slate over straw", 0.8, 3.1, None, True)
    rows = (Evidence("line ties", "2", "2", 1.2345678901234567), Evidence("prior", "a", "b", -0.1))
    candidate = Candidate("Kjærvik & Søn", "魚", "2", None, 0, "1949/1956", "paper", 1 / 3, match, rows)
    return Identification(
        (candidate,),
        (MakerShare("Kjærvik & Søn", 1 / 3),),
        (ModelShare("Kjærvik & Søn", "魚", 1 / 3),),
        2 / 3 - 0.001,
        0.001,
        0.1,
        (),
    )


def record(**changes: Any) -> PhotoRecord:
    card = Card(True, SQUARE, 11.8, 4.1, 380.0, -0.4, (1.9, 1.0, 1.4), None)
    whole = PhotoRecord(
        "box/p01.jpg", "0" * 64, 4000, 3000, "0.1.0", (RefsUsed("A set", "1" * 64),), card, Scale("card", 11.8, 0.02),
        None, (), None, (SetAside(SQUARE, "a card"),), (Bait(measurement(), answer()),),
    )  # fmt: skip
    return replace(whole, **changes)


def schema(name: str) -> Any:
    return json.loads(files("identify").joinpath(f"help/schemas/{name}-1.json").read_text("utf-8"))


def check(document: Any, name: str) -> None:
    jsonschema.validate(document, schema(name), jsonschema.Draft202012Validator)


@pytest.mark.parametrize("name", ["photo", "lint", "sets", "models", "about"])
def test_the_schemas_are_schemas(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schema(name))
    assert schema(name)["properties"]["schema"]["const"] == f"baitprint/{name}/1"


def test_a_ranked_photo_follows_the_schema_and_the_order_of_keys() -> None:
    found = photo_json(record())
    check(found, "photo")
    assert list(found) == KEYS_OF_PHOTO
    properties = list(schema("photo")["$defs"]["bait"]["properties"])
    assert list(found["baits"][0]) == [key for key in properties if key not in KEYS_OF_TOLD]
    properties = [key for key in properties if key not in KEYS_OF_TOLD]
    assert properties[-len(KEYS_OF_ANSWER) :] == KEYS_OF_ANSWER
    assert not set(found["baits"][0]) & set(KEYS_OF_TOLD)
    assert list(found["baits"][0]["candidates"][0]) == list(schema("photo")["$defs"]["candidate"]["properties"])


def test_the_schema_refuses_a_nan_and_a_missing_key() -> None:
    found = photo_json(record())
    del found["baits"][0]["length_mm"]
    with pytest.raises(jsonschema.ValidationError):
        check(found, "photo")


def test_measure_leaves_out_refs_and_the_answer() -> None:
    found = photo_json(record(refs=None, baits=(Bait(measurement()),)), ranked=False)
    check(found, "photo")
    assert list(found) == [key for key in KEYS_OF_PHOTO if key != "refs"]
    assert not set(found["baits"][0]) & set(KEYS_OF_ANSWER)


def test_identify_without_a_set_has_the_keys_as_null() -> None:
    found = photo_json(record(refs=None, baits=(Bait(measurement()),)))
    check(found, "photo")
    assert found["refs"] == []
    assert [found["baits"][0][key] for key in KEYS_OF_ANSWER] == [None] * len(KEYS_OF_ANSWER)


def test_a_photo_that_cannot_be_read() -> None:
    failed = PhotoRecord(
        "x.jpg", None, None, None, "0.1.0", None, None, None, None, (), Failure("photo-missing", "…"), (), ()
    )
    found = photo_json(failed)
    check(found, "photo")
    assert found["error"] == {"code": "photo-missing", "text": "…"}
    assert found["baits"] == []


def test_fields_are_called_and_labelled_as_the_contract_says() -> None:
    bait = photo_json(record())["baits"][0]
    assert bait["thickness_mm"] == {"value": 11.0, "u": 2.0, "from": "depth"}
    assert bait["line_ties"]["probabilities"] == {"0": 0.0, "1": 0.02, "2": 0.97, "3": 0.01, "4": 0.0, "5+": 0.0}
    assert photo_json(record())["scale"] == {"from": "card", "px_per_mm": 11.8, "u": 0.02}


def test_rounding_keeps_what_has_to_add_up() -> None:
    bait = photo_json(record())["baits"][0]
    assert bait["outline_px"][1] == [10.13, 0.0]
    assert bait["outline_mm"][1] == [10.126, 0.0]
    assert bait["back_colour"]["lab"] == [38.12, -2.0, -8.0]
    length = bait["length_mm"]
    assert math.isclose(math.hypot(*(part["u"] for part in length["parts"])), length["u"], rel_tol=1e-6)
    whole = bait["candidates"][0]["probability"] + bait["none_of_these"] + bait["not_comparable"]
    assert math.isclose(whole, 1, abs_tol=1e-12)
    assert bait["candidates"][0]["evidence"][0]["weight"] == 1.2345678901234567
    assert math.copysign(1, bait["axis_deg"]) == 1  # no minus zero


def test_names_keep_their_letters_and_names_that_are_no_text_survive() -> None:
    line = dumps(photo_json(record()))
    assert "Kjærvik & Søn" in line and "魚" in line and "\n" not in line
    odd = dumps({"photo": b"caf\xe9.jpg".decode("utf-8", "surrogateescape")}).encode("utf-8", "backslashreplace")
    assert json.loads(odd)["photo"].encode("utf-8", "surrogateescape") == b"caf\xe9.jpg"


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_numbers_that_are_none_are_refused(value: float) -> None:
    with pytest.raises(ValueError, match="value is"):
        to_json(replace(measurement(), depth_to_length=Quantity(value, 0.1)))


def test_values_that_no_record_has_are_refused() -> None:
    with pytest.raises(TypeError, match="path"):
        to_json({"path": object()})


def test_lists_have_rows() -> None:
    assert document("sets", (Failure("a", "b"),)) == {
        "schema": "baitprint/sets/1",
        "rows": [{"code": "a", "text": "b"}],
    }
