"""A model's colourways: swatches in rows, each with its name beside it, in as many lines as that takes."""

from __future__ import annotations

from collections.abc import Sequence

from identify.colour import hex_of
from identify.guide.sheet import MARGIN, Sheet, step
from identify.reference import Colourway, Form
from identify.reference.years import in_words

COLUMN = 58.0
BOX, HIGH = 12.0, 8.0
"""A swatch."""
NAME, MORE = 7.5, 7.0


def draw_colourways(sheet: Sheet, forms: Sequence[Form]) -> None:
    listed: dict[str, Colourway] = {c.code: c for form in forms for c in form.colourways}
    columns = max(1, int(sheet.inner // COLUMN))
    items = list(listed.values())
    for start in range(0, len(items), columns):
        row = [(colourway, *_words(sheet, colourway)) for colourway in items[start : start + columns]]
        tall = max(HIGH, *(step(NAME) * len(name) + step(MORE) * len(more) for _, name, more in row)) + 3
        sheet.room(tall)
        for k, (colourway, name, more) in enumerate(row):
            x = MARGIN + k * COLUMN
            labs = [colourway.back_lab, *(z.lab for z in colourway.zones), colourway.belly_lab]
            sheet.swatch(x, sheet.y + 1.5, [hex_of(lab) for lab in labs if lab is not None], BOX, HIGH)
            y = sheet.column(x + BOX + 2, sheet.y + 1.5, name, NAME)
            sheet.column(x + BOX + 2, y, more, MORE, quiet=True)
        sheet.gap(tall)


def _words(sheet: Sheet, colourway: Colourway) -> tuple[list[str], list[str]]:
    """Code and name, and what else is known, in lines that fit beside a swatch."""
    room = COLUMN - BOX - 4
    made = in_words(colourway.made) if colourway.made else None
    more = ", ".join(filter(None, (colourway.pattern, colourway.finish, made)))
    return sheet.broken(f"{colourway.code}  {colourway.name}", NAME, room), sheet.broken(more, MORE, room)
