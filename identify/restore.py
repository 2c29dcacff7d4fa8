"""Records from their JSON: the inverse of `serialise`, by one walk over the fields' types.

Numbers come back as they were written, which is rounded; what is restored and written again is the same.
"""

from __future__ import annotations

from dataclasses import MISSING, Field, fields, is_dataclass
from functools import lru_cache
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from identify.records import Bait, Measurement, PhotoRecord
from identify.settings import Point

T = TypeVar("T")
Json = dict[str, Any]


def restored(kind: type[T], value: Any) -> T:
    """A frozen dataclass, tuple or scalar of this type.  Raises ValueError for JSON that does not fit."""
    try:
        found: T = _value(kind, value)
    except (KeyError, TypeError, ValueError) as why:
        raise ValueError(f"this is no {getattr(kind, '__name__', kind)}: {why}") from why
    return found


def photo_restored(line: Json) -> PhotoRecord:
    """The record of one line of `measure` or `identify`, as measured: what was ranked is left out.

    Raises ValueError for a line that is none.
    """
    try:
        baits = tuple(Bait(restored(Measurement, bait)) for bait in line["baits"])
    except (KeyError, TypeError) as why:
        raise ValueError(f"this is no line of a photo: {why}") from why
    return restored(PhotoRecord, {**line, "refs": None, "baits": baits})


@lru_cache(maxsize=256)
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _value(kind: Any, value: Any) -> Any:
    origin = get_origin(kind)
    if origin in (Union, UnionType):
        if value is None and NoneType in get_args(kind):
            return None
        kinds = [k for k in get_args(kind) if k is not NoneType]
        own = [k for k in kinds if k is type(value)]
        return _value((own or kinds)[0], value)
    if origin is Literal:
        if value not in get_args(kind):
            raise ValueError(f"{value!r} is none of {get_args(kind)}")
        return value
    if origin is tuple or kind is tuple:
        return _tuple(get_args(kind), value)
    if isinstance(kind, type) and is_dataclass(kind):
        return value if isinstance(value, kind) else _record(kind, value)
    if kind is float and isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if isinstance(kind, type) and isinstance(value, kind) and not (kind is int and isinstance(value, bool)):
        return value
    raise ValueError(f"{value!r} is no {kind}")


def _tuple(kinds: tuple[Any, ...], value: Any) -> tuple[Any, ...]:
    if not isinstance(value, list | tuple):
        raise ValueError(f"{value!r} is no list")
    if kinds == (Point, ...):  # outlines are most of a line
        return tuple([(float(x), float(y)) for x, y in value])
    if len(kinds) == 2 and kinds[1] is ...:
        return tuple([_value(kinds[0], v) for v in value])
    return tuple([_value(k, v) for k, v in zip(kinds, value, strict=True)])


def _record(kind: Any, value: Json) -> Any:
    hints = _hints(kind)
    return kind(**{f.name: _field(f, hints[f.name], value) for f in fields(kind) if f.init and _has(f, value)})


def _has(field: Field[Any], value: Json) -> bool:
    """Whether the JSON has a field; one with a default may be missing, as in lines of older versions."""
    return field.metadata.get("key", field.name) in value or (
        field.default is MISSING and field.default_factory is MISSING
    )


def _field(field: Field[Any], kind: Any, value: Json) -> Any:
    found = value[field.metadata.get("key", field.name)]
    labels = field.metadata.get("labels")
    if labels is not None and found is not None:
        found = [found[label] for label in labels]
    return _value(kind, found)
