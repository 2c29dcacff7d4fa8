"""What a person tells of a bait on the command line or in a table, checked as the set's files are."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from pydantic import TypeAdapter, ValidationError

from identify.errors import BadOption
from identify.reference.checks import LONGEST_MM, SHORTEST_MM
from identify.reference.pieces import Facts
from identify.reference.schema import KnownBy, Made, Name

_NAME: TypeAdapter[str] = TypeAdapter(Name)
_MADE: TypeAdapter[str] = TypeAdapter(Made)
MOST_TIES = 9


def name_of(what: str, text: str) -> str:
    """A maker, model, size, … that can stand in a set.  Raises BadOption."""
    return _checked(_NAME, what, text.strip())


def _checked(kind: TypeAdapter[str], what: str, text: str) -> str:
    try:
        return kind.validate_python(text)
    except ValidationError as why:
        error = why.errors(include_url=False)[0]
        raise BadOption(f"{what}: {error['msg']}.", str(error.get("ctx", {}).get("fix", ""))) from None


def facts_of(told: Mapping[str, Any]) -> Facts:
    """Facts from texts (or numbers) by the names of a table's columns; None and empty ones are left out.  Raises
    BadOption."""
    out: dict[str, Any] = {}
    for key, value in told.items():
        if value is None or value == "":
            continue
        if key in ("size", "variant", "colourway", "name"):
            out[key] = name_of(key, str(value))
        elif key == "made":
            out[key] = _checked(_MADE, key, str(value))
        elif key == "ties":
            out[key] = _whole(value)
        elif key == "known_by":
            if value not in get_args(KnownBy):
                raise BadOption(f"known_by: '{value}' is not known.", f"Use {', '.join(get_args(KnownBy))}.")
            out[key] = value
        elif key in ("length_mm", "depth_mm"):
            out[key] = _millimetres(key, value)
    if "name" in out and "colourway" not in out:
        raise BadOption("A colourway's name is told, but not its code.", "Give the colourway too.")
    if "depth_mm" in out and "length_mm" not in out:
        raise BadOption("A depth is told, but no length.", "Give length_mm too.")
    if out.get("depth_mm", 0) > out.get("length_mm", 0):
        raise BadOption("The depth is greater than the length.", "Check both.")
    return Facts(**out)


def _whole(value: Any) -> int:
    try:
        number = int(str(value).strip())
    except ValueError:
        number = -1
    if not 0 <= number <= MOST_TIES:
        raise BadOption(f"ties: '{value}' cannot be a number of line ties.", "Give a whole number from 0.")
    return number


def _millimetres(key: str, value: Any) -> float:
    try:
        number = float(str(value).strip().removesuffix("mm").strip().replace(",", "."))
    except ValueError:
        number = 0.0
    least = SHORTEST_MM if key == "length_mm" else 1.0
    if not least <= number <= LONGEST_MM:
        raise BadOption(f"{key}: '{value}' cannot be a bait's.", "Give millimetres, such as 63.5.")
    return number
