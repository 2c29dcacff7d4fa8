"""Sheets of numbered slips and tie-on tags as PDF.

Everything is drawn, nothing is a picture, so that codes stay sharp on any printer.  A code carries a quarter of its
modules as error correction (level Q, ISO/IEC 18004), more where that costs no space: a hook across it does no harm.
"""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any, Literal

import segno
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from identify.errors import BadOption
from identify.printing import NARROWEST_MARGIN_MM, PAPERS_MM, bold_font
from identify.slips.code import checked_lot, text_of
from identify.slips.layout import HOLE_MM, SLIP, TAG, Layout, Rectangle

Paper = Literal["a4", "letter"]
MOST = 10_000
GREY = 0.6


def sheet(lot: str, first: int = 1, count: int | None = None, tags: bool = False, paper: Paper = "a4") -> bytes:
    """A PDF of slips numbered from `first` on: `count` of them, one full page if None.

    Raises BadOption for a lot's name that cannot be printed, and numbers that make no sense.
    """
    layout = TAG if tags else SLIP
    across, down = _fits(layout, paper)
    wanted = across * down if count is None else count
    if first < 0 or first + wanted > 10**7:
        raise BadOption(f"--first {first} cannot be.", "Start with a number from 0 up to a few millions.")
    if not 1 <= wanted <= MOST:
        raise BadOption(f"--count {count} cannot be.", f"Print from 1 to {MOST} at a time.")
    name = checked_lot(lot)
    font = bold_font(name)
    width, height = PAPERS_MM[paper]
    left, top = (width - across * layout.width) / 2, (height - down * layout.height) / 2
    out = BytesIO()
    canvas = Canvas(out, pagesize=(width * mm, height * mm), invariant=1)
    canvas.setTitle(f"{'Tags' if tags else 'Slips'}: {name} {first} to {first + wanted - 1}")
    canvas.setCreator("baitprint")
    for i in range(wanted):
        place = i % (across * down)
        if i and place == 0:
            canvas.showPage()
        x = left + place % across * layout.width
        y = height - top - (place // across + 1) * layout.height
        _draw(canvas, layout, (x, y), name, first + i, font)
    canvas.save()
    return out.getvalue()


def _fits(layout: Layout, paper: Paper) -> tuple[int, int]:
    """How many slips a page holds across and down."""
    width, height = (side - 2 * NARROWEST_MARGIN_MM for side in PAPERS_MM[paper])
    return int(width // layout.width), int(height // layout.height)


def _draw(canvas: Any, layout: Layout, corner: tuple[float, float], lot: str, number: int, font: str) -> None:
    """One slip with its lower left corner at `corner`, in millimetres from the page's lower left."""
    canvas.saveState()
    canvas.translate(corner[0] * mm, corner[1] * mm)
    canvas.setLineWidth(0.15 * mm)
    canvas.setStrokeGray(GREY)
    canvas.setDash(1 * mm, 1 * mm)
    canvas.rect(0, 0, layout.width * mm, layout.height * mm)
    canvas.setDash()
    if layout.hole is not None:
        canvas.circle((layout.width - layout.hole) * mm, layout.height / 2 * mm, HOLE_MM / 2 * mm)
    canvas.setFillGray(0)
    _code(canvas, layout, text_of(lot, number))
    _fitted(canvas, layout, layout.number, str(number), font)
    _fitted(canvas, layout, layout.lot, lot, font)
    canvas.restoreState()


def _code(canvas: Any, layout: Layout, text: str) -> None:
    """The QR code; what is dark in one row and hangs together is one rectangle, so that no hairlines show between."""
    code = segno.make_qr(text, error="q", encoding="utf-8" if not text.isascii() else None)
    module = layout.code / len(code.matrix)
    top = (layout.height + layout.code) / 2
    path = canvas.beginPath()
    for row, line in enumerate(code.matrix):
        for start, end in _runs(line):
            y = top - (row + 1) * module
            path.rect((layout.margin + start * module) * mm, y * mm, (end - start) * module * mm, module * mm)
    canvas.drawPath(path, stroke=0, fill=1)


def _runs(line: Sequence[int]) -> list[tuple[int, int]]:
    """Runs of dark modules in a row: start and end."""
    edges = [i for i in range(len(line) + 1) if (i < len(line) and line[i] & 1) != (i > 0 and line[i - 1] & 1)]
    return list(zip(edges[::2], edges[1::2], strict=True))


def _fitted(canvas: Any, layout: Layout, box: Rectangle, text: str, font: str) -> None:
    """Text as large as a box allows, in its middle."""
    x, y, width, height = box
    by_width = width * mm / pdfmetrics.stringWidth(text, font, 1)
    cap = 0.73
    """Height of capitals and figures of the font, of its size."""
    size = min(by_width, height * mm / cap)
    canvas.setFont(font, size)
    base = layout.height - y - height / 2
    canvas.drawCentredString((x + width / 2) * mm, base * mm - cap * size / 2, text)
