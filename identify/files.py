"""Writing files whole or not at all, and folders that can be written to."""

from __future__ import annotations

import os
from pathlib import Path

from identify.errors import CannotWrite

ELSEWHERE = "Choose another folder, or free some space."


def put_bytes(path: Path, data: bytes, lasting: bool = True) -> None:
    """Write a file aside, then rename it; `lasting`: so that it outlives a power cut.  Raises CannotWrite."""
    aside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with aside.open("wb") as file:
                file.write(data)
                if lasting:
                    file.flush()
                    os.fsync(file.fileno())
            aside.replace(path)
        finally:
            aside.unlink(missing_ok=True)
    except OSError as why:
        raise CannotWrite(f"{path} cannot be written: {why.strerror or why}.", ELSEWHERE) from why


def put_text(path: Path, text: str) -> None:
    """The same for text, in UTF-8 with `\\n` line ends."""
    put_bytes(path, text.encode("utf-8", "surrogateescape"))


def made(folder: Path) -> Path:
    """A folder, made if it is not there.  Raises CannotWrite when that cannot be or nothing can be written to it."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as why:
        said = "it is a file" if folder.is_file() else why.strerror or str(why)
        raise CannotWrite(f"The folder {folder} cannot be made: {said}.", "Choose another folder.") from why
    if not os.access(folder, os.W_OK):
        raise CannotWrite(f"Nothing can be written to the folder {folder}.", "Choose another folder.")
    return folder
