"""Learned values into a model file that people edit too: what they wrote stays, and so do their comments and order.

A value is the program's own if it is still what the program wrote last; any other is a person's, and one that they took
out stays out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.items import AoT

from identify.reference import write
from identify.reference.learn import Path

SECTIONS = ("size", "variant", "colourway")
JOIN = " / "
"""Joins a path for `.pieces.jsonl`; names have no such thing in them."""


@dataclass(frozen=True)
class KeptByHand:
    """A value that a person wrote, and what the pieces say instead."""

    path: Path
    by_hand: Any
    learned: Any


@dataclass(frozen=True)
class Merged:
    """The new text (None: nothing is left of the file), what was written by the program, what stayed a person's, and
    what changed."""

    text: str | None
    values: dict[str, Any]
    kept: tuple[KeptByHand, ...]
    changed: tuple[Path, ...]


def spelled(path: Path) -> str:
    return JOIN.join(path)


def merge(text: str | None, wanted: Mapping[Path, Any], written: Mapping[str, Any]) -> Merged:
    """Bring a model file's text (None: there is none yet) to the wanted values; `written` are those of last time.

    With nothing wanted all that the program wrote is taken out again.
    """
    if text is None:
        every = {spelled(path): value for path, value in wanted.items()}
        return Merged(write.model_toml(nested(wanted)) if wanted else None, every, (), tuple(wanted))
    document = tomlkit.parse(text.replace("\r\n", "\n"))
    plain = document.unwrap()
    kept: list[KeptByHand] = []
    changed: list[Path] = []
    values: dict[str, Any] = {}
    fresh: dict[Path, Any] = {}
    paths = list(dict.fromkeys([*wanted, *(tuple(name.split(JOIN)) for name in written)]))
    for path in paths:
        name = spelled(path)
        here, there = value_at(plain, path), wanted.get(path)
        ours = name in written and written[name] == here
        if here is None:
            deleted = name in written and entry_at(plain, path) is not None
            if there is not None and not deleted:
                fresh[path] = values[name] = there
                changed.append(path)
            elif deleted:
                values[name] = written[name]
        elif there is None:
            if ours and path[-1] != "code":
                _delete(document, path)
                changed.append(path)
        elif ours or here == there:
            values[name] = there if ours else written.get(name, _NOT_OURS)
            if here != there:
                _set(document, path, there)
                changed.append(path)
        else:
            kept.append(KeptByHand(path, here, there))
            if name in written:
                values[name] = written[name]
    _insert(document, fresh)
    _fit_places(document, wanted, written, values)
    _drop_empty(document, wanted, written)
    values = {name: value for name, value in values.items() if value is not _NOT_OURS}
    fresh_text = _text(document)
    if fresh_text is not None and "\r\n" in text:
        fresh_text = fresh_text.replace("\n", "\r\n")
    return Merged(fresh_text, values, tuple(kept), tuple(changed))


_NOT_OURS: Any = object()


def nested(wanted: Mapping[Path, Any]) -> dict[str, Any]:
    """Values by path as the tables that `write.model_toml` takes."""
    out: dict[str, Any] = {}
    entries: dict[tuple[str, str], dict[str, Any]] = {}
    for path, value in wanted.items():
        if path[0] not in SECTIONS:
            target, keys = out, path
        else:
            if path[:2] not in entries:
                entries[path[0], path[1]] = {}
                out.setdefault(path[0], []).append(entries[path[0], path[1]])
            target, keys = entries[path[0], path[1]], path[2:]
        for key in keys[:-1]:
            target = target.setdefault(key, {})
        target[keys[-1]] = value
    return out


def _code(entry: Mapping[str, Any], index: int) -> str:
    return str(entry.get("code", index + 1))


def _entry(tables: Any, path: Path) -> Any:
    for i, entry in enumerate(tables.get(path[0], ())):
        if _code(entry, i) == path[1]:
            return entry
    return None


def entry_at(plain: Mapping[str, Any], path: Path) -> Any:
    """The table that a path's value stands in, None if it is not there."""
    return _entry(plain, path) if path[0] in SECTIONS else plain


def value_at(plain: Mapping[str, Any], path: Path) -> Any:
    """The value at a path of a file's plain values, None if there is none."""
    found: Any = entry_at(plain, path)
    for key in path[2:] if path[0] in SECTIONS else path:
        if not isinstance(found, Mapping):
            return None
        found = found.get(key)
    if path[0] in SECTIONS and path[2:] == ("code",) and found is None and entry_at(plain, path) is not None:
        return path[1]
    return found


def _item(value: Any) -> Any:
    return tomlkit.value(write.toml_value(value))


def _holder(document: TOMLDocument, path: Path) -> tuple[Any, tuple[str, ...]]:
    """The innermost table of the document on the way to a path, and the keys that are left."""
    table: Any = entry_at(document, path)
    keys = path[2:] if path[0] in SECTIONS else path
    while len(keys) > 1 and keys[0] in table:
        table, keys = table[keys[0]], keys[1:]
    return table, keys


def _set(document: TOMLDocument, path: Path, value: Any) -> None:
    table, keys = _holder(document, path)
    for key in reversed(keys[1:]):
        value = {key: value}
    old = table.get(keys[0])
    new = _item(value)
    if old is not None and hasattr(old, "trivia"):
        new.trivia.comment_ws, new.trivia.comment = old.trivia.comment_ws, old.trivia.comment
    table[keys[0]] = new


def _delete(document: TOMLDocument, path: Path) -> None:
    table, keys = _holder(document, path)
    if len(keys) == 1 and keys[0] in table:
        del table[keys[0]]
    if len(path) > (3 if path[0] in SECTIONS else 1):
        outer, rest = _holder(document, path[:-1])
        if len(rest) == 1 and rest[0] in outer and not outer[rest[0]]:
            del outer[rest[0]]


def _insert(document: TOMLDocument, fresh: Mapping[Path, Any]) -> None:
    """Values that are not in the file yet; entries that are not, whole."""
    whole: dict[Path, dict[Path, Any]] = {}
    loose: dict[Path, dict[Path, Any]] = {}
    for path, value in fresh.items():
        if path[0] in SECTIONS and entry_at(document, path) is None:
            whole.setdefault(path[:2], {})[path] = value
        else:
            loose.setdefault(path[: 3 if path[0] in SECTIONS else 1], {})[path] = value
    for path, values in loose.items():
        if value_at(document, path) is None:
            tree = nested(values)
            _set(document, path, tree[path[0]][0][path[2]] if path[0] in SECTIONS else tree[path[0]])
        else:
            for one, value in values.items():
                _set(document, one, value)
    for (section, _), values in whole.items():
        _append(document, section, nested(values)[section][0])


def _append(document: TOMLDocument, section: str, values: Mapping[str, Any]) -> None:
    """A new entry: sizes in order of length, but never before the first, which places and outline are drawn for."""
    if section in document and not isinstance(document[section], AoT):
        document[section].append(_item(values))
        return
    table = tomlkit.table()
    for key, value in values.items():
        table[key] = _item(value)
    if section not in document:
        array = tomlkit.aot()
        array.append(table)
        if not document.as_string().endswith("\n\n"):
            document.add(tomlkit.nl())
        document.append(section, array)
        return
    entries = document[section]
    assert isinstance(entries, AoT)
    place = len(entries)
    if section == "size":
        place = next((i for i, e in enumerate(entries) if i and e["length_mm"] > values["length_mm"]), place)
    before = entries[place - 1]
    if not before.as_string().endswith("\n\n"):
        before.add(tomlkit.nl())
    if place < len(entries) or list(document)[-1] != section:
        table.add(tomlkit.nl())
    entries.insert(place, table)


def _fit_places(
    document: TOMLDocument, wanted: Mapping[Path, Any], written: Mapping[str, Any], values: dict[str, Any]
) -> None:
    """Places of the program's own go where a person's count says otherwise."""
    for path in wanted:
        if path[-1] != "at_mm" or path[-2] not in ("line_ties", "hangers"):
            continue
        rings = value_at(document, path[:-1])
        if rings is None or "count" not in rings or "at_mm" not in rings or int(rings["count"]) == len(rings["at_mm"]):
            continue
        if values.get(spelled(path)) == wanted[path]:
            _delete(document, path)
            del values[spelled(path)]


def _drop_empty(document: TOMLDocument, wanted: Mapping[Path, Any], written: Mapping[str, Any]) -> None:
    """Entries that the program made, that are wanted no more, and that hold nothing of a person's."""
    for section in SECTIONS:
        entries = document.get(section)
        if entries is None:
            continue
        for i in reversed(range(len(entries))):
            path = (section, _code(entries[i], i), "code")
            if spelled(path) in written and path not in wanted and set(entries[i]) <= {"code"}:
                del entries[i]
        if not len(entries):
            del document[section]


def _text(document: TOMLDocument) -> str | None:
    """The file's text; None when it is no model any more."""
    left = set(document) - {"schema"}
    return tomlkit.dumps(document) if left else None
