"""A spreadsheet of known photos: CSV as spreadsheets export it, into wishes to learn from.

UTF-8 with or without a byte order mark, comma, semicolon or tab between the columns (RFC 4180 for the rest), decimal
point or comma.  Photos are looked for beside the file.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from identify.errors import BadOption
from identify.reference.enrol import Wish
from identify.reference.told import facts_of, name_of

REQUIRED = ("photo", "maker", "model", "size")
COLUMNS = (*REQUIRED, "variant", "colourway", "name", "made", "ties", "known_by", "piece", "length_mm", "depth_mm")
LARGEST = 50_000_000
SLIP = 0.85
"""How much alike (difflib's ratio) the name of a column and a misspelt one are."""


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
        _columns(path, heads)
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
    if not wishes and not bad:
        raise BadOption(f"{path} names no photo.", "Write a row for each photo below the names of the columns.")
    return wishes, bad


def _columns(path: Path, heads: Sequence[str]) -> None:
    """Other columns are the user's own, but one called nearly as one of ours is a slip that would cost facts."""
    named = f"Its first line must name the columns: {', '.join(COLUMNS)} (the first four are required)."
    if not any(heads):
        raise BadOption(f"{path} begins with an empty line." if _text(path).strip() else f"{path} is empty.", named)
    if twice := sorted({head for head in heads if head in COLUMNS and heads.count(head) > 1}):
        raise BadOption(f"{path} has the column {twice[0]} twice.", "Rename or remove one of them.")
    for head in heads:
        left = [name for name in COLUMNS if name not in heads]
        near = [name for name in left if name.startswith(f"{head}_")] or get_close_matches(head, left, 1, SLIP)
        if head and head not in COLUMNS and near:
            raise BadOption(f"{path} has a column '{head}'. Is it meant to be {near[0]}?", "Rename it.")
    if missing := [name for name in REQUIRED if name not in heads]:
        raise BadOption(f"{path} has no column {', '.join(missing)}.", named)


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
