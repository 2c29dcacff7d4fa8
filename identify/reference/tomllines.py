"""Where in a TOML file a key stands: `tomli` reads values, but forgets their lines."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence

Path = tuple[str | int, ...]
HEADER = re.compile(r"\[{1,2}([^\[\]]+)\]{1,2}")
KEY = re.compile(r"""\s*("(?:[^"\\]|\\.)*"|'[^']*'|[A-Za-z0-9_-]+)\s*(\.|=|$)""")
STRING = re.compile(r'"""(?:[^\\]|\\.)*?"""|\'\'\'.*?\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'', re.DOTALL)


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Each header or `key = value` with the line it begins in; strings blanked in values keep their line ends."""
    line, start, depth = 1, 1, 0
    parts: list[str] = []
    i = 0
    while i < len(text):
        c = text[i]
        if c in "\"'" and (match := STRING.match(text, i)):
            if not parts:
                start = line
            parts.append(match.group())
            line += match.group().count("\n")
            i = match.end()
            continue
        if c == "#":
            i = text.find("\n", i)
            if i < 0:
                break
            continue
        if c == "\n" and depth <= 0:
            if parts:
                yield start, "".join(parts).strip()
            parts, depth = [], 0
        elif parts or not c.isspace():
            if not parts:
                start = line
            parts.append(c)
            depth += (c in "[{") - (c in "]}")
        line += c == "\n"
        i += 1
    if parts:
        yield start, "".join(parts).strip()


def _keys(text: str) -> tuple[list[str], int]:
    """The dotted key at the start of a text, and where it ends."""
    keys: list[str] = []
    place = 0
    while match := KEY.match(text, place):
        raw = match.group(1)
        keys.append(raw[1:-1] if raw[0] in "\"'" else raw)
        place = match.end()
        if match.group(2) != ".":
            break
    return keys, place


def line_of(text: str, path: Path) -> int | None:
    """The line (from 1) in which the value at `path` is set, or the nearest thing around it that is in the file.

    `path` is as pydantic gives it: keys, and indices from 0 into arrays.
    """
    best: tuple[int, int | None] = (0, None)
    seen: Counter[tuple[str, ...]] = Counter()
    table: Path = ()
    for line, statement in _statements(text):
        if match := HEADER.fullmatch(statement):
            keys, _ = _keys(match.group(1))
            if statement.startswith("[["):
                seen[tuple(keys)] += 1
                table = (*keys, seen[tuple(keys)] - 1)
            else:
                table = tuple(keys)
            full, rest = table, ""
        else:
            keys, end = _keys(statement)
            full, rest = (*table, *keys), statement[end:]
        common = _shared(full, path)
        if common == len(full) and common > best[0]:
            best = (common, line + _inside(rest, path[common:]))
    return best[1]


def _shared(a: Path, b: Path) -> int:
    n = 0
    for x, y in zip(a, b, strict=False):
        if x != y:
            break
        n += 1
    return n


def _inside(value: str, rest: Sequence[str | int]) -> int:
    """How many lines into a value of several lines the keys of its inline tables stand."""
    place = 0
    for key in rest:
        if isinstance(key, str):
            match = re.search(rf"""(?<![\w-])["']?{re.escape(key)}["']?\s*=""", value[place:])
            if match is None:
                break
            place += match.start()
        else:
            for _ in range(key):
                following = value.find("{", value.find("}", place))
                if following < 0:
                    break
                place = following
    return value[:place].count("\n")


def spelled(path: Path) -> str:
    """A path as people read it: `size[2].length_mm`, entries counted from 1."""
    out = ""
    for key in path:
        out += f"[{key + 1}]" if isinstance(key, int) else f".{key}" if out else key
    return out
