"""Large letters on a terminal: text drawn with a font and written as half blocks, two dots to a character."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw, ImageFont
from rich.text import Text

HEIGHT = 14
"""Dots of a line: seven rows of the terminal."""
BLOCKS = " ▀▄█"
INK = 110


def large(text: str, columns: int) -> Text:
    """A text in large letters, on as many lines as its words need; small where even one word is too wide."""
    font = ImageFont.load_default(HEIGHT)
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and font.getlength(longer) <= columns:
            lines[-1] = longer
        else:
            lines.append(word)
    if not lines or max(font.getlength(line) for line in lines) > columns:
        return Text(text, style="bold")
    return Text("\n").join([_drawn(line, font) for line in lines])


def _drawn(line: str, font: ImageFont.ImageFont | ImageFont.FreeTypeFont) -> Text:
    width = int(font.getlength(line)) + 2
    image = Image.new("L", (width, HEIGHT + 4))
    ImageDraw.Draw(image).text((0, 0), line, fill=255, font=font)
    dots = np.asarray(image) > INK
    used = np.flatnonzero(dots.any(1))
    top = int(used[0]) // 2 * 2 if len(used) else 0
    rows = []
    for y in range(top, (int(used[-1]) if len(used) else 0) + 1, 2):
        upper, lower = dots[y], dots[y + 1] if y + 1 < len(dots) else np.zeros(width, bool)
        rows.append("".join(BLOCKS[int(a) + 2 * int(b)] for a, b in zip(upper, lower, strict=True)).rstrip())
    return Text("\n".join(rows))
