"""Measured photos read back from JSON lines, each bait beside its truth."""

from __future__ import annotations

import dataclasses
import json
import types
import typing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from identify import records
from identify.records import Measurement
from tests.benchmarks.truth import photos, world


@dataclass(frozen=True, eq=False)
class Known:
    """One measured bait with its truth as in truth.json; `maker` and `model` are None for unknown models."""

    measurement: Measurement
    photo: dict[str, Any]
    bait: dict[str, Any]
    maker: str | None
    model: str | None

    @property
    def size(self) -> str:
        return str(self.bait["size_index"] + 1)


def decode(kind: Any, value: Any) -> Any:
    """A value of JSON as the type of a record's field; keys that the record does not have are left out."""
    if value is None:
        return None
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return decode(next(a for a in arguments if a is not type(None)), value)
    if origin is tuple:
        inner = arguments[:1] * len(value) if arguments[-1] is Ellipsis else arguments
        return tuple(decode(k, v) for k, v in zip(inner, value, strict=True))
    if dataclasses.is_dataclass(kind):
        hints = typing.get_type_hints(kind, vars(records))
        found = {}
        for field in dataclasses.fields(kind):
            raw = value.get(field.metadata.get("key", field.name))
            labels = field.metadata.get("labels")
            found[field.name] = (
                tuple(raw[k] for k in labels) if labels and raw is not None else decode(hints[field.name], raw)
            )
        return kind(**{k: (() if v is None and _is_tuple(hints[k]) else v) for k, v in found.items()})
    return value


def _is_tuple(hint: Any) -> bool:
    return typing.get_origin(hint) is tuple


def load(file: Path, photo_set: Path) -> list[Known]:
    """The baits of a file of JSON lines that lie where the photo set's truth has one."""
    truths = {p.truth["file"]: p.truth for p in photos(photo_set)}
    about = world(photo_set)
    found = []
    for line in file.read_text("utf-8").splitlines():
        record = json.loads(line)
        name = next((k for k in truths if record["photo"].endswith(k)), None)
        if name is None:
            continue
        for raw in record["baits"]:
            m: Measurement = decode(Measurement, raw)
            centre = np.mean(m.outline_px, axis=0)
            for bait in truths[name]["baits"]:
                body = np.array(bait["body_polygon_px"])
                if np.hypot(*(body.mean(0) - centre)) < 0.25 * np.ptp(body, axis=0).max():
                    maker = about["maker_names"][bait["maker"]] if bait["known"] else None
                    model = about["model_names"][bait["model"]] if bait["known"] else None
                    found.append(Known(m, truths[name], bait, maker, model))
                    break
    return found
