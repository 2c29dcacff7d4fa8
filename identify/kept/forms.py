"""Forms and colourways of a kept set, built one by one when they are asked for."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from functools import cached_property
from typing import Any, Generic, TypeVar, overload

import numpy as np

from identify.geometry import Array
from identify.records import Polygon
from identify.reference.profile import Colourway, EyeProfile, Form, RingPlaces, ZoneColour

T = TypeVar("T")
SCALARS = (
    *("set", "maker", "model", "size", "variant", "made", "known_by", "length_mm", "tolerance_mm", "depth_mm"),
    *(
        "depth_tolerance_mm",
        "outline_tolerance_mm",
        "thickness_mm",
        "weight_g",
        "hooks",
        "lip",
        "tie_kind",
        "hanger_kind",
        "material",
        "parts",
    ),
)
"""What a form has of plain values: they are there at once."""


class OnDemand(Sequence[T], Generic[T]):
    """n values, each built when it is first asked for, and kept."""

    def __init__(self, n: int, build: Callable[[int], T]) -> None:
        self._built: list[T | None] = [None] * n
        self._build = build

    def __len__(self) -> int:
        return len(self._built)

    @overload
    def __getitem__(self, index: int) -> T: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[T, ...]: ...
    def __getitem__(self, index: int | slice) -> T | tuple[T, ...]:
        if isinstance(index, slice):
            return tuple(self[i] for i in range(*index.indices(len(self))))
        found = self._built[index]
        if found is None:
            found = self._built[index] = self._build(index % len(self))
        return found

    def __iter__(self) -> Iterator[T]:
        return (self[i] for i in range(len(self)))


class KeptForm(Form):
    """A form whose places, outline and colourways are made ready when they are first looked at."""

    _parts: tuple[Any, ...]

    @cached_property
    def line_ties(self) -> RingPlaces | None:
        return _rings(self._parts[0])

    @cached_property
    def hangers(self) -> RingPlaces | None:
        return _rings(self._parts[1])

    @cached_property
    def eye(self) -> EyeProfile | None:
        told = self._parts[2]
        return None if told is None else EyeProfile(None if told[0] is None else (told[0][0], told[0][1]), *told[1:])

    @cached_property
    def outline_mm(self) -> Polygon | None:
        points: Array | None = self._parts[3]()
        return None if points is None else tuple((x, y) for x, y in points.tolist())

    @cached_property
    def colourways(self) -> tuple[Colourway, ...]:
        return tuple(self._parts[4]())


def _rings(told: Any) -> RingPlaces | None:
    if told is None:
        return None
    count, at, *rest = told
    return RingPlaces(count, None if at is None else tuple((x, y) for x, y in at), *rest)


def columns(forms: Sequence[Form]) -> dict[str, list[Any]]:
    """All forms as JSON columns, but their outlines and colourways."""
    found: dict[str, list[Any]] = {name: [getattr(form, name) for form in forms] for name in SCALARS}
    for name in ("line_ties", "hangers"):
        rings = [getattr(form, name) for form in forms]
        found[name] = [None if r is None else [r.count, r.at_mm, r.known_by, r.tolerance_mm] for r in rings]
    eyes = [form.eye for form in forms]
    found["eye"] = [None if e is None else [e.at_mm, e.diameter_mm, e.kind, e.tolerance_mm] for e in eyes]
    return found


def outlines(forms: Sequence[Form]) -> tuple[Array, Array]:
    """The points of all outlines, one after the other, (p, 2), and where each form's begin (n + 1,)."""
    counts = [0 if form.outline_mm is None else len(form.outline_mm) for form in forms]
    points = [point for form in forms for point in form.outline_mm or ()]
    return np.array(points, float).reshape(-1, 2), np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)


def kept_forms(
    told: dict[str, list[Any]], points: Array, starts: Array, colourways: Callable[[int], Sequence[Colourway]]
) -> OnDemand[Form]:
    """The inverse of `columns` and `outlines`; `colourways`: those that form i lists."""
    scalars = list(zip(*(told[name] for name in SCALARS), strict=True))
    rest = list(zip(told["line_ties"], told["hangers"], told["eye"], strict=True))

    def build(i: int) -> Form:
        form = object.__new__(KeptForm)
        first, last = int(starts[i]), int(starts[i + 1])
        shape = (lambda: np.asarray(points[first:last])) if last > first else (lambda: None)
        form.__dict__.update(zip(SCALARS, scalars[i], strict=True))
        form.__dict__["_parts"] = (*rest[i], shape, lambda: colourways(i))
        return form

    return OnDemand(len(scalars), build)


def lines(colourways: Sequence[Colourway]) -> list[bytes]:
    """Each colourway as JSON."""
    return [json.dumps(asdict(c), ensure_ascii=False).encode() for c in colourways]


def kept_colourways(text: bytes, starts: Array) -> OnDemand[Colourway]:
    """The inverse of `lines`, from all lines in one and where each begins (c + 1,)."""

    def build(i: int) -> Colourway:
        told = json.loads(text[int(starts[i]) : int(starts[i + 1])])
        for name in ("back_lab", "belly_lab", "pattern_lab", "sizes"):
            told[name] = None if told[name] is None else tuple(told[name])
        told["zones"] = tuple(ZoneColour(z["kind"], tuple(z["lab"])) for z in told["zones"])
        return Colourway(**told)

    return OnDemand(len(starts) - 1, build)
