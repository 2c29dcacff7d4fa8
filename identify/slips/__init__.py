"""Numbered slips: paper laid beside a bait, with a large number for people and a QR code for the photo.

`find` reads them, `set_apart` keeps them from being measured, `doubted` says what one leaves unsure of a bait beside
it; `sheet` prints them; `code` holds the text both agree on.
"""

from __future__ import annotations

from identify.slips.beside import doubted
from identify.slips.find import Slips, find, set_apart

__all__ = ["Slips", "doubted", "find", "set_apart"]
