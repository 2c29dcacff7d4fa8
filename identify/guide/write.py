"""The guide itself: a page to check the print by, a block for each model, and the look-alikes side by side."""

from __future__ import annotations

import datetime
import io
import os
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from identify import __version__
from identify.colour import hex_of
from identify.errors import BadOption, CannotWrite
from identify.geometry import Array
from identify.guide.sheet import MARGIN, Sheet
from identify.printing import PAPERS_MM, plain_font, printable
from identify.rank.lookalikes import Lookalikes, lookalikes
from identify.rank.prepared import Prepared, prepare
from identify.reference import Colourway, Form, Profile, ReferenceSet, compare
from identify.reference.provenance import citations
from identify.report.alike import alike_rows, best, full_name
from identify.report.rests import KNOWN
from identify.report.words import percent
from identify.settings import ID1_MM

CARD_RADIUS_MM = 3.18
"""ISO/IEC 7810: 2.88 to 3.48 mm."""
RING_MM, HANGER_MM = 3.5, 3.0
"""How large line ties (open) and hangers (filled) are drawn: their own sizes are not in a set."""
WORTH_SHOWING = 0.01
"""Share of baits that a fair photo confuses from which on a pair is in the guide; linked models are there anyway."""
SWATCH_COLUMN = 58.0


def write_guide(found: ReferenceSet, target: Path, paper: str = "a4", today: datetime.date | None = None) -> int:
    """Write a set's guide as PDF; returns its number of pages.  Raises BadOption for a paper that is not known or a set
    without models, CannotWrite."""
    if paper not in PAPERS_MM:
        raise BadOption(f"--paper {paper} is not known.", f"Use {' or '.join(PAPERS_MM)}.")
    if not found.profiles:
        raise BadOption(f"The set '{found.title}' has no models.", "Add some with `baitprint refs add`.")
    out = io.BytesIO()
    sheet = Sheet(out, paper, found.title)
    p = prepare(found.forms())
    pairs = [pair for pair in lookalikes(p) if _worth_showing(found, pair, p)]
    _first_page(sheet, found, today or datetime.date.today())
    for profile in found.profiles:
        _model(sheet, found, profile, _alike_names(profile, pairs, p))
    _lookalikes(sheet, found, pairs, p)
    sheet.close()
    aside = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        aside.write_bytes(out.getvalue())
        aside.replace(target)
    except OSError as why:
        aside.unlink(missing_ok=True)
        raise CannotWrite(f"{target} cannot be written: {why.strerror or why}.", "Choose another place.") from why
    return sheet.page


def _worth_showing(found: ReferenceSet, pair: Lookalikes, p: Prepared) -> bool:
    linked = compare.link((found,), p.forms[pair.one], p.forms[pair.other]) is not None
    return linked or pair.confused["fair"] >= WORTH_SHOWING


def _first_page(sheet: Sheet, found: ReferenceSet, today: datetime.date) -> None:
    sheet.gap(4)
    sheet.lines(found.title, 22, bold=True)
    sheet.gap(3)
    for text in (
        found.description,
        found.editor and f"Editor: {found.editor}",
        found.licence and f"Licence: {found.licence}",
    ):
        if text:
            sheet.lines(text, 10)
    sheet.lines(
        f"Printed {today.isoformat()} by baitprint {__version__} from the set {found.sha256[:12]}.", 9, quiet=True
    )
    sheet.gap(8)
    sheet.lines("Is it printed at life size?", 13, bold=True)
    sheet.lines(
        "Print at 100 %, without fitting to the page. A card of credit-card size must cover this outline exactly:", 10
    )
    sheet.gap(4)
    sheet.card(MARGIN, sheet.y, *ID1_MM, CARD_RADIUS_MM)
    sheet.text_at(MARGIN + 6, sheet.y + 8, f"{ID1_MM[0]:.2f} × {ID1_MM[1]:.2f} mm (ISO/IEC 7810 ID-1)", 9, quiet=True)
    sheet.gap(ID1_MM[1] + 8)
    sheet.lines("How to read it", 13, bold=True)
    for text in (
        "Outlines are drawn at life size, nose left, back up: lay the bait on them. Open rings are line ties, filled "
        "ones hangers; the circle on the head is the eye.",
        "± after a length says how far true pieces lie from it in two of three cases.",
        "Swatches show back above belly. Printers change colours: trust names, and a bait laid beside it, more.",
        "Look-alikes stand at the end with what tells them apart.",
    ):
        sheet.lines(text, 10)
    sheet.new_page()


def _alike_names(profile: Profile, pairs: Iterable[Lookalikes], p: Prepared) -> list[str]:
    names: dict[str, None] = {}
    for pair in pairs:
        for mine, other in ((pair.one, pair.other), (pair.other, pair.one)):
            form = p.forms[mine]
            if f"{form.maker} / {form.model}" == profile.name:
                names[full_name(p.forms[other])] = None
    return list(names)


def _model(sheet: Sheet, found: ReferenceSet, profile: Profile, alike: Sequence[str]) -> None:
    forms = [f for f in found.forms() if (f.maker, f.model) == (profile.data.maker, profile.data.model)]
    sheet.room(40 + (forms[0].depth_mm or 20))
    sheet.gap(3)
    sheet.rule()
    sheet.gap(2)
    sheet.lines(profile.name, 15, bold=True)
    data = profile.data
    facts = [
        f"made {data.made}" if data.made else None,
        f"also called {', '.join(data.also_called)}" if data.also_called else None,
        f"formerly under {'; '.join(data.formerly)}" if data.formerly else None,
        data.material,
        f"{data.parts} parts" if data.parts not in (None, 1) else None,
        f"lip: {data.lip}" if data.lip not in (None, "none") else None,
        f"line ties: {data.tie_kind}" if data.tie_kind else None,
    ]
    if line := "; ".join(fact for fact in facts if fact):
        sheet.lines(line[:1].upper() + line[1:] + ".", 9)
    known = forms[0].known_by
    if known is not None:
        sheet.lines(f"Known by {KNOWN[known]}.", 8, quiet=True)
    for form in forms:
        if form.variant is None or _differs(form, forms):
            _form(sheet, form)
    for dated in data.dated:
        sheet.lines(f"Dates it: {dated.part}, {dated.text}: {dated.made}.", 9)
    if data.notes:
        sheet.lines(data.notes, 9)
    if alike:
        sheet.lines(f"Looks like: {'; '.join(alike)}. See the end.", 9)
    _colourways(sheet, forms)
    for text in citations(found, profile.name):
        sheet.lines(f"Source {text}", 8, quiet=True)
    sheet.gap(3)


def _differs(form: Form, forms: Sequence[Form]) -> bool:
    """Whether a variant shows anything else than the form that it is a variant of."""
    plain = next((f for f in forms if f.size == form.size and f.variant is None), None)
    return plain is None or (form.outline_mm, form.line_ties, form.hangers, form.eye) != (
        plain.outline_mm, plain.line_ties, plain.hangers, plain.eye,
    )  # fmt: skip


def shrink_of(length_mm: float, room_mm: float) -> int:
    """1 at life size; else the whole number by which a bait too long for the page is drawn smaller."""
    return max(1, int(np.ceil(length_mm / room_mm)))


def _form(sheet: Sheet, form: Form) -> None:
    """One size at life size, with its measures."""
    scatter = f" ± {compare.length_tolerance(form):.1f}"
    label = f"Size {form.size}" + (f", variant {form.variant}" if form.variant else "")
    measures = [f"{form.length_mm:.1f}{scatter} mm long", f"{form.depth_mm:.1f} mm deep" if form.depth_mm else None]
    measures += [f"{form.thickness_mm:.1f} mm thick" if form.thickness_mm else None]
    measures += [f"{form.weight_g:.1f} g" if form.weight_g else None, f"made {form.made}" if form.made else None]
    for what, rings in (("line tie", form.line_ties), ("hanger", form.hangers)):
        if rings is not None:
            measures.append(f"{rings.count} {what}{'' if rings.count == 1 else 's'}")
    text = f"{label}: {', '.join(m for m in measures if m)}"
    if form.outline_mm is None:
        sheet.lines(f"{text}; no outline", 9)
        return
    k = shrink_of(form.length_mm + 8, sheet.inner)
    high = drawn_extent(form) / k
    sheet.room(high[1] - high[0] + 8)
    sheet.lines(text + (f" (drawn at 1 : {k}, too long for the page)" if k > 1 else ""), 9)
    sheet.gap(1.5 + high[1])
    draw_form(sheet, form, MARGIN + 4, sheet.y, k)
    sheet.gap(-high[0] + 1.5)


def drawn_extent(form: Form) -> Array:
    """Lowest and highest y (2,) of what is drawn of a form, mm."""
    y = [point[1] for point in form.outline_mm or ()]
    for rings in (form.line_ties, form.hangers):
        for _, at in (rings.at_mm if rings is not None else None) or ():
            y += [at - RING_MM / 2, at + RING_MM / 2]
    return np.array([min(y), max(y)])


def draw_form(sheet: Sheet, form: Form, x: float, y: float, shrink: int = 1, fill: bool = True) -> None:
    """Outline, rings and eye, the nose at (x, y) of the page."""
    sheet.closed(np.asarray(form.outline_mm, float) / shrink, x, y, fill)
    for rings, diameter, filled in ((form.line_ties, RING_MM, False), (form.hangers, HANGER_MM, True)):
        for at in (rings.at_mm if rings is not None else None) or ():
            sheet.ring(x + at[0] / shrink, y - at[1] / shrink, diameter / shrink, filled)
    if form.eye is not None and form.eye.at_mm is not None:
        wide = form.eye.diameter_mm or 0.06 * form.length_mm
        sheet.ring(x + form.eye.at_mm[0] / shrink, y - form.eye.at_mm[1] / shrink, wide / shrink)
        sheet.ring(x + form.eye.at_mm[0] / shrink, y - form.eye.at_mm[1] / shrink, wide / 3 / shrink, True)


def _colourways(sheet: Sheet, forms: Sequence[Form]) -> None:
    listed: dict[str, Colourway] = {c.code: c for form in forms for c in form.colourways}
    columns = max(1, int(sheet.inner // SWATCH_COLUMN))
    items = list(listed.values())
    for start in range(0, len(items), columns):
        sheet.room(12)
        for k, colourway in enumerate(items[start : start + columns]):
            x = MARGIN + k * SWATCH_COLUMN
            labs = [colourway.back_lab, *(z.lab for z in colourway.zones), colourway.belly_lab]
            sheet.swatch(x, sheet.y + 1.5, [hex_of(lab) for lab in labs if lab is not None])
            sheet.text_at(x + 14, sheet.y + 4.5, _cut(sheet, f"{colourway.code}  {colourway.name}", 7.5), 7.5)
            more = ", ".join(filter(None, (colourway.pattern, colourway.finish, colourway.made)))
            sheet.text_at(x + 14, sheet.y + 8.5, _cut(sheet, more, 7), 7, quiet=True)
        sheet.gap(11)


def _cut(sheet: Sheet, text: str, size: float) -> str:
    """A text that fits beside its swatch."""
    room = (SWATCH_COLUMN - 15) * 72 / 25.4
    shown = printable(text)
    if sheet.canvas.stringWidth(shown, plain_font(), size) <= room:
        return shown
    while shown and sheet.canvas.stringWidth(f"{shown}…", plain_font(), size) > room:
        shown = shown[:-1]
    return f"{shown}…"


def _lookalikes(sheet: Sheet, found: ReferenceSet, pairs: Sequence[Lookalikes], p: Prepared) -> None:
    if not pairs:
        return
    sheet.new_page()
    sheet.lines("Look-alikes, and how to tell them", 16, bold=True)
    sheet.gap(2)
    for pair, row in zip(pairs, alike_rows(pairs, p, (found,)), strict=True):
        one, other = p.forms[pair.one], p.forms[pair.other]
        tall = sum(float(np.ptp(drawn_extent(f))) for f in (one, other) if f.outline_mm is not None)
        sheet.room(min(tall + 40, sheet.height / 2))
        sheet.gap(2)
        sheet.rule()
        sheet.gap(2)
        sheet.lines(f"{row.one} and {row.other}", 11, bold=True)
        sheet.lines(f"A fair photo takes one for the other in {percent(row.fair)} of baits; best tells {best(row)}.", 9)
        if row.linked is not None:
            sheet.lines(compare.linked_words(row.linked, one, other), 9)
        for text in row.look_at:
            sheet.lines(f"– {text}", 9, indent=2)
        if not row.look_at:
            sheet.lines("The set knows of nothing else to look at by hand.", 9)
        for form in (one, other):
            _form(sheet, form)
