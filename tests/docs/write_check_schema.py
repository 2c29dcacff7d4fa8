"""Writes `identify/help/schemas/check-1.json`, with what it shares with photos taken from `photo-1.json`.

python -m tests.docs.write_check_schema
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import identify
from identify.listing.output import CHECK_SCHEMA

PLACE = Path(identify.__file__).parent / "help" / "schemas"
Json = dict[str, Any]


def _object(properties: Json) -> Json:
    return {"type": "object", "properties": properties, "required": list(properties), "additionalProperties": False}


def _list(of: Json) -> Json:
    return {"type": "array", "items": of}


def check_schema() -> Json:
    """The schema of the object that `check --json` prints."""
    photo = json.loads((PLACE / "photo-1.json").read_text("utf-8"))
    finding = {"enum": ["agrees", "disagrees", "cannot-tell"]}
    text = {"type": "string"}
    defs = dict(photo.pop("$defs"))
    defs["photo"] = {key: value for key, value in photo.items() if key not in ("$schema", "$id")}
    defs["check_point"] = _object(
        {
            "feature": text, "stated": text, "measured": text, "finding": finding,
            "weight": {"type": ["number", "null"]}, "text": text,
        }
    )  # fmt: skip
    shared = {
        "points": _list({"$ref": "#/$defs/check_point"}),
        "better": _list({"$ref": "#/$defs/candidate"}),
        "ask": _list(_object({"text": text})),
    }
    taken = _object({"photo": text, "bait": {"type": "integer", "minimum": 1}})
    probability = {"$ref": "#/$defs/probability"}
    properties = {
        "schema": {"const": CHECK_SCHEMA},
        "photos": {**_list(text), "minItems": 1},
        "version": text,
        "sold_as": text,
        "known_by": defs["candidate"]["properties"]["known_by"],
        "verdict": finding,
        "text": text,
        **shared,
        "seen_before": _list({"type": ["string", "object"]}),
        "baits": _list(
            _object({"photos": _list(taken), "probability": probability, "verdict": finding, **shared})
        ),
        "left_out": _list(_object({"photo": text, "why_not": text, "verdict": {"enum": [*finding["enum"], None]}})),
        "warnings": _list({"$ref": "#/$defs/notice"}),
        "photo_reports": _list({"$ref": "#/$defs/photo"}),
    }  # fmt: skip
    return {
        "$schema": photo["$schema"],
        "title": "Pictures of one offer against what it is sold as",
        **_object(properties),
        "$defs": defs,
    }


def text() -> str:
    return json.dumps(check_schema(), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    (PLACE / "check-1.json").write_text(text(), encoding="utf-8", newline="\n")
