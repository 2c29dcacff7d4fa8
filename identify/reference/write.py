"""Writing the files of a reference set: the same values give the same bytes, in the order that people expect.

`set_toml`, `model_toml` and `outline_svg` give texts; `put` stores one, aside first and then renamed.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import ArrayLike

from identify.errors import CannotWrite
from identify.reference.fit import fit_closed
from identify.reference.parse import Notes, validate
from identify.reference.schema import ModelFile, SetFile
from identify.reference.slugs import slug

SMOOTHNESS_MM = 0.03
"""How far a written curve may lie from the outline given."""
MARGIN_MM = 2.0
SECTIONS = ("source", "size", "variant", "colourway", "dated")
REMARKS = {
    "made": "EDTF: 1936~ about, ../1941 before, 1936/1957 from, to",
    "known_by": "marked | paper | told | collectors | tool",
    "tolerance_mm": "of length, 1 sigma between true pieces",
    "depth_tolerance_mm": "of depth, 1 sigma between true pieces",
    "outline_tolerance_mm": "how far the drawn outline may lie off, 1 sigma",
    "back_lab": "CIELAB D50, 2°",
}


def _key(key: str) -> str:
    bare = key.isascii() and key.replace("_", "a").replace("-", "a").isalnum()
    return key if bare else _string(key)


def _string(text: str) -> str:
    """A TOML basic string; JSON's escapes are a subset of TOML's, but for the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def toml_value(value: Any) -> str:
    """A value in TOML on one line: text, numbers, lists, and inline tables of them."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(round(value, 4) + 0.0)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(v) for v in value) + "]"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {toml_value(v)}" for k, v in value.items() if v is not None) + " }"
    raise TypeError(f"no TOML for {type(value).__name__}")


def _lines(values: Mapping[str, Any], said: set[str]) -> list[str]:
    """`key = value` lines; the first of each key in REMARKS in a file gets its remark."""
    out = []
    for key, value in values.items():
        if value is None:
            continue
        line = f"{_key(key)} = {toml_value(value)}"
        if key in REMARKS and key not in said:
            said.add(key)
            line += f"  # {REMARKS[key]}"
        out.append(line)
    return out


def _document(values: Mapping[str, Any]) -> str:
    said: set[str] = set()
    sections = [k for k in SECTIONS if not isinstance(values.get(k, ""), str)]  # a model's `source` is a plain text
    top = {k: v for k, v in values.items() if k not in sections and k != "prior"}
    blocks = [_lines(top, said)]
    for section in sections:
        blocks += [[f"[[{section}]]", *_lines(entry, said)] for entry in values.get(section, ())]
    if values.get("prior"):
        blocks.append(["[prior]", *_lines(values["prior"], said)])
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def set_toml(values: Mapping[str, Any]) -> str:
    """`set.toml` from plain values keyed as in the file; `schema` is added.  Raises ValueError if they do not fit."""
    full = _given({"schema": 1, **values})
    _must_fit(SetFile, full)
    return _document(full)


def model_toml(values: Mapping[str, Any]) -> str:
    """A model file from plain values keyed as in the file; `schema` is added.  Raises ValueError if they do not fit."""
    _must_fit(ModelFile, _given({"schema": 1, **values}))
    return model_text(values)


def model_text(values: Mapping[str, Any]) -> str:
    """What `model_toml` gives, of values that need not fit."""
    return _document(_given({"schema": 1, **values}))


def _given(value: Any) -> Any:
    """The same values without the keys that are None, tuples as lists: as TOML would give them."""
    if value is None or isinstance(value, str | int | float):
        return value
    if isinstance(value, Mapping):
        return {k: _given(v) for k, v in value.items() if v is not None}
    return [_given(v) for v in value] if isinstance(value, Sequence) else value


def _must_fit(kind: type[ModelFile] | type[SetFile], values: dict[str, Any]) -> None:
    notes = Notes("")
    validate(kind, values, notes)
    if notes.found:
        raise ValueError("; ".join(f"{f.key}: {f.text}" for f in notes.found))


def _number(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def outline_svg(outline_mm: ArrayLike, title: str, curved: bool = True) -> str:
    """The SVG of a closed body outline (n, 2), in millimetres with y up (to the back): nose left, back up, in a few
    cubic curves that keep within SMOOTHNESS_MM, or in straight lines from point to point."""
    points = np.asarray(outline_mm, float) * (1, -1)
    low = points.min(0) - MARGIN_MM
    width, height = points.max(0) + MARGIN_MM - low
    points = points - low

    def spot(p: Sequence[float]) -> str:
        return f"{_number(p[0])},{_number(p[1])}"

    if curved:
        lines = ["C" + " ".join(spot(p) for p in c[1:]) for c in fit_closed(points, SMOOTHNESS_MM).tolist()]
    else:
        lines = [f"L{spot(p)}" for p in points[1:].tolist()]
    path = [f"M{spot(points[0])}", *lines, "Z"]
    w, h = _number(width), _number(height)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}">\n'
        f"  <title>{escape(title)}</title>\n"
        f'  <path id="outline" fill="none" stroke="#000" stroke-width="0.2" d="{chr(10).join(path)}"/>\n'
        "</svg>\n"
    )


def model_path(maker: str, model: str) -> str:
    """Where a model's file lies in its set: `<maker-slug>/<model-slug>.toml`."""
    return f"{slug(maker)}/{slug(model)}.toml"


def put(path: Path, text: str) -> None:
    """Write a text file in UTF-8 with `\\n` line ends, aside first and then renamed.  Raises CannotWrite."""
    aside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with aside.open("w", encoding="utf-8", newline="\n") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            aside.replace(path)
        finally:
            aside.unlink(missing_ok=True)
    except OSError as why:
        raise CannotWrite(
            f"{path} cannot be written: {why.strerror or why}.", "Choose another folder, or free some space."
        ) from why
