"""Several files of a set written as one: killed at whatever moment, the set is as before or as after.

New contents are laid aside in a hidden folder of the set; one renamed file, the list of what goes where, makes them
count; then each is moved into its place.  Whoever opens the set next finishes what counts and drops what does not
(write-ahead logging, as databases do).  A lock that the system frees when a program dies keeps two writers apart.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from identify.errors import CannotWrite

FOLDER, LIST, LOCK = ".baitprint-journal", "list.json", ".baitprint-lock"
INCOMING = ".baitprint-incoming-"
"""Begins the name of a folder for files on their way in; an interrupted import leaves it behind."""
PATIENCE_S = 60.0
"""How long to wait for another program that is writing to the set."""


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold the set for writing; what an interrupted writer left is settled first.  Raises CannotWrite."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = FileLock(folder / LOCK, timeout=PATIENCE_S)
        lock.acquire()
    except Timeout as why:
        raise CannotWrite(f"Another program is writing to {folder}.", "Wait until it has ended.") from why
    except OSError as why:
        raise _cannot(folder, why) from why
    try:
        _settle(folder)
        for left in folder.glob(f"{INCOMING}*"):
            shutil.rmtree(left, ignore_errors=True)
        yield
    finally:
        lock.release()


def settle(folder: Path) -> None:
    """Finish or drop what an interrupted writer left in a set's folder; nothing is touched where nothing was left.

    Raises CannotWrite when that cannot be done here: a set half written must not be read.
    """
    if (folder / FOLDER).is_dir():
        with locked(folder):
            pass


def commit(folder: Path, changes: Mapping[str, bytes | Path | None]) -> None:
    """Write the files (relative paths with `/`; None deletes, a Path is a file to be moved there) all together or not
    at all; the set must be `locked`.

    Raises CannotWrite; unless the list was already made, the set is then as before.
    """
    aside = folder / FOLDER
    try:
        aside.mkdir()
        staged: dict[str, str | None] = {}
        for i, (path, content) in enumerate(changes.items()):
            staged[path] = None if content is None else f"{i}"
            if isinstance(content, Path):
                content.replace(aside / f"{i}")
            elif content is not None:
                _store(aside / f"{i}", content)
        _store(aside / f"{LIST}.part", json.dumps(staged).encode())
        _settled(aside)
        (aside / f"{LIST}.part").replace(aside / LIST)
        _settled(aside)
    except OSError as why:
        shutil.rmtree(aside, ignore_errors=True)
        raise _cannot(folder, why) from why
    _settle(folder)


def _settle(folder: Path) -> None:
    aside = folder / FOLDER
    if not aside.is_dir():
        return
    try:
        if (aside / LIST).is_file():
            staged = json.loads((aside / LIST).read_bytes())
            for path, name in staged.items():
                _move(folder, path, None if name is None else aside / name)
            for place in sorted({(folder / path).parent for path in staged}):
                if place.is_dir():  # else what it held is gone, and it too
                    _settled(place)
            (aside / LIST).unlink()
        shutil.rmtree(aside)
    except OSError as why:
        raise _cannot(folder, why) from why


def _move(folder: Path, path: str, source: Path | None) -> None:
    target = folder / path
    if source is None:
        target.unlink(missing_ok=True)
        if target.parent != folder and target.parent.is_dir() and not any(target.parent.iterdir()):
            target.parent.rmdir()
    elif source.is_file():  # else it was moved before the interruption
        target.parent.mkdir(parents=True, exist_ok=True)
        source.replace(target)


def _store(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _settled(folder: Path) -> None:
    """A folder's own entries on the disk, where the system can do that (not on Windows)."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _cannot(folder: Path, why: OSError) -> CannotWrite:
    return CannotWrite(
        f"The set {folder} cannot be written to: {why.strerror or why}.", "Check that it may be written, and the space."
    )
