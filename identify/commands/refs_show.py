"""Reference sets listed, shown, chosen and checked: what `refs list`, `show`, `use` and `lint` do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from identify.answer import read_sets
from identify.commands.chosen import choose_refs, chosen_refs, gone
from identify.commands.console import DONE, PARTLY, USAGE, complain, console, counted, put_line
from identify.errors import BadOption, SetMissing
from identify.rank.remarks import lookalike_remarks
from identify.reference import LintReport, ReferenceSet, lint, read
from identify.reference.faults import as_document
from identify.reference.find import find
from identify.reference.provenance import citations, piece_rows
from identify.reference.rows import ModelRow, SetRow, model_rows, set_row, set_rows
from identify.serialise import document, dumps, to_json


def list_sets(folder: str | None, as_json: bool) -> int:
    """The command `refs list`; returns its exit code."""
    rows = list(set_rows(Path(folder or ".")))
    chosen = chosen_refs()
    here = {Path(row.path).resolve() for row in rows}
    if folder is None:
        for other in (Path(c) for c in chosen):
            if other.resolve() not in here:
                try:
                    rows.append(set_row(other))
                except SetMissing:
                    rows.append(SetRow(str(other), None, None, None, None, None, gone(str(other)).message))
    resolved = {Path(c).resolve() for c in chosen}
    marked = [Path(row.path).resolve() in resolved for row in rows]
    if as_json:
        found: dict[str, Any] = document("sets", tuple(rows))
        for row, is_chosen in zip(found["rows"], marked, strict=True):
            row["chosen"] = is_chosen
        put_line(dumps(found))
        return 0
    out = console()
    if not rows:
        out.print("There are no reference sets here. Name the folder that holds them.")
        return 0
    table = table_of("", "Title", "Models", "Sizes", "Colourways", "Folder")
    for row, is_chosen in zip(rows, marked, strict=True):
        counts = [_text(n) for n in (row.models, row.sizes, row.colourways)]
        table.add_row("chosen" if is_chosen else "", row.title or "cannot be used", *counts, row.path)
    out.print(table)
    for row in rows:
        if row.fault:
            out.print(row.fault)
    return 0


def show_set(folder: str, model: str | None, as_json: bool) -> int:
    """The command `refs show`; returns its exit code."""
    found = read(Path(folder))
    rows = model_rows(found, model)
    if as_json:
        pieces = piece_rows(found, model) if model is not None else ()
        more = {"title": found.title, "sha256": found.sha256, "pieces": to_json(pieces, "pieces")}
        put_line(dumps({**document("models", rows), **more}))
        return 0
    out = console()
    out.print(f"{found.title} ({counted(len(found.profiles), 'model')})", style="bold")
    if model is None and found.description:
        out.print(found.description)
    table = table_of("Maker / Model", "Size", "Length", "Depth", "Ties", "Hangers", "Lip", "Made", "Known by")
    for r in rows:
        size = " ".join(filter(None, (r.size, r.variant)))
        table.add_row(
            f"{r.maker} / {r.model}", size, _mm(r.length_mm), _mm(r.depth_mm), _text(r.line_ties), _text(r.hangers),
            _text(r.lip), _text(r.made), _text(r.known_by),
        )  # fmt: skip
    out.print(table)
    if model is not None:
        _colours(out, rows)
        _rests(out, found, model)
    return 0


def _colours(out: Console, rows: Sequence[ModelRow]) -> None:
    """The colourways of a model, or of each model of a maker."""
    listed = {(r.model, c.code): c for r in rows for c in r.colourways}
    several = len({r.model for r in rows}) > 1
    colours = table_of(
        *(("Model",) if several else ()), "Colourway", "Name", "Back (Lab)", "Belly (Lab)", "Pattern", "Finish"
    )
    for (model, code), c in listed.items():
        cells = (code, c.name, _lab(c.back_lab), _lab(c.belly_lab), _text(c.pattern), _text(c.finish))
        colours.add_row(*((model,) if several else ()), *cells)
    out.print()
    out.print(colours if listed else "No colourways are listed.")


def _rests(out: Console, found: ReferenceSet, model: str) -> None:
    """What the profile was learned from, and its sources."""
    pieces = piece_rows(found, model)
    cited = citations(found, model)
    out.print()
    if not pieces and not cited:
        out.print("It names no sources, and was not learned from photos.")
    if pieces:
        table = table_of("Piece", "Size", "Photo", "Hash", "Taken", "Added", "By", "Known by", "Version")
        for r in pieces:
            size = " ".join(filter(None, (r.size, r.variant)))
            table.add_row(
                r.piece, size, r.photo, r.sha256[:8], _text(r.taken), r.added, _text(r.contributor), _text(r.known_by),
                r.version,
            )  # fmt: skip
        out.print(table)
        if all(r.known_by == "tool" for r in pieces):
            out.print("All of them were named by this program only: no independent proof.")
    for citation in cited:
        out.print(f"source {citation}", soft_wrap=True)


def find_mention(folder: str, text: str, as_json: bool) -> int:
    """The command `refs find`; returns its exit code."""
    rows = find(read(Path(folder)), text)
    if as_json:
        put_line(dumps(document("found", rows)))
        return 0
    out = console()
    if not rows:
        out.print(f"Nothing in the set is called anything like '{text}'.")
        return 0
    table = table_of("Score", "Maker / Model", "Size", "Colourway", "Where it matched")
    for r in rows:
        where = "; ".join(f"{m.where} '{m.text}'" for m in r.matched)
        table.add_row(f"{r.score:.0f}", f"{r.maker} / {r.model}", _text(r.size), _text(r.colourway_name), where)
    out.print(table)
    return 0


def use_set(folder: Sequence[str] | None, none: bool) -> int:
    """The command `refs use`; returns its exit code."""
    if bool(folder) == none:
        raise BadOption("Which set?", "Name a set's folder, or say --none to choose no set any more.")
    references = read_sets(folder or ())
    choose_refs(tuple(folder or ()))
    titles = ", ".join(one.title for one in references.sets)
    put_line(
        f"From now on identify asks: {titles}." if folder else "From now on no set is asked unless named by --refs."
    )
    return 0


def _linted(folder: str) -> LintReport:
    """What lint finds, and what the ranking remarks on a set without faults."""
    report = lint(folder)
    return (
        report if report.errors else replace(report, remarks=(*report.remarks, *lookalike_remarks(read(Path(folder)))))
    )


def lint_sets(folders: Sequence[str], as_json: bool) -> int:
    """The command `refs lint`; returns its exit code."""
    reports: list[LintReport] = []
    for folder in folders:
        try:
            reports.append(_linted(folder))
        except SetMissing as why:
            complain(why.message)
    if not reports:
        return USAGE
    code = PARTLY if len(reports) < len(folders) or any(report.errors for report in reports) else DONE
    if as_json:
        put_line(dumps(dict(as_document(reports))))
        return code
    out = console()
    for report in reports:
        for kind, faults in (("error", report.errors), ("remark", report.remarks)):
            for fault in faults:
                out.print(f"{kind} in {fault.where}: {fault.text} [{fault.code}]", soft_wrap=True)
                out.print(f"    {fault.fix}", soft_wrap=True)
        counts = f"{counted(len(report.errors), 'error')}, {counted(len(report.remarks), 'remark')}"
        out.print(f"{report.folder}: {counts}", soft_wrap=True)
    return code


def table_of(*heads: str) -> Table:
    """A plain table with these heads."""
    table = Table(*heads, box=None, padding=(0, 1), pad_edge=False)
    for column in table.columns:
        column.no_wrap = column.header in ("Size", "Length", "Depth", "Made", "Known by")
    return table


def _text(value: object) -> str:
    return "–" if value is None else str(value)


def _mm(value: float | None) -> str:
    return "–" if value is None else f"{value:.1f} mm"


def _lab(lab: tuple[float, float, float] | None) -> str:
    return "–" if lab is None else ", ".join(f"{v:.0f}" for v in lab)
