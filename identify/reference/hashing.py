"""The files of a set, and the hash that names what they say."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

SUFFIXES = (".toml", ".svg")


def files_of(folder: Path) -> tuple[str, ...]:
    """All .toml and .svg files below a set's folder, relative, with `/`, sorted; hidden files and folders left out."""
    found = []
    for here, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        base = Path(here).relative_to(folder).as_posix()
        inside = "" if base == "." else f"{base}/"
        found += [inside + n for n in names if not n.startswith(".") and n.lower().endswith(SUFFIXES)]
    return tuple(sorted(found))


def digest(hashes: dict[str, str]) -> str:
    """One hash over the sorted (relative path, file hash) pairs: a line `path NUL hash` for each."""
    whole = hashlib.sha256()
    for path in sorted(hashes):
        whole.update(f"{path}\0{hashes[path]}\n".encode("utf-8", "surrogateescape"))
    return whole.hexdigest()


def set_digest(folder: Path) -> str | None:
    """`digest` of a set's folder as it lies there; None if anything cannot be read."""
    hashes = {}
    base = os.fspath(folder)
    try:
        for name in files_of(folder):
            with open(f"{base}/{name}", "rb", buffering=0) as file:  # noqa: PTH123
                hashes[name] = hashlib.sha256(file.read()).hexdigest()
    except OSError:
        return None
    return digest(hashes)
