"""Opening a zip file from somebody else: nothing outside its folder, nothing huge, nothing that is no plain file.

Everything is checked before the first byte is unpacked, and sizes are held to while unpacking, since what an archive
says of itself need not be true.
"""

from __future__ import annotations

import hashlib
import stat
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from identify.errors import BadArchive, BadOption
from identify.reference.slugs import storable

MOST_FILES = 20_000
LARGEST_TEXT, LARGEST_PHOTO = 2_000_000, 200_000_000
LARGEST_PIECES = 50_000_000
LARGEST_WHOLE = 4_000_000_000
MOST_TIMES = 200
"""Texts pack to a tenth, at the very best to a hundredth of their size; bombs to far less."""
LONGEST_NAME = 240
CHUNK = 1 << 20
TEXTS = (".toml", ".svg", ".json")
PHOTOS = (".jpg", ".png", ".webp")
PIECES = ".pieces.jsonl"
PLAIN = ("set.toml", "manifest.json")


@dataclass(frozen=True)
class Entry:
    """One file of an archive."""

    name: str
    size: int
    info: zipfile.ZipInfo


class Archive:
    """An archive whose entries have been checked; `entries` by name."""

    def __init__(self, path: Path, file: zipfile.ZipFile) -> None:
        self.path, self._file = path, file
        self.entries: dict[str, Entry] = {}
        self._check()

    def _bad(self, why: str) -> BadArchive:
        return BadArchive(f"{self.path} is not used: {why}.", "Ask for it again, made with `baitprint refs export`.")

    def _check(self) -> None:
        found = self._file.infolist()
        if len(found) > MOST_FILES:
            raise self._bad(f"it holds {len(found)} files")
        if sum(info.compress_size for info in found) > self.path.stat().st_size:
            raise self._bad("its files overlap")
        seen: set[str] = set()
        for info in found:
            if info.is_dir():
                self._name(info.filename.rstrip("/"))
                continue
            self._plain(info)
            if info.filename.casefold() in seen:
                raise self._bad(f"'{info.filename}' stands in it twice")
            seen.add(info.filename.casefold())
            self.entries[info.filename] = Entry(info.filename, info.file_size, info)
        if sum(e.size for e in self.entries.values()) > LARGEST_WHOLE:
            raise self._bad("it would take too much space")

    def _name(self, name: str) -> None:
        parts = name.split("/")
        if "\\" in name or ":" in name or name.startswith("/") or any(part in ("", ".", "..") for part in parts):
            raise self._bad(f"'{name}' would lie outside its folder")
        if len(name) > LONGEST_NAME or len(parts) > 2 or any(part.startswith(".") for part in parts):
            raise self._bad(f"'{name}' is no file of a reference set")
        if why := next((why for part in parts if (why := storable(part))), None):
            raise self._bad(f"'{name}' cannot be stored everywhere ({why})")

    def _plain(self, info: zipfile.ZipInfo) -> None:
        name = info.filename
        self._name(name)
        kind = stat.S_IFMT(info.external_attr >> 16)
        if kind not in (0, stat.S_IFREG):
            raise self._bad(f"'{name}' is no plain file")
        if info.flag_bits & 0x1:
            raise self._bad(f"'{name}' is encrypted")
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise self._bad(f"'{name}' is packed in a way that is not known here")
        limit = _limit(name)
        if limit is None:
            raise self._bad(f"'{name}' is no file of a reference set")
        if info.file_size > limit or info.file_size > MOST_TIMES * max(info.compress_size, 1000):
            raise self._bad(f"'{name}' is too large")

    def chunks(self, name: str) -> Iterator[bytes]:
        """A file's contents, never more than it said."""
        entry = self.entries[name]
        left = entry.size
        try:
            with self._file.open(entry.info) as file:
                while chunk := file.read(min(CHUNK, left + 1)):
                    left -= len(chunk)
                    if left < 0:
                        raise self._bad(f"'{name}' is larger than it says")
                    yield chunk
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, NotImplementedError) as why:
            raise self._bad(f"'{name}' is damaged ({why})") from why
        if left:
            raise self._bad(f"'{name}' is shorter than it says")

    def read(self, name: str) -> bytes:
        """A whole file."""
        return b"".join(self.chunks(name))

    def sha256(self, name: str) -> str:
        whole = hashlib.sha256()
        for chunk in self.chunks(name):
            whole.update(chunk)
        return whole.hexdigest()

    def verify(self, hashes: dict[str, str]) -> None:
        """Hold every file but the manifest to its checksum; none may be missing or unlisted.  Raises BadArchive."""
        listed, there = set(hashes), set(self.entries) - {"manifest.json"}
        if listed != there:
            odd = sorted(listed ^ there)[0]
            raise self._bad(f"'{odd}' is {'missing' if odd in listed else 'not on its list'}")
        for name, said in hashes.items():
            if self.sha256(name) != said:
                raise self._bad(f"'{name}' is not what it was when it was packed")


def _limit(name: str) -> int | None:
    """The most bytes that a file of this name may have, None if it has no place in a set."""
    folder, _, last = name.rpartition("/")
    if not folder:
        return LARGEST_TEXT * 10 if name in PLAIN else None
    if folder == "photos":
        return LARGEST_PHOTO if last.endswith(PHOTOS) else None
    if last.endswith(PIECES):
        return LARGEST_PIECES
    return LARGEST_TEXT if last.endswith((".toml", ".svg")) else None


@contextmanager
def opened(path: Path) -> Iterator[Archive]:
    """A checked archive.  Raises BadArchive, and BadOption if there is no such file."""
    if not path.is_file():
        why = "is a folder" if path.is_dir() else "is not there"
        raise BadOption(f"{path} {why}.", "Name a file written by `baitprint refs export`.")
    try:
        with zipfile.ZipFile(path) as file:
            yield Archive(path, file)
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, UnicodeDecodeError) as why:
        raise BadArchive(f"{path} is no zip file that can be read ({why}).", "Ask for it again.") from why
