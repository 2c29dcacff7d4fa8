"""Is this photo good enough, for what, and what to do better."""

from __future__ import annotations

from pathlib import Path

from identify import photo as photos
from identify.advice.codes import ADVICE, EVER
from identify.advice.figures import PhotoFigures, look
from identify.advice.rules import Advice, BaitAdvice, GoodFor, Tip, advise, unusable
from identify.errors import PhotoError
from identify.measure import measure
from identify.settings import Settings

__all__ = [
    "ADVICE",
    "EVER",
    "Advice",
    "BaitAdvice",
    "GoodFor",
    "PhotoFigures",
    "Tip",
    "advise",
    "advise_photo",
    "look",
    "unusable",
]


def advise_photo(path: str | Path, settings: Settings | None = None) -> Advice:
    """Read and measure one photo, and say what it is good for and what to do better.

    A photo that cannot be read gives advice whose `error` says why.  Raises BadOption for settings that can't be.
    """
    settings = settings or Settings()
    try:
        photo = photos.read(path, settings)
    except PhotoError as fault:
        return unusable(str(path), fault.code, fault.message)
    record = measure(photo, settings)
    return advise(record, look(photo, record))
