"""What was learned, in words."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from identify.reference.average import Centre
from identify.reference.frame import from_nose
from identify.reference.learn import Learned, Path
from identify.reference.merge import SECTIONS


def path_name(path: Path) -> str:
    """A value's place in a model file, for people: "size 2, length_mm"."""
    return f"{path[0]} {path[1]}, {'.'.join(path[2:])}" if path[0] in SECTIONS else ".".join(path)


def value_text(value: Any) -> str:
    if isinstance(value, list):
        return f"[{', '.join(value_text(v) for v in value)}]"
    return f"{value:g}" if isinstance(value, float) else str(value)


def learned_rows(learned: Learned, size: str, colourway: str | None) -> Iterator[str]:
    """What the pieces of a size and of a colourway say, one line each."""
    found = learned.sizes[size]
    here = ("size", size)
    values = learned.values
    own = f"{_count(found.pieces, 'piece')}, {_count(found.photos, 'photo')}"
    if found.counted < found.pieces:
        own += f"; {found.pieces - found.counted} named by this program only: not counted"
    yield f"from {own}"
    if found.length is not None:
        yield f"length {_scatter(math.exp(found.length.value), found.length)}"
    depth = values.get((*here, "depth_mm"))
    if depth is not None:
        u = math.hypot(found.aspect.u, found.length.u if found.length is not None else 0.0)
        yield f"depth {_scatter(depth, replace(found.aspect, u=u))}"
    for key, what in (("line_ties", "line ties"), ("hangers", "hangers")):
        if (count := values.get((*here, key, "count"))) is not None:
            at = values.get((*here, key, "at_mm"))
            placed = f", {from_nose([x for x, _ in at], 'mm')}" if at else ""
            yield f"{what}: {count}{placed}"
    if (at := values.get((*here, "eye", "at_mm"))) is not None:
        wide = values.get((*here, "eye", "diameter_mm"))
        yield f"eye {from_nose([at[0]], 'mm')}{f', {wide:.1f} mm wide' if wide else ''}"
    if (file := values.get((*here, "outline"))) is not None:
        yield f"an outline of its own, {file}: it differs from the model's"
    if colourway is not None:
        seen = [(k, values.get(("colourway", colourway, f"{k}_lab"))) for k in ("back", "belly")]
        yield f"colourway {colourway}: {', '.join(f'{k} {value_text(v)}' for k, v in seen if v) or 'no colour read'}"


def _scatter(value_mm: float, found: Centre) -> str:
    between = f"true pieces scatter by {value_mm * found.between:.2f} mm"
    guess = " (usual scatter: one piece does not show its own)" if found.pieces == 1 else ""
    return f"{value_mm:.2f} ± {value_mm * found.u:.2f} mm; {between}{guess}"


def _count(n: int, what: str) -> str:
    return f"{n} {what}{'' if n == 1 else 's'}"
