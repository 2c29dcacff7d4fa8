"""A spreadsheet of known photos: CSV as spreadsheets export it, into wishes to learn from.

UTF-8 with or without a byte order mark, comma, semicolon or tab between the columns (RFC 4180 for the rest), decimal
point or comma.  Photos are looked for beside the file.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

from identify.errors import BadOption
from identify.reference.enrol import Wish
from identify.reference.told import facts_of, name_of

REQUIRED = ("photo", "maker", "model", "size")
COLUMNS = (*REQUIRED, "variant", "colourway", "name", "made", "ties", "known_by", "piece", "length_mm", "depth_mm")
LARGEST = 50_000_000


@dataclass(frozen=True)
class BadRow:
    """A row that cannot be used: its line in the file, and why."""

    line: int
    text: str


def read_table(path: Path, contributor: str | None) -> tuple[list[Wish], list[BadRow]]:
    """The wishes of a table, and the rows that make none.  Raises BadOption for a file that is no such table."""
    rows = csv.reader(io.StringIO(_text(path), newline=""), delimiter=_delimiter(path))
    try:
        heads = [head.strip().casefold().replace(" ", "_") for head in next(rows, [])]
        missing = [name for name in REQUIRED if name not in heads]
        if missing:
            raise BadOption(
                f"{path} has no column {', '.join(missing)}.",
                f"Its first line must name the columns: {', '.join(COLUMNS)} (the first four are required).",
            )
        wishes: list[Wish] = []
        bad: list[BadRow] = []
        for row in rows:
            if not any(cell.strip() for cell in row):
                continue
            cells = {head: cell.strip() for head, cell in zip(heads, row, strict=False) if head in COLUMNS}
            try:
                if len(row) > len(heads):
                    raise BadOption(f"The row has {len(row)} cells, but there are {len(heads)} columns.")
                wishes.append(_wish(path.parent, cells, contributor, rows.line_num))
            except BadOption as why:
                bad.append(BadRow(rows.line_num, why.message))
    except csv.Error as why:
        raise BadOption(f"{path} line {rows.line_num} is not CSV: {why}.", "Export the table again as CSV.") from why
    return wishes, bad


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST:
            raise BadOption(f"{path} is too large for a table of photos.", "Is it the right file?")
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as why:
        raise BadOption(f"{path} is not in UTF-8.", "Export it as CSV with the encoding UTF-8.") from why
    except OSError as why:
        raise BadOption(f"{path} cannot be opened: {why.strerror or why}.", "Name a CSV file.") from why


def _delimiter(path: Path) -> str:
    head = _text(path).partition("\n")[0]
    return max(",;\t", key=head.count)


def _wish(folder: Path, cells: dict[str, str], contributor: str | None, line: int) -> Wish:
    for name in REQUIRED:
        if not cells.get(name):
            raise BadOption(f"The column {name} is empty.")
    told = {name: cells[name] for name in COLUMNS if name not in (*REQUIRED[:3], "piece") and cells.get(name)}
    return Wish(
        photo=folder / cells["photo"],
        maker=name_of("maker", cells["maker"]),
        model=name_of("model", cells["model"]),
        facts=facts_of(told),
        piece=name_of("piece", cells["piece"]) if cells.get("piece") else None,
        contributor=contributor,
        row=line,
    )
