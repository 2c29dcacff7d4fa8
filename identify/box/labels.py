"""Labels for piles, to print, cut and lay on them: picture, name, how many, and what they look like.

The grid fits on A4 and on Letter alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import Any

from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from identify.box.piles import Pile, Piles
from identify.box.thumbs import thumb
from identify.box.write import about
from identify.printing import PAPERS_MM, bold_font, plain_font, printable
from identify.report.words import Units

WIDTH, HEIGHT, ACROSS, DOWN = 95.0, 42.0, 2, 6
MARGIN, PICTURE = 4.0, 34.0
SIZES = (20.0, 16.0, 13.0, 11.0, 9.0, 7.5)
"""Of a name, in points: the largest that fits in two lines."""
LINES = 2
SMALL = 9.0
LEAD = 1.2
TOGETHER = "\u00a0"
"""A space at which no line is broken."""


def labels(piles: Piles, out: Path, hashes: Mapping[str, str | None], units: Units = "mm") -> bytes:
    """The PDF, one label for each pile; pictures are those below `out`."""
    data = BytesIO()
    width, height = PAPERS_MM["a4"]
    canvas = Canvas(data, pagesize=(width * mm, height * mm), invariant=1)
    canvas.setTitle("Labels of piles")
    canvas.setCreator("baitprint")
    left, top = (width - ACROSS * WIDTH) / 2, (height - DOWN * HEIGHT) / 2
    for i, pile in enumerate((*piles.piles, *piles.unknown)):
        place = i % (ACROSS * DOWN)
        if i and place == 0:
            canvas.showPage()
        x, y = left + place % ACROSS * WIDTH, height - top - (place // ACROSS + 1) * HEIGHT
        canvas.saveState()
        canvas.translate(x * mm, y * mm)
        first = next((p for p in pile.photos if p.bait is not None), pile.photos[0])
        _draw(canvas, pile, out / thumb(hashes[first.photo] or "", first.bait), units)
        canvas.restoreState()
    canvas.save()
    return data.getvalue()


def _draw(canvas: Any, pile: Pile, picture: Path, units: Units) -> None:
    canvas.setLineWidth(0.15 * mm)
    canvas.setStrokeGray(0.6)
    canvas.setDash(1 * mm, 1 * mm)
    canvas.rect(0, 0, WIDTH * mm, HEIGHT * mm)
    if picture.is_file():
        image = ImageReader(str(picture))
        wide, high = image.getSize()
        k = min(PICTURE / wide, (HEIGHT - 2 * MARGIN) / high)
        y = (HEIGHT - high * k) / 2
        canvas.drawImage(image, (MARGIN + (PICTURE - wide * k) / 2) * mm, y * mm, wide * k * mm, high * k * mm)
    x, room = 2 * MARGIN + PICTURE, WIDTH - PICTURE - 3 * MARGIN
    bold, plain = bold_font(), plain_font()
    canvas.setFillGray(0)
    at = (HEIGHT - MARGIN) * mm
    if pile.maker is not None:
        at -= SMALL
        canvas.setFont(plain, SMALL)
        for line in _lines(printable(pile.maker), plain, SMALL, room * mm)[:1]:
            canvas.drawString(x * mm, at, line)
        at -= SMALL / 2
    name = pile.name if pile.model is None else TOGETHER.join(filter(None, (pile.model, pile.size)))
    size, lines = _broken(printable(name), bold, room * mm)
    canvas.setFont(bold, size)
    for line in lines:
        at -= size
        canvas.drawString(x * mm, at, line)
        at -= (LEAD - 1) * size
    canvas.setFont(plain, SMALL)
    for i, text in enumerate(reversed(_said(about(pile, units), plain, room * mm))):
        canvas.drawString(x * mm, MARGIN * mm + i * SMALL * LEAD, text)


def _broken(text: str, font: str, room: float) -> tuple[float, list[str]]:
    """A size of letters and the text's lines at that size; what does not fit at the smallest is cut short."""
    for size in SIZES:
        lines = _lines(text, font, size, room)
        if len(lines) <= LINES and all(pdfmetrics.stringWidth(line, font, size) <= room for line in lines):
            break
    return size, lines[:LINES]


def _said(text: str, font: str, room: float) -> list[str]:
    """On one line, else one for how many there are and more for what they look like."""
    if pdfmetrics.stringWidth(text, font, SMALL) <= room:
        return [text]
    many, _, looks = text.partition(", ")
    return [many, *_lines(looks, font, SMALL, room)]


def _lines(text: str, font: str, size: float, room: float) -> list[str]:
    lines: list[str] = []
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and pdfmetrics.stringWidth(longer, font, size) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines
