"""The text in a slip's QR code, `baitprint:LOT/NUMBER`, and what a lot may be called."""

from __future__ import annotations

import unicodedata

from identify.errors import BadOption

PREFIX = "baitprint:"
LONGEST_LOT = 40


def number_of(text: str) -> str | None:
    """`LOT/NUMBER` of a code's text; None when it is no slip of ours."""
    if not text.startswith(PREFIX):
        return None
    number = text.removeprefix(PREFIX)
    lot, slash, count = number.rpartition("/")
    return number if slash and lot and count.isascii() and count.isdigit() else None


def text_of(lot: str, number: int) -> str:
    """The inverse of `number_of`."""
    return f"{PREFIX}{lot}/{number}"


def checked_lot(lot: str) -> str:
    """A lot's name as it is printed, with single spaces.  Raises BadOption for one that cannot be used."""
    name = " ".join(unicodedata.normalize("NFC", lot).split())
    if not name:
        raise BadOption("The lot has no name.", "Give --lot a short name, such as mill.")
    if "/" in name or not name.isprintable():
        raise BadOption(f"The lot's name {name!r} has a character that slips cannot carry.", "Leave it out.")
    if len(name) > LONGEST_LOT:
        raise BadOption(
            f"The lot's name has {len(name)} letters; its code would become too fine to read.",
            f"Use at most {LONGEST_LOT}, better fewer than 15.",
        )
    return name
