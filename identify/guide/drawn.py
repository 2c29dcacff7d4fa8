"""One size as the guide shows it: its measures, and outline, rings and eye at life size."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from identify.geometry import Array
from identify.guide.sheet import MARGIN, Sheet, step
from identify.reference import Form, compare
from identify.reference.years import in_words

RING_MM, HANGER_MM = 3.5, 3.0
"""How large line ties (open) and hangers (filled) are drawn: their own sizes are not in a set."""
BESIDE_MM = 8.0
"""Between two drawings beside each other."""
NARROWEST_MM = 45.0
"""Column for the words over a drawing."""
TEXT, SMALL = 9.0, 8.0
KNOWN = {
    "marked": "marked pieces",
    "paper": "paper of the time",
    "told": "what somebody told",
    "collectors": "collectors",
    "tool": "this program's own answers only",
}
"""How a count is known, where that is not as its model is."""


def measures(form: Form, made: str | None = None, known_by: str | None = None) -> str:
    """What is known of a size, in words; but for the years and the proof that its model has too."""
    said = [f"{form.length_mm:.1f} ± {compare.length_tolerance(form):.1f} mm long"]
    said += [f"{form.depth_mm:.1f} mm deep"] if form.depth_mm else []
    said += [f"{form.thickness_mm:.1f} mm thick"] if form.thickness_mm else []
    said += [f"{form.weight_g:.1f} g"] if form.weight_g else []
    said += [f"made {in_words(form.made)}"] if form.made and form.made != made else []
    for what, rings in (("line tie", form.line_ties), ("hanger", form.hangers)):
        if rings is not None:
            how = f" (known by {KNOWN[rings.known_by]})" if rings.known_by not in (None, known_by) else ""
            said.append(f"{rings.count} {what}{'' if rings.count == 1 else 's'}{how}")
    return ", ".join(said)


def label(form: Form) -> str:
    return f"Size {form.size}" + (f", variant {form.variant}" if form.variant else "")


def draw_size(sheet: Sheet, form: Form, made: str | None, known_by: str | None) -> None:
    """One size at life size under its measures."""
    text = f"{label(form)}: {measures(form, made, known_by)}"
    if form.outline_mm is None:
        sheet.lines(f"{text}; no outline", TEXT)
        return
    k = shrink_of(form.length_mm + 8, sheet.inner)
    high = drawn_extent(form)[:, 1] / k
    sheet.room(high[1] - high[0] + 8)
    sheet.lines(text + too_long(k), TEXT)
    sheet.gap(1.5 + high[1])
    draw_form(sheet, form, MARGIN + 4, sheet.y, k)
    sheet.gap(-high[0] + 1.5)


def too_long(k: int) -> str:
    return f" (drawn at 1 : {k}, too long for the page)" if k > 1 else ""


def draw_pair(sheet: Sheet, one: Form, other: Form) -> None:
    """Two sizes, each with its name: side by side at life size where the paper is wide enough, else below each other;
    both to the same scale."""
    pair = (one, other)
    k = shrink_of(max((form.length_mm + 8 for form in pair if form.outline_mm is not None), default=1.0), sheet.inner)
    wide = [max(float(np.ptp(drawn_extent(form)[:, 0])) / k, NARROWEST_MM) for form in pair]
    slack = sheet.inner - BESIDE_MM - sum(wide)
    if slack >= 0 and all(form.outline_mm is not None for form in pair):
        _row(sheet, [(form, width + slack / 2) for form, width in zip(pair, wide, strict=True)], k)
    else:
        for form in pair:
            _row(sheet, [(form, sheet.inner)], k)


def _row(sheet: Sheet, cells: Sequence[tuple[Form, float]], k: int) -> None:
    """Forms beside each other, each in a column of its width, their axes level, names and measures above."""
    heads = []
    for form, width in cells:
        said = measures(form) + ("; no outline" if form.outline_mm is None else too_long(k))
        name = sheet.broken(f"{form.maker} / {form.model}, {label(form).lower()}", TEXT, width, bold=True)
        heads.append((name, sheet.broken(said, SMALL, width)))
    tall = max(step(TEXT) * len(name) + step(SMALL) * len(text) for name, text in heads) + 1.5
    boxes = [drawn_extent(form) / k for form, _ in cells]
    low, high = min(box[0, 1] for box in boxes), max(box[1, 1] for box in boxes)
    sheet.room(tall + high - low + 3)
    x = MARGIN
    for (form, width), (name, text), box in zip(cells, heads, boxes, strict=True):
        y = sheet.column(x, sheet.y, name, TEXT, bold=True)
        sheet.column(x, y, text, SMALL)
        if form.outline_mm is not None:
            draw_form(sheet, form, x - box[0, 0], sheet.y + tall + high, k)
        x += width + BESIDE_MM
    sheet.gap(tall + high - low + 3)


def shrink_of(length_mm: float, room_mm: float) -> int:
    """1 at life size; else the whole number by which a bait too long for the page is drawn smaller."""
    return max(1, int(np.ceil(length_mm / room_mm)))


def drawn_extent(form: Form) -> Array:
    """Lowest and highest x and y (2, 2) of what is drawn of a form, mm; zeros without an outline."""
    if form.outline_mm is None:
        return np.zeros((2, 2))
    points = [np.asarray(form.outline_mm, float)]
    for rings, diameter in ((form.line_ties, RING_MM), (form.hangers, HANGER_MM)):
        at = np.array((rings.at_mm if rings is not None else None) or (), float).reshape(-1, 2)
        points += [at - diameter / 2, at + diameter / 2]
    every = np.vstack(points)
    return np.array([every.min(0), every.max(0)])


def draw_form(sheet: Sheet, form: Form, x: float, y: float, shrink: int = 1) -> None:
    """Outline, rings and eye, the nose at (x, y) of the page."""
    sheet.closed(np.asarray(form.outline_mm, float) / shrink, x, y)
    for rings, diameter, filled in ((form.line_ties, RING_MM, False), (form.hangers, HANGER_MM, True)):
        for at in (rings.at_mm if rings is not None else None) or ():
            sheet.ring(x + at[0] / shrink, y - at[1] / shrink, diameter / shrink, filled)
    if form.eye is not None and form.eye.at_mm is not None:
        wide = form.eye.diameter_mm or 0.06 * form.length_mm
        sheet.ring(x + form.eye.at_mm[0] / shrink, y - form.eye.at_mm[1] / shrink, wide / shrink)
        sheet.ring(x + form.eye.at_mm[0] / shrink, y - form.eye.at_mm[1] / shrink, wide / 3 / shrink, True)
