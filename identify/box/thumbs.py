"""Small pictures of baits for the index, one file each beside it."""

from __future__ import annotations

import re
from pathlib import Path

from identify.files import put_bytes
from identify.photo import Photo
from identify.records import PhotoRecord
from identify.report.picture import thumbnails

SIDE = 320
"""Longest side in pixels, about."""
FOLDER = "thumbs"
OURS = re.compile(r"[0-9a-f]{24}-\d+\.jpg")
"""Names of small pictures."""


def thumb(sha256: str, bait: int | None) -> str:
    """Path of a bait's small picture, from the folder of the index; of the whole photo where it has none."""
    return f"{FOLDER}/{sha256[:24]}-{bait or 0}.jpg"


def thumbs_of(sha256: str, baits: int) -> list[str]:
    """All small pictures of one photo."""
    return [thumb(sha256, number) for number in range(1, baits + 1)] or [thumb(sha256, None)]


def keep_thumbs(out: Path, photo: Photo, record: PhotoRecord) -> None:
    """Write a photo's small pictures.  Raises CannotWrite."""
    names = thumbs_of(photo.sha256, len(record.baits))
    for name, jpeg in zip(names, thumbnails(photo, record, SIDE), strict=True):
        put_bytes(out / name, jpeg, lasting=False)
