"""The guide itself: a page to check the print by, a block for each model, and the look-alikes side by side."""

from __future__ import annotations

import datetime
import io
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from identify import __version__
from identify.errors import BadOption, CannotWrite
from identify.guide.alike import draw_lookalikes
from identify.guide.colours import draw_colourways
from identify.guide.drawn import draw_size
from identify.guide.letters import LEFT_OUT, lacking
from identify.guide.sheet import MARGIN, Sheet
from identify.printing import PAPERS_MM
from identify.rank.lookalikes import Lookalikes, lookalikes
from identify.rank.prepared import Prepared, prepare
from identify.reference import Form, Profile, ReferenceSet, compare
from identify.reference.provenance import citations
from identify.reference.years import in_words
from identify.report.alike import full_name
from identify.report.rests import KNOWN
from identify.settings import ID1_MM

CARD_RADIUS_MM = 3.18
"""ISO/IEC 7810: 2.88 to 3.48 mm."""
WORTH_SHOWING = 0.01
"""Share of baits that a fair photo confuses from which on a pair is in the guide; linked models are there anyway."""


@dataclass(frozen=True)
class Written:
    """A guide's number of pages, and the set's texts that could not be printed whole."""

    pages: int
    lacking: tuple[str, ...]


def write_guide(found: ReferenceSet, target: Path, paper: str = "a4", today: datetime.date | None = None) -> Written:
    """Write a set's guide as PDF.  Raises BadOption for a paper that is not known or a set without models,
    CannotWrite."""
    if paper not in PAPERS_MM:
        raise BadOption(f"--paper {paper} is not known.", f"Use {' or '.join(PAPERS_MM)}.")
    if not found.profiles:
        raise BadOption(f"The set '{found.title}' has no models.", "Add some with `baitprint refs add`.")
    out = io.BytesIO()
    sheet = Sheet(out, paper, found.title)
    p = prepare(found.forms())
    pairs = [pair for pair in lookalikes(p) if _worth_showing(found, pair, p)]
    left_out = tuple(lacking(found))
    _first_page(sheet, found, today or datetime.date.today(), bool(left_out))
    for profile in found.profiles:
        _model(sheet, found, profile, _alike_names(profile, pairs, p))
    draw_lookalikes(sheet, found, pairs, p)
    sheet.close()
    aside = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        aside.write_bytes(out.getvalue())
        aside.replace(target)
    except OSError as why:
        aside.unlink(missing_ok=True)
        raise CannotWrite(f"{target} cannot be written: {why.strerror or why}.", "Choose another place.") from why
    return Written(sheet.page, left_out)


def _worth_showing(found: ReferenceSet, pair: Lookalikes, p: Prepared) -> bool:
    linked = compare.link((found,), p.forms[pair.one], p.forms[pair.other]) is not None
    return linked or pair.confused["fair"] >= WORTH_SHOWING


def _first_page(sheet: Sheet, found: ReferenceSet, today: datetime.date, left_out: bool) -> None:
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
        f"{LEFT_OUT} stands for letters that the guide's font does not have: the set's files have them." * left_out,
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
    sheet.under = ""
    sheet.room(40 + (forms[0].depth_mm or 20))
    sheet.gap(3)
    sheet.rule()
    sheet.gap(2)
    sheet.lines(profile.name, 15, bold=True)
    sheet.under = profile.name
    data = profile.data
    facts = [
        f"made {in_words(data.made)}" if data.made else None,
        f"also called {', '.join(data.also_called)}" if data.also_called else None,
        f"formerly under {'; '.join(data.formerly)}" if data.formerly else None,
        data.material,
        f"{data.parts} parts" if data.parts not in (None, 1) else None,
        f"lip: {data.lip}" if data.lip not in (None, "none") else None,
        f"line ties: {data.tie_kind}" if data.tie_kind else None,
    ]
    if line := "; ".join(fact for fact in facts if fact):
        sheet.lines(line[:1].upper() + line[1:] + ".", 9)
    if data.known_by is not None:
        sheet.lines(f"Known by {KNOWN[data.known_by]}.", 8, quiet=True)
    for form in forms:
        if form.variant is None or _differs(form, forms):
            draw_size(sheet, form, data.made, data.known_by)
    for dated in data.dated:
        sheet.lines(f"Dates it: {dated.part}, {dated.text}: {in_words(dated.made)}.", 9)
    if data.notes:
        sheet.lines(data.notes, 9)
    if alike:
        sheet.lines(f"Looks like: {'; '.join(alike)}. See the end.", 9)
    draw_colourways(sheet, forms)
    for text in citations(found, profile.name):
        sheet.lines(f"Source {text}", 8, quiet=True)
    sheet.gap(3)


def _differs(form: Form, forms: Sequence[Form]) -> bool:
    """Whether a variant shows anything else than the form that it is a variant of."""
    plain = next((f for f in forms if f.size == form.size and f.variant is None), None)
    return plain is None or (form.outline_mm, form.line_ties, form.hangers, form.eye) != (
        plain.outline_mm, plain.line_ties, plain.hangers, plain.eye,
    )  # fmt: skip
