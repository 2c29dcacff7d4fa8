"""Records as JSON: one walk over frozen dataclasses serves every kind of record.

Keys are the fields' names in their order.  A field's metadata may say {"key": …} to be called otherwise, or
{"labels": …} to turn a tuple into a mapping.  `None` becomes null; a number that is not finite is a fault of ours and
is refused rather than written.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any

from identify.records import Bait, Identification, PhotoRecord, PieceRecord

if TYPE_CHECKING:
    from identify.advice import Advice

PHOTO_SCHEMA, PIECE_SCHEMA, ADVICE_SCHEMA = "baitprint/photo/1", "baitprint/piece/1", "baitprint/advice/1"
DIGITS = 9
"""Significant figures of plain numbers: parts of an uncertainty still add up to it, far below what they mean."""
EXACT = frozenset({"probability", "probabilities", "weight", "none_of_these", "not_comparable", "colourway_new"})
"""Written in full: they sum to 1, and weights to probabilities."""
DECIMALS = {"lab": 2, "lab_seen": 2, "u_lch": 2, "pattern_lab": 2, "back_lab": 2, "belly_lab": 2}
PX_DECIMALS, MM_DECIMALS = 2, 3
"""Of points: a hundredth of a pixel, a thousandth of a millimetre."""

Json = dict[str, Any]


def photo_json(record: PhotoRecord, ranked: bool = True) -> Json:
    """The contract's object for one photo.

    `ranked` False is the line of `measure`, which leaves out `refs` and everything from `candidates` on; with `ranked`
    True these keys are always there, null where no reference set was asked.
    """
    out: Json = {"schema": PHOTO_SCHEMA}
    for field in fields(record):
        if field.name == "baits":
            out["baits"] = [_bait(bait, ranked) for bait in record.baits]
        elif field.name == "refs":
            if ranked:
                out["refs"] = to_json(record.refs or (), "refs")
        else:
            out[_key(field)] = to_json(getattr(record, field.name), field.name)
    return out


def piece_json(record: PieceRecord) -> Json:
    """The contract's object for several photos of one piece: its bait has no places in pixels."""
    out: Json = {"schema": PIECE_SCHEMA}
    for field in fields(record):
        if field.name == "bait":
            out["bait"] = None if record.bait is None else _without_px(_bait(record.bait, True))
        elif field.name == "refs":
            out["refs"] = to_json(record.refs or (), "refs")
        else:
            out[_key(field)] = to_json(getattr(record, field.name), field.name)
    return out


def _without_px(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_px(v) for key, v in value.items() if not key.endswith("_px")}
    return [_without_px(v) for v in value] if isinstance(value, list) else value


def advice_json(advice: Advice) -> Json:
    """The contract's object for the advice on one photo."""
    return {"schema": ADVICE_SCHEMA, **to_json(advice)}


def document(name: str, rows: object) -> Json:
    """Rows of a list as the contract's `baitprint/NAME/1`."""
    return {"schema": f"baitprint/{name}/1", "rows": to_json(rows, "rows")}


def dumps(value: Json) -> str:
    """One line of JSON, names in their own letters."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def to_json(value: Any, key: str = "") -> Any:
    """A value made of frozen dataclasses, tuples, mappings and scalars as plain JSON values.  `key` is the name that it
    stands under, which says how far numbers are rounded.  Raises ValueError for numbers that are not finite."""
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return _number(value, key)
    if is_dataclass(value) and not isinstance(value, type):
        return {_key(f): _field(f, getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(k): to_json(v, str(k)) for k, v in value.items()}
    if isinstance(value, tuple | list):
        return [to_json(v, key) for v in value]
    raise TypeError(f"{key}: {type(value).__name__} is no value of a record")


def _bait(bait: Bait, ranked: bool) -> Json:
    out: Json = to_json(bait.measurement)
    names = [_key(f) for f in fields(Identification)]
    answer: Json = to_json(bait.identification) if bait.identification else dict.fromkeys(names)
    # found by ranking, but a reading of the bait: its key stands before the warnings, and in the line of measure too
    warnings = out.pop("warnings")
    out |= {"ageing": answer.pop("ageing"), "warnings": warnings}
    if ranked:
        out |= answer
    if bait.told is not None:
        out["told"] = [{"key": t.key, "value": to_json(t.value), "u": to_json(t.u)} for t in bait.told]
        out["clashes"] = to_json(bait.clashes or ())
    return out


def _key(field: Any) -> str:
    return str(field.metadata.get("key", field.name))


def _field(field: Any, value: Any) -> Any:
    labels = field.metadata.get("labels")
    if labels is not None and value is not None:
        value = dict(zip(labels, value, strict=True))
        return {label: to_json(v, field.name) for label, v in value.items()}
    return to_json(value, field.name)


def _number(value: float, key: str) -> float:
    if not math.isfinite(value):
        raise ValueError(f"{key} is {value}, which is no measurement")
    if key in EXACT:
        return value
    if key in DECIMALS:
        rounded = round(value, DECIMALS[key])
    elif key.endswith("_px"):
        rounded = round(value, PX_DECIMALS)
    elif key.endswith("_mm") and key not in ("length_mm", "depth_mm", "diameter_mm", "camera_distance_mm"):
        rounded = round(value, MM_DECIMALS)
    else:
        rounded = float(f"{value:.{DIGITS}g}")
    return rounded + 0.0
