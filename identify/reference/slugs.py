"""Names of files and folders that every system can store."""

from __future__ import annotations

import re
import unicodedata

RESERVED = frozenset({"con", "prn", "aux", "nul"} | {f"{port}{n}" for port in ("com", "lpt") for n in "123456789¹²³"})
"""Device names of Windows: no file may be called so, with whatever extension."""
FORBIDDEN = frozenset('<>:"/\\|?*')
LONGEST = 60
LETTERS = str.maketrans({"ß": "ss", "æ": "ae", "œ": "oe", "ø": "o", "đ": "d", "ð": "d", "þ": "th", "ł": "l", "ı": "i"})


def slug(name: str) -> str:
    """A name in lower case for a file or folder: letters and digits of any script, words joined by `-`.

    Accents are dropped from Latin letters; a name without a letter or digit becomes `unnamed`, and one that Windows
    keeps for itself gets a trailing `-`-word.
    """
    spread = unicodedata.normalize("NFKD", name.casefold()).translate(LETTERS)
    bare = "".join(c for c in spread if not unicodedata.combining(c) or ord(c) > 0x36F)
    words = re.findall(r"[^\W_]+", unicodedata.normalize("NFC", bare.replace("&", " and ").replace("'", "")))
    text = "-".join(words)[:LONGEST].strip("-") or "unnamed"
    return f"{text}-x" if text in RESERVED else text


def storable(part: str) -> str | None:
    """Why a file or folder cannot have this name everywhere; None if it can."""
    if part.split(".")[0].rstrip().casefold() in RESERVED:
        return "Windows keeps this name for a device"
    if bad := sorted({c for c in part if c in FORBIDDEN or ord(c) < 32}):
        return f"Windows cannot store a name with {' '.join(bad)}"
    if part.endswith((".", " ")):
        return "Windows drops a full stop or space at the end of a name"
    return None
