"""`baitprint refs lookalikes`, and the remarks on look-alikes that `refs lint` adds."""

from __future__ import annotations

from pathlib import Path

from identify.commands.console import console, put_line
from identify.commands.refs_show import table_of
from identify.rank import prepare
from identify.rank.lookalikes import lookalikes
from identify.reference import ReferenceSet, compare, read
from identify.report import alike
from identify.report.words import percent
from identify.serialise import document, dumps


def show_lookalikes(folder: str, out_dir: str | None, as_json: bool) -> int:
    """The command `refs lookalikes`; returns its exit code."""
    found = read(Path(folder))
    p = prepare(found.forms())
    pairs = lookalikes(p) if p.forms else ()
    rows = alike.alike_rows(pairs, p, (found,))
    page = alike.write_pages(Path(out_dir), pairs, p, (found,)) if out_dir is not None else None
    if as_json:
        put_line(dumps(document("lookalikes", rows)))
        return 0
    out = console()
    if not rows:
        out.print("No two models or sizes of the set would be taken for one another.")
    else:
        table = table_of("Taken for one another", "Good", "Fair", "Poor photo", "Tells best", "To look at")
        table.columns[0].no_wrap = True
        for row in rows:
            shares = (percent(share) for share in (row.good, row.fair, row.poor))
            table.add_row(f"{row.one}\n{row.other}", *shares, alike.tells(row), "; ".join(row.look_at) or "–")
        out.print(table)
        _linked(found, rows)
    if page is not None:
        put_line(f"Pictures: {page}")
    return 0


def _linked(found: ReferenceSet, rows: tuple[alike.AlikeRow, ...]) -> None:
    forms = {alike.full_name(form): form for form in found.forms()}
    for row in rows:
        if row.linked is not None:
            console().print(compare.linked_words(row.linked, forms[row.one], forms[row.other]))
