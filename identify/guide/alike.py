"""The guide's last part: look-alikes side by side, and how to tell them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from identify.guide.drawn import draw_pair, drawn_extent
from identify.guide.sheet import Sheet
from identify.rank.lookalikes import Lookalikes
from identify.rank.prepared import Prepared
from identify.reference import ReferenceSet, compare
from identify.report.alike import alike_rows, best
from identify.report.words import percent


def draw_lookalikes(sheet: Sheet, found: ReferenceSet, pairs: Sequence[Lookalikes], p: Prepared) -> None:
    if not pairs:
        return
    sheet.under = ""
    sheet.new_page()
    sheet.lines("Look-alikes, and how to tell them", 16, bold=True)
    sheet.gap(2)
    for pair, row in zip(pairs, alike_rows(pairs, p, (found,)), strict=True):
        one, other = p.forms[pair.one], p.forms[pair.other]
        name = f"{row.one} and {row.other}"
        deep = max(float(np.ptp(drawn_extent(form)[:, 1])) for form in (one, other))
        sheet.under = ""
        sheet.room(min(deep + 50, sheet.height / 2))
        sheet.gap(2)
        sheet.rule()
        sheet.gap(2)
        sheet.lines(name, 11, bold=True)
        sheet.under = name
        sheet.lines(f"A fair photo takes one for the other in {percent(row.fair)} of baits; best tells {best(row)}.", 9)
        if row.linked is not None:  # what can be looked at is said there
            sheet.lines(compare.linked_words(row.linked, one, other), 9)
        else:
            for text in row.look_at or ("nothing that the set knows of: look at the drawings",):
                sheet.lines(f"– {text}", 9, indent=2)
        sheet.gap(1)
        draw_pair(sheet, one, other)
