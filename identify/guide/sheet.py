"""Pages that fill from the top, in millimetres, with what every page carries: a bar to check the print's scale by, and
of what the page before has begun the name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from reportlab.lib.colors import HexColor
from reportlab.lib.units import mm
from reportlab.lib.utils import simpleSplit
from reportlab.pdfgen.canvas import Canvas

from identify.geometry import Array
from identify.guide.letters import shown
from identify.printing import NARROWEST_MARGIN_MM, PAPERS_MM, bold_font, plain_font

MARGIN = max(15.0, NARROWEST_MARGIN_MM)
FOOT = 14.0
"""Kept free at the bottom for bar and page number."""
BAR = 50.0
INK, QUIET, BODY, LINE = HexColor("#101316"), HexColor("#59636b"), HexColor("#f4f1e8"), HexColor("#c9cfd4")
PT = 25.4 / 72


def step(size: float) -> float:
    """From one line of text to the next, mm."""
    return 1.3 * size * PT


class Sheet:
    """A document and the place on its page where the next thing goes, counted in mm from the page's top."""

    def __init__(self, target: Any, paper: str, title: str) -> None:
        self.width, self.height = PAPERS_MM[paper]
        self.canvas = Canvas(target, (self.width * mm, self.height * mm), invariant=1)
        self.canvas.setTitle(title)
        self.canvas.setCreator("baitprint")
        self.title, self.page, self.y = title, 0, 0.0
        self.under = ""
        """What the text belongs to: its name stands at the top of every page that goes on with it."""
        self._begin()

    @property
    def inner(self) -> float:
        """Width between the margins."""
        return self.width - 2 * MARGIN

    def _begin(self) -> None:
        self.page += 1
        self.y = MARGIN

    def _end(self) -> None:
        base = self.height - MARGIN + 3
        self.bar(MARGIN, base)
        check = "50 mm: must measure so on paper"
        self.text_at(MARGIN + BAR + 4, base + 1, check, 7, quiet=True)
        number = f" · {self.page}"
        room = self.inner - BAR - 4 - self.width_of(check, 7) - 6 - self.width_of(number, 8)
        right = self.cut(self.title, 8, room) + number
        self.text_at(self.width - MARGIN - self.width_of(right, 8), base + 1, right, 8, quiet=True)
        self.canvas.showPage()

    def new_page(self) -> None:
        self._end()
        self._begin()

    def room(self, height: float) -> None:
        """Go to a new page if less than this is left."""
        if self.y + height > self.height - MARGIN - FOOT and self.y > MARGIN:
            self.new_page()
            if self.under:
                name = self.cut(self.under, 9, self.inner - self.width_of(", continued", 9), bold=True)
                self.y += 4
                self.text_at(MARGIN, self.y - 1, f"{name}, continued", 9, bold=True, quiet=True)
                self.y += 2

    def width_of(self, text: str, size: float, bold: bool = False) -> float:
        """Width in mm of a line of text."""
        return float(self.canvas.stringWidth(shown(text), bold_font() if bold else plain_font(), size)) * PT

    def cut(self, text: str, size: float, room: float, bold: bool = False) -> str:
        """A text, or so much of it as fits in a line of this width in mm."""
        if self.width_of(text, size, bold) <= room:
            return text
        while text and self.width_of(f"{text.rstrip()}…", size, bold) > room:
            text = text[:-1]
        return f"{text.rstrip()}…"

    def broken(self, text: str, size: float, room: float, bold: bool = False) -> list[str]:
        """A text in lines of this width in mm; words that are wider are broken too."""
        out = []
        for line in simpleSplit(shown(text), bold_font() if bold else plain_font(), size, room * mm):
            while len(line) > 1 and self.width_of(line, size, bold) > room:
                fits = len(line) - 1
                while fits > 1 and self.width_of(line[:fits], size, bold) > room:
                    fits -= 1
                out.append(line[:fits])
                line = line[fits:]
            out.append(line)
        return out

    def close(self) -> None:
        self._end()
        self.canvas.save()

    def _up(self, y: float) -> float:
        return float((self.height - y) * mm)

    def text_at(self, x: float, y: float, text: str, size: float, bold: bool = False, quiet: bool = False) -> None:
        """One line whose base lies at y."""
        self.canvas.setFillColor(QUIET if quiet else INK)
        self.canvas.setFont(bold_font() if bold else plain_font(), size)
        self.canvas.drawString(x * mm, self._up(y), shown(text))

    def lines(self, text: str, size: float = 9, bold: bool = False, quiet: bool = False, indent: float = 0.0) -> None:
        """Text in as many lines as it takes, and on."""
        for line in self.broken(text, size, self.inner - indent, bold):
            self.room(step(size))
            self.y += step(size)
            self.text_at(MARGIN + indent, self.y - 0.25 * step(size), line, size, bold, quiet)

    def column(
        self, x: float, y: float, lines: Sequence[str], size: float, bold: bool = False, quiet: bool = False
    ) -> float:
        """Lines below each other from (x, y) on; returns where they end."""
        for line in lines:
            y += step(size)
            self.text_at(x, y - 0.25 * step(size), line, size, bold, quiet)
        return y

    def gap(self, height: float) -> None:
        self.y += height

    def rule(self) -> None:
        self.canvas.setStrokeColor(LINE)
        self.canvas.setLineWidth(0.8)
        self.canvas.line(MARGIN * mm, self._up(self.y), (self.width - MARGIN) * mm, self._up(self.y))

    def bar(self, x: float, y: float, length: float = BAR) -> None:
        """A scale bar from x to the right, its line at y, ends marked."""
        self.canvas.setStrokeColor(INK)
        self.canvas.setLineWidth(0.5)
        self.canvas.setLineCap(0)
        self.canvas.line(x * mm, self._up(y), (x + length) * mm, self._up(y))
        for end in (x, x + length):
            self.canvas.line(end * mm, self._up(y - 1.2), end * mm, self._up(y + 1.2))

    def closed(self, points: Array, x: float, y: float, fill: bool = True, dashed: bool = False) -> None:
        """A closed line through points (n, 2) in mm, y up, whose origin lies at (x, y) of the page."""
        path = self.canvas.beginPath()
        path.moveTo((x + points[0, 0]) * mm, self._up(y - points[0, 1]))
        for px, py in points[1:]:
            path.lineTo((x + px) * mm, self._up(y - py))
        path.close()
        self.canvas.setLineWidth(0.25 * mm)
        self.canvas.setStrokeColor(INK)
        self.canvas.setFillColor(BODY)
        self.canvas.setDash([4, 2] if dashed else [])
        self.canvas.drawPath(path, stroke=1, fill=1 if fill else 0)
        self.canvas.setDash([])

    def ring(self, x: float, y: float, diameter: float, filled: bool = False) -> None:
        self.canvas.setLineWidth(0.35 * mm)
        self.canvas.setStrokeColor(INK)
        self.canvas.setFillColor(INK)
        self.canvas.circle(x * mm, self._up(y), diameter / 2 * mm, stroke=1, fill=1 if filled else 0)

    def card(self, x: float, y: float, width: float, height: float, radius: float) -> None:
        """A card's outline, its top left corner at (x, y)."""
        self.canvas.setLineWidth(0.25 * mm)
        self.canvas.setStrokeColor(INK)
        self.canvas.roundRect(x * mm, self._up(y + height), width * mm, height * mm, radius * mm, stroke=1, fill=0)

    def swatch(self, x: float, y: float, colours: Sequence[str], width: float, height: float) -> None:
        """Colours from top to bottom in one box, its top left corner at (x, y)."""
        each = height / max(1, len(colours))
        for k, colour in enumerate(colours):
            self.canvas.setFillColor(HexColor(colour))
            self.canvas.rect(x * mm, self._up(y + (k + 1) * each), width * mm, each * mm, stroke=0, fill=1)
        self.canvas.setLineWidth(0.3)
        self.canvas.setStrokeColor(INK)
        self.canvas.rect(x * mm, self._up(y + height), width * mm, height * mm, stroke=1, fill=0)
