"""Writes `identify/help/schemas/piece-1.json` from `photo-1.json`: a piece's bait is a photo's without pixels.

python -m tests.docs.write_piece_schema
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import identify
from identify.serialise import PIECE_SCHEMA

PLACE = Path(identify.__file__).parent / "help" / "schemas"


def without_px(value: Any) -> Any:
    """A schema less the properties whose keys end in _px."""
    if isinstance(value, dict):
        kept = {key: without_px(v) for key, v in value.items() if not key.endswith("_px")}
        if isinstance(required := kept.get("required"), list):
            kept["required"] = [key for key in required if not str(key).endswith("_px")]
        return kept
    return [without_px(v) for v in value] if isinstance(value, list) else value


def piece_schema() -> dict[str, Any]:
    """The schema of the line that takes several photos of one piece together."""
    photo = json.loads((PLACE / "photo-1.json").read_text("utf-8"))
    text = {"type": ["string", "null"]}
    bait = photo["$defs"]["bait"]["properties"]
    shot = {
        "photo": {"type": "string"},
        "bait": {"type": ["integer", "null"], "minimum": 1},
        "view": {"anyOf": [bait["view"], {"type": "null"}]},
        "used": {"type": "boolean"},
        "why_not": text,
    }
    properties = {
        "schema": {"const": PIECE_SCHEMA},
        "photos": {"type": "array", "items": {"type": "string"}, "minItems": 1},
        "version": photo["properties"]["version"],
        "refs": photo["properties"]["refs"],
        "shots": {
            "type": "array",
            "items": {"type": "object", "properties": shot, "required": list(shot), "additionalProperties": False},
        },
        "warnings": photo["properties"]["warnings"],
        "bait": {"anyOf": [{"$ref": "#/$defs/bait"}, {"type": "null"}]},
    }
    return {
        "$schema": photo["$schema"],
        **({"$id": photo["$id"].replace("photo", "piece")} if "$id" in photo else {}),
        "title": "Several photos of one piece taken together",
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": photo.get("additionalProperties", True),
        "$defs": without_px(photo["$defs"]),
    }


def text() -> str:
    return json.dumps(piece_schema(), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    (PLACE / "piece-1.json").write_text(text(), encoding="utf-8", newline="\n")
