"""From the bytes of a TOML file to its pydantic model, every fault with line, key and what to do."""

from __future__ import annotations

import codecs
import difflib
import re
import types
import typing
from typing import Any, TypeVar

import tomli
from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from identify.reference.faults import CODES, Fault
from identify.reference.tomllines import Path, line_of, spelled

M = TypeVar("M", bound=BaseModel)
AT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")

IN_PLAIN_WORDS = {
    "Illegal character '\\n'": "a text in quotes is not closed on its line",
    "Expected newline or end of document": "something stands after the value (a comma instead of a decimal point?)",
    "Invalid value": "a value is neither text in quotes nor a number, true, false, a list or a table",
    "Cannot overwrite a value": "a key stands twice",
    "Expected '=' after a key": "a key has no = after it",
    "Expected ']'": "a section's name is not closed with ]",
    "Unclosed array": "a list is not closed with ]",
    "Unclosed inline table": "a table is not closed with }",
    "Cannot mutate immutable namespace": "a section and a key have the same name",
    "Cannot declare": "a section stands twice: sections that may repeat are written [[name]]",
}
"""What tomli says, for people who do not program."""

WRONG_TYPE = {
    "string_type": 'must be text in quotes: "…"',
    "int_type": "must be a whole number without quotes",
    "float_type": "must be a number without quotes",
    "tuple_type": "must be a list: [ … ]",
    "dict_type": "must be a table",
    "model_type": "must be a table: { … }, or its own [[section]]",
    "model_attributes_type": "must be a table: { … }, or its own [[section]]",
}


class Notes:
    """Gathers the faults of one file; finds the line of each from the file's text."""

    def __init__(self, file: str, text: str = "") -> None:
        self.file, self.text = file, text
        self.found: list[Fault] = []

    def add(self, code: str, path: Path, text: str, fix: str, line: int | None = None) -> None:
        """Note a fault at a key (a path of keys and indices from 0), or in a line."""
        at = line if line is not None or not path else line_of(self.text, path)
        self.found.append(Fault(self.file, at, spelled(path) if path else None, code, text, fix))


def decode(data: bytes, notes: Notes) -> str | None:
    """A file's text, None if it is not UTF-8; line ends as they are.  A byte order mark is left out."""
    bare = data.removeprefix(codecs.BOM_UTF8)
    try:
        return bare.decode("utf-8").replace("\r\n", "\n")
    except UnicodeDecodeError as why:
        line = bare[: why.start].count(b"\n") + 1
        wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
        text = "the file is in UTF-16" if wide else f"the file is not UTF-8 (byte 0x{bare[why.start]:02x})"
        notes.add("not-utf8", (), text, "Save it with the encoding UTF-8.", line)
        return None


def parse_toml(text: str, notes: Notes) -> dict[str, Any] | None:
    """The file's values, None (with a fault) if it is not TOML."""
    try:
        return tomli.loads(text)
    except tomli.TOMLDecodeError as why:
        message = str(why)
        at = AT.search(message)
        line = int(at.group(1)) if at and at.group(1) else text.count("\n") + 1
        what = AT.sub("", message)
        what = next((plain for start, plain in IN_PLAIN_WORDS.items() if what.startswith(start)), what)
        fix = "Mend that line: key = value, text in quotes, lists in [ ], one key a line, no key twice."
        notes.add("toml-syntax", (), f"the file is not valid TOML: {what[:1].lower()}{what[1:]}", fix, line)
    except RecursionError:
        notes.add("toml-syntax", (), "the file nests lists or tables too deeply", "Remove the nesting.")
    return None


def validate(kind: type[M], values: dict[str, Any], notes: Notes) -> M | None:
    """The file as its model, None (with its faults) if keys or values do not fit."""
    try:
        return kind.model_validate(values)
    except ValidationError as why:
        for error in why.errors(include_url=False, include_input=False):
            _note(kind, error, notes)
    return None


def _note(kind: type[BaseModel], error: ErrorDetails, notes: Notes) -> None:
    path: Path = tuple(key for key in error["loc"] if key != "[key]")
    name, context = error["type"], error.get("ctx", {})
    last = str(path[-1]) if path else "the file"
    if name == "missing" and isinstance(path[-1], int):
        notes.add(
            "bad-value", path[:-1], f"{_label(path)} has too few numbers", "Points are [x, y], colours [L, a, b]."
        )
    elif name == "missing":
        notes.add("missing-key", path, f"{last} is missing", _missing(path))
    elif name == "extra_forbidden":
        known = _keys_at(kind, path[:-1])
        near = difflib.get_close_matches(last.casefold(), known, 1, 0.6)
        fix = f"Did you mean {near[0]}?" if near else f"Known here: {', '.join(known)}."
        notes.add("unknown-key", path, f"there is no key {last} here", fix)
    elif name in CODES:
        notes.add(name, path, error["msg"], str(context["fix"]))
    elif name in WRONG_TYPE:
        notes.add("wrong-type", path, f"{_label(path)} {WRONG_TYPE[name]}", "Change the value.")
    elif name == "literal_error":
        notes.add("bad-value", path, f"{_label(path)} has a value that is not known", f"Use {context['expected']}.")
    else:
        message = error["msg"].replace("Input should", "it should").replace("Tuple", "the list")
        message = f"{message[:1].lower()}{message[1:]}"
        notes.add("bad-value", path, f"{_label(path)} has a value that cannot be: {message}", "Change the value.")


def _label(path: Path) -> str:
    """The key that a fault is about, for a sentence."""
    return next((str(key) for key in reversed(path) if isinstance(key, str)), "the value")


def _missing(path: Path) -> str:
    if path == ("size",):
        return "Add one [[size]] with length_mm."
    if len(path) >= 2 and isinstance(path[0], str) and isinstance(path[1], int):
        return f"Add {path[-1]} = … below that [[{path[0]}]]."
    return f"Add {path[-1] if path else 'it'} = … at the top of the file."


def _keys_at(kind: type[BaseModel], path: Path) -> list[str]:
    """The keys that the model allows at a path."""
    for key in path:
        if isinstance(key, str):
            field = next(f for n, f in kind.model_fields.items() if (f.alias or n) == key)
            kind = _model_in(field.annotation)
    return [field.alias or name for name, field in kind.model_fields.items()]


def _model_in(annotation: Any) -> type[BaseModel]:
    """The model inside `X | None`, `tuple[X, ...]` or `Annotated[X, …]`."""
    if (
        isinstance(annotation, type)
        and not isinstance(annotation, types.GenericAlias)
        and issubclass(annotation, BaseModel)
    ):
        return annotation
    for inner in typing.get_args(annotation):
        if inner not in (type(None), Ellipsis):
            return _model_in(inner)
    raise TypeError(f"no model in {annotation!r}")
