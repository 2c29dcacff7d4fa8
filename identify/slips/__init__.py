"""Numbered slips: paper laid beside a bait, with a large number for people and a QR code for the photo.

`find` reads them, `set_apart` keeps them from being measured; `sheet` prints them; `code` holds the text both agree on.
"""

from __future__ import annotations

from identify.slips.find import Slips, find, set_apart

__all__ = ["Slips", "find", "set_apart"]
