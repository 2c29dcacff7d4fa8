"""`photos.jsonl`: one line per photo, written as each is done, so that nothing done is done again after a stop.

While a sort runs lines are only ever added, the latest of a photo counts, and a last line that was cut off by a stop is
dropped.  When all is done the file is written anew with one line per photo, in order of name.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from identify.box.walk import Found
from identify.errors import CannotWrite
from identify.files import ELSEWHERE

Line = dict[str, Any]
STATE = "sort"
"""Key of a line that says what it was made from: the file's size and time, and what measuring and ranking rested on."""


@dataclass(frozen=True)
class Entry:
    """What is kept in memory of a line: where it stands, and what it was made from."""

    start: int
    length: int
    sha256: str | None
    size: int
    mtime_ns: int
    measured_by: str
    ranked_by: str
    error: str | None
    baits: int


def encoded(line: Line) -> bytes:
    """A line as it is stored; a name that is not text keeps its bytes as escapes."""
    try:
        text = json.dumps(line, ensure_ascii=False, allow_nan=False).encode()
    except UnicodeEncodeError:
        text = json.dumps(line, allow_nan=False).encode()
    return text + b"\n"


def stated(line: Line, photo: Found, measured_by: str, ranked_by: str) -> Line:
    """A photo's line with what it was made from."""
    state = {"size": photo.size, "mtime_ns": photo.mtime_ns, "measured_by": measured_by, "ranked_by": ranked_by}
    return {**line, "photo": photo.name, STATE: state}


class Journal:
    """The file, opened for adding.  `entries` are by photo, in the order of their latest line."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.entries: dict[str, Entry] = {}
        self._lines = 0
        try:
            path.touch(exist_ok=True)
            self._file: BinaryIO = path.open("r+b")
            self._end = self._load()
        except OSError as why:
            raise CannotWrite(f"{path} cannot be written: {why.strerror or why}.", ELSEWHERE) from why

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def _load(self) -> int:
        """Read all whole lines; what a stop left of a last one is cut off.  Returns the end."""
        end = 0
        for raw in self._file:
            if not raw.endswith(b"\n"):
                break
            self._note(raw, end)
            end += len(raw)
        self._file.truncate(end)
        return end

    def _note(self, raw: bytes, start: int) -> None:
        self._lines += 1
        try:
            line = json.loads(raw)
            state, error = line[STATE], line["error"]
            entry = Entry(
                start, len(raw), line["sha256"], state["size"], state["mtime_ns"], state["measured_by"],
                state["ranked_by"], error and error["code"], len(line["baits"]),
            )  # fmt: skip
        except (ValueError, KeyError, TypeError):
            return  # a line that a full disk or another program spoilt: its photo is measured again
        self.entries.pop(line["photo"], None)
        self.entries[line["photo"]] = entry

    def add(self, line: Line) -> None:
        """Store a photo's line at once.  Raises CannotWrite."""
        raw = encoded(line)
        try:
            self._file.seek(self._end)
            self._file.write(raw)
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as why:
            self._file.truncate(self._end)
            raise CannotWrite(f"{self.path} cannot be written: {why.strerror or why}.", ELSEWHERE) from why
        self._note(raw, self._end)
        self._end += len(raw)

    def line(self, name: str) -> Line:
        """A photo's line."""
        entry = self.entries[name]
        self._file.seek(entry.start)
        found: Line = json.loads(self._file.read(entry.length))
        return found

    def lines(self, names: Iterable[str]) -> Iterator[Line]:
        """Lines of these photos, one after the other."""
        return (self.line(name) for name in names)

    def settle(self, names: Iterable[str]) -> None:
        """Write the file anew with one line for each of these photos, in this order, if it is not so already."""
        wanted = list(names)
        in_place, at = self._lines == len(wanted), 0
        for name in wanted:
            in_place = in_place and self.entries[name].start == at
            at += self.entries[name].length
        if in_place and at == self._end:
            return
        aside = self.path.with_name(f".{self.path.name}.{os.getpid()}.part")
        try:
            with aside.open("wb") as file:
                for name in wanted:
                    self._file.seek(self.entries[name].start)
                    file.write(self._file.read(self.entries[name].length))
                file.flush()
                os.fsync(file.fileno())
            self._file.close()
            aside.replace(self.path)
            self._file = self.path.open("r+b")
        except OSError as why:
            aside.unlink(missing_ok=True)
            raise CannotWrite(f"{self.path} cannot be written: {why.strerror or why}.", ELSEWHERE) from why
        self.entries, self._lines = {}, 0
        self._end = self._load()
