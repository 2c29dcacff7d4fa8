"""A set as one zip file, to be given away: its files with their checksums, its editor and licence, photos if wanted."""

from __future__ import annotations

import datetime
import hashlib
import json
import os
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from identify import __version__
from identify.errors import BadArchive, BadOption, CannotWrite
from identify.reference.enrol import photo_places
from identify.reference.filed import pieces_of, pieces_path
from identify.reference.hashing import files_of
from identify.reference.reader import read
from identify.reference.safezip import Archive
from identify.reference.sets import ReferenceSet
from identify.reference.strip import stripped

SCHEMA = "baitprint/exchange/1"
MANIFEST = "manifest.json"
PHOTOS = "photos"


@dataclass(frozen=True)
class Exported:
    """What went into the archive, and the photos that did not, with the reason."""

    models: int
    photos: int
    left_out: tuple[str, ...]


def export(folder: Path, target: Path, with_photos: bool = False, today: datetime.date | None = None) -> Exported:
    """Write a set's archive.  Raises SetMissing, SetFaulty (of what it was learned from, too), CannotWrite; BadOption
    when it would overwrite a file."""
    found = read(folder)
    for profile in found.profiles:  # whoever gets it could not use it
        pieces_of(folder, profile.file)
    if target.exists():
        raise BadOption(f"{target} is there already.", "Choose another name, or delete it first.")
    names = [*files_of(folder), *(p for p in (pieces_path(m.file) for m in found.profiles) if (folder / p).is_file())]
    aside = target.with_name(f".{target.name}.{os.getpid()}.part")
    hashes: dict[str, str] = {}
    left_out: list[str] = []
    photos: dict[str, str] = {}
    try:
        with zipfile.ZipFile(aside, "w", zipfile.ZIP_DEFLATED) as file:

            def put(name: str, content: bytes, kind: int = zipfile.ZIP_DEFLATED) -> None:
                info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))  # the same set gives the same archive
                info.compress_type, info.external_attr = kind, 0o100644 << 16
                file.writestr(info, content)
                hashes[name] = hashlib.sha256(content).hexdigest()

            for name in sorted(names):
                put(name, (folder / name).read_bytes())
            for sha256, name, content in _photos(folder, found, left_out) if with_photos else ():
                put(name, content, zipfile.ZIP_STORED)
                photos[sha256] = name
            about = _about(found, today or datetime.date.today())
            manifest = json.dumps({**about, "files": dict(hashes), "photos": photos}, ensure_ascii=False, indent=1)
            put(MANIFEST, manifest.encode())
        aside.replace(target)
    except OSError as why:
        raise CannotWrite(f"{target} cannot be written: {why.strerror or why}.", "Choose another place.") from why
    finally:
        aside.unlink(missing_ok=True)
    return Exported(len(found.profiles), len(photos), tuple(left_out))


def _about(found: ReferenceSet, today: datetime.date) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "version": __version__,
        "date": today.isoformat(),
        "title": found.title,
        "editor": found.editor,
        "licence": found.licence,
        "sha256": found.sha256,
    }


def _photos(folder: Path, found: ReferenceSet, left_out: list[str]) -> Iterator[tuple[str, str, bytes]]:
    """The photos that the set was learned from, where they still lie as they were, without what they tell of places."""
    where = photo_places(folder)
    for profile in found.profiles:
        for shot in (s for p in pieces_of(folder, profile.file).pieces for s in p.photos):
            kept = next((folder / PHOTOS).glob(f"{shot.sha256[:16]}.*"), None) if (folder / PHOTOS).is_dir() else None
            try:
                content = kept.read_bytes() if kept is not None else Path(where.get(shot.sha256, "")).read_bytes()
            except OSError:
                left_out.append(f"{shot.photo} is not where it was")
                continue
            if kept is None and hashlib.sha256(content).hexdigest() != shot.sha256:
                left_out.append(f"{shot.photo} has been changed since")
                continue
            bare, suffix = stripped(content)
            yield shot.sha256, f"{PHOTOS}/{shot.sha256[:16]}{suffix}", bare


def manifest_of(archive: Archive) -> dict[str, Any]:
    """An archive's manifest, its files held to their checksums.  Raises BadArchive."""
    try:
        found: dict[str, Any] = json.loads(archive.read(MANIFEST).decode("utf-8"))
        if found["schema"] != SCHEMA:
            raise BadArchive(f"{archive.path} is of a kind that is not known here.", "Use a newer version.")
        files = {str(name): str(sha256) for name, sha256 in found["files"].items()}
    except (KeyError, ValueError, AttributeError, TypeError, RecursionError) as why:
        raise BadArchive(f"{archive.path} holds no reference set: it has no list of its files.", "Ask again.") from why
    archive.verify(files)
    return found
