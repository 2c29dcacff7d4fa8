"""What all printed sheets share: paper sizes, and a font that goes with the program."""

from __future__ import annotations

import unicodedata
from typing import Any

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from identify.errors import BadOption

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
NARROWEST_MARGIN_MM = 7.0
"""Nearer to the edge many printers do not print."""
PLAIN, BOLD = "Vera", "VeraBd"
"""Bitstream Vera, which reportlab brings."""


def _font(name: str) -> Any:
    if name not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    return pdfmetrics.getFont(name)


def plain_font() -> str:
    """Name of the font for text."""
    _font(PLAIN)
    return PLAIN


def bold_font(text: str = "") -> str:
    """Name of the bold font.  Raises BadOption when it cannot show a text."""
    glyphs = _font(BOLD).face.charToGlyph
    missing = sorted({c for c in text if ord(c) not in glyphs})
    if missing:
        raise BadOption(
            f"{text!r} cannot be printed: the font has no {' '.join(missing)}.", "Use Latin letters and figures."
        )
    return BOLD


def printable(text: str) -> str:
    """A text with what the fonts cannot show replaced: a letter by itself without its accent, else by a question
    mark."""
    glyphs = _font(PLAIN).face.charToGlyph

    def shown(c: str) -> str:
        bare = unicodedata.normalize("NFKD", c)[0]
        return c if ord(c) in glyphs else bare if ord(bare) in glyphs else "?"

    return "".join(shown(c) for c in text)
