"""Letters that the guide's font lacks: left out visibly, and said to the user."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from typing import Any

from identify.printing import printable
from identify.reference import ReferenceSet

LEFT_OUT = "[…]"


def _letters(text: str) -> Iterator[tuple[str, bool]]:
    """Each letter as it can be printed, and whether it can.  What only changes the letter before goes."""
    for c in unicodedata.normalize("NFC", text):
        if unicodedata.category(c) in ("Mn", "Me", "Cf"):
            continue
        there = c if c == "\n" else " " if c.isspace() else printable(c)
        yield (there, True) if there != "?" or c == "?" else (c, False)


def shown(text: str) -> str:
    """A text as it can be printed: letters without the accents that the font lacks, others left out by the word."""
    marked = "".join(there if known else "\0" for there, known in _letters(text))
    return re.sub("\0(?:[\0 ]*\0)?", LEFT_OUT, marked)


def lacking(found: ReferenceSet) -> list[str]:
    """The texts of a set that the guide cannot print whole, in their order, each once."""
    every = (found.title, found.editor, found.licence, found.description, *(s.citation for s in found.sources))
    texts = [*every, *_texts(profile.data.model_dump(mode="json") for profile in found.profiles)]
    return list(dict.fromkeys(text for text in texts if not all(known for _, known in _letters(text))))


def _texts(values: Any) -> Iterator[str]:
    if isinstance(values, str):
        yield values
    elif isinstance(values, dict):
        yield from _texts(values.values())
    elif isinstance(values, Iterable):
        for value in values:
            yield from _texts(value)
