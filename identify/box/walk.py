"""The photos of a folder and of the folders in it."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

SUFFIXES = frozenset((".jpg", ".jpeg", ".jpe", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".hif"))


@dataclass(frozen=True, order=True)
class Found:
    """A photo's file.  `name`: its path from the folder sorted, with slashes on every system."""

    name: str
    size: int
    mtime_ns: int


@dataclass(frozen=True)
class Walked:
    """Photos in order of name, and the folders that could not be looked into with the reason."""

    photos: tuple[Found, ...]
    closed: tuple[tuple[str, str], ...]


def walk(folder: Path, leave_out: Path | None = None) -> Walked:
    """Every photo below a folder, told by the ends of names; hidden ones and the folder `leave_out` are passed over.

    Links to folders are not followed: a photo is found once.
    """
    photos: list[Found] = []
    closed: list[tuple[str, str]] = []
    out = None if leave_out is None else os.path.realpath(leave_out)
    todo = [""]
    while todo:
        inside = todo.pop()
        try:
            with os.scandir(folder / inside if inside else folder) as entries:
                for entry in entries:
                    if entry.name.startswith("."):
                        continue
                    name = f"{inside}/{entry.name}" if inside else entry.name
                    if entry.is_dir(follow_symlinks=False):
                        if out is None or os.path.realpath(entry.path) != out:
                            todo.append(name)
                    elif os.path.splitext(entry.name)[1].lower() in SUFFIXES:  # noqa: PTH122
                        found = _stat(entry, name)
                        if found is not None:
                            photos.append(found)
        except OSError as why:
            closed.append((inside or ".", why.strerror or str(why)))
    return Walked(tuple(sorted(photos)), tuple(sorted(closed)))


def _stat(entry: os.DirEntry[str], name: str) -> Found | None:
    """None for a file that went away meanwhile, and for what is no file."""
    try:
        if not entry.is_file():
            return None
        said = entry.stat()
    except FileNotFoundError:
        return None
    return Found(name, said.st_size, said.st_mtime_ns)
