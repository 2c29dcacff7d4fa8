"""What is wrong with a reference set, each fault with its place and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypedDict

CODES: dict[str, str] = {
    # files
    "set-toml-missing": "The folder has no set.toml, so it is no reference set.",
    "file-unreadable": "A file cannot be opened.",
    "file-too-large": "A file is far larger than a reference set's files are.",
    "file-misplaced": "A TOML file lies where no model file is looked for.",
    "file-unused": "A file belongs to no model.",
    "not-utf8": "A file is not in UTF-8.",
    "has-bom": "A file begins with a byte order mark, which TOML does not allow.",
    "toml-syntax": "A file is not valid TOML.",
    "slug-case": "Two names differ only in upper and lower case, which Windows and macOS cannot tell apart.",
    "slug-reserved": "A file or folder has a name that Windows keeps for itself or cannot store.",
    "slug-differs": "A file or folder is not named after its maker or model.",
    "path-long": "A path is too long for some systems.",
    # keys and values
    "schema-unknown": "The file follows a version of the format that is not known here.",
    "missing-key": "A required key is missing.",
    "unknown-key": "A key is not one of the format's.",
    "wrong-type": "A value is of the wrong kind: text, number, list or table.",
    "bad-value": "A value is not one of those allowed.",
    "bad-name": "A name is empty or has ' / ' in it.",
    "made-invalid": "A date is not written as EDTF.",
    "lab-impossible": "No surface can have this colour.",
    "lab-fluorescent": "A colour is more vivid than paint usually is.",
    # values that belong together
    "duplicate-code": "Two sizes, variants or colourways have the same code.",
    "duplicate-model": "Two files describe the same maker and model.",
    "duplicate-source": "Two sources have the same id.",
    "unknown-size": "A size is named that the file does not have.",
    "unknown-source": "A source is named that set.toml does not list.",
    "unknown-model": "A maker and model are named that the set does not have.",
    "linked-to-itself": "A model is linked to itself.",
    "unknown-maker": "A maker is named that the set does not have.",
    "sizes-order": "The sizes do not stand in order of length.",
    "length-absurd": "A length cannot be a bait's in millimetres.",
    "length-odd": "A length is unusual: the unit may be mixed up.",
    "depth-absurd": "A body is deeper than it is long.",
    "thickness-odd": "A body is much thicker than deep.",
    "tolerance-odd": "A tolerance is unusually large.",
    "ring-count": "The count does not agree with the number of places.",
    "count-odd": "So many line ties, hangers or hooks are unusual.",
    "eye-odd": "An eye is unusually wide for its body.",
    "ring-off-outline": "A line tie or hanger lies far from the body's edge.",
    "eye-off-outline": "An eye lies outside the body.",
    "years-contradict": "Years of a part lie outside the years of the whole.",
    "look-alike": "Two models or sizes would be taken for one another even in good photos.",
    "pieces-unreadable": "The record of what a profile was learned from cannot be read.",
    "zone-twice": "A colourway has the same zone twice.",
    # outlines
    "outline-missing": "An outline is named whose file is not there.",
    "outline-none": "There is no outline, so the shape speaks for nothing.",
    "outline-syntax": "An outline file is not SVG that can be read.",
    "outline-no-path": 'An outline file has no <path id="outline">, or several.',
    "outline-command": "An outline has a path command that cannot be used.",
    "outline-transform": "An outline is moved or scaled by a transform.",
    "outline-viewbox": "An outline file does not say its millimetres.",
    "outline-open": "An outline is not closed.",
    "outline-crosses": "An outline crosses itself.",
    "outline-scale": "An outline is not drawn at its size's length.",
    "outline-proportion": "An outline is not as deep as the file says.",
    "outline-reversed": "An outline lies tail left or upside down against the line ties.",
}
"""Every code of a fault, with the plain words that explain it."""


class FaultRow(TypedDict):
    file: str
    line: int | None
    key: str | None
    code: str
    text: str
    fix: str


@dataclass(frozen=True)
class Fault:
    """One fault or remark.  `file` is relative to the set's folder, `line` counts from 1, None where no line is meant;
    `key` reads like `size[2].length_mm` (entries count from 1)."""

    file: str
    line: int | None
    key: str | None
    code: str
    text: str
    fix: str

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise ValueError(f"undeclared fault code {self.code!r}")

    @property
    def where(self) -> str:
        """File, line and key in one string for people."""
        place = self.file if self.line is None else f"{self.file} line {self.line}"
        return place if self.key is None else f"{place}, {self.key}"


@dataclass(frozen=True)
class LintReport:
    """What `lint` found in one set: errors keep the set from being used, remarks do not."""

    folder: str
    errors: tuple[Fault, ...]
    remarks: tuple[Fault, ...]


class LintDocument(TypedDict):
    schema: str
    errors: list[FaultRow]
    remarks: list[FaultRow]


def as_document(reports: Sequence[LintReport]) -> LintDocument:
    """The reports of one or more sets as the contract's `baitprint/lint/1`; files are given below each set's folder."""

    def rows(report: LintReport, faults: tuple[Fault, ...]) -> list[FaultRow]:
        base = report.folder.rstrip("/\\")
        return [
            FaultRow(file=f"{base}/{f.file}", line=f.line, key=f.key, code=f.code, text=f.text, fix=f.fix)
            for f in faults
        ]

    return LintDocument(
        schema="baitprint/lint/1",
        errors=[row for r in reports for row in rows(r, r.errors)],
        remarks=[row for r in reports for row in rows(r, r.remarks)],
    )
