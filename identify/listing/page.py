"""The report of a check as one sheet: pictures with what was found and the stated outline, points, questions."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path, PurePath

import numpy as np
from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined, Template

from identify import __version__
from identify.answer import References
from identify.files import made, put_text
from identify.geometry import Array
from identify.listing.check import Check, Judged
from identify.listing.pictures import measure_picture
from identify.listing.points import Finding
from identify.listing.words import Stated
from identify.outline import frame_of
from identify.records import Bait, Candidate, Measurement, PhotoRecord
from identify.reference import Form
from identify.report import drawing, words
from identify.report.drawing import Drawing, Shape
from identify.report.parts import Seen
from identify.report.picture import Pictures, take
from identify.report.rests import KNOWN
from identify.report.words import Units
from identify.settings import Settings

MARKS: dict[Finding, str] = {"agrees": "✓ agrees", "disagrees": "✗ does not agree", "cannot-tell": "? cannot tell"}
"""Findings as people read them; the sign tells them apart without colour."""


@dataclass(frozen=True)
class Row:
    """One point as it is printed."""

    feature: str
    stated: str
    measured: str
    finding: str
    kind: str
    weight: str
    text: str


@dataclass(frozen=True)
class BaitPart:
    """One bait of the sheet: pictures, points, questions."""

    title: str
    verdict: str
    seen: tuple[Seen, ...]
    rows: tuple[Row, ...]
    better: tuple[str, ...]
    ask: tuple[str, ...]


class CheckReport:
    """Reads and measures the pictures of an offer, and writes DIR/index.html.  Only file names get in.

    Raises CannotWrite at once when the folder cannot be made or written to.
    """

    def __init__(self, folder: str | Path) -> None:
        self.folder = made(Path(folder))
        self.pictures: dict[str, Pictures] = {}

    def measure(self, path: str | Path, settings: Settings) -> PhotoRecord:
        """Read and measure one picture, and keep it small."""
        record, read = measure_picture(path, settings)
        if read is not None:
            self.pictures[record.photo] = take(read, record)
        return record

    def write(
        self, check: Check, measured: Sequence[PhotoRecord], stated: Stated, references: References, units: Units
    ) -> Path:  # fmt: skip
        """Write the sheet; returns its path.  `measured`: the records before any bait was chosen.  Raises
        CannotWrite."""
        by_name = {record.photo: record for record in measured}
        parts = tuple(self._part(j, by_name, stated, references, units, len(check.baits)) for j in check.baits)
        left = [f"{_name(one.photo)}: {one.why_not}" for one in check.left_out]
        text = _template().render(
            check=check, parts=parts, left=left, sets=references.used, version=__version__,
            date=datetime.date.today().isoformat(), mark=MARKS[check.verdict], stated=stated,
            hashes=[f"{_name(r.photo)} {r.sha256}" for r in measured if r.sha256],
            facts=[
                f"{_name(r.photo)}: {r.width} × {r.height} px, {words.card(r.card, r.scale)}"
                for r in measured if r.error is None
            ],
        )  # fmt: skip
        place = self.folder / "index.html"
        put_text(place, text)
        return place

    def _part(
        self, judged: Judged, records: dict[str, PhotoRecord], stated: Stated, references: References, units: Units,
        of: int,
    ) -> BaitPart:  # fmt: skip
        form = references.prepared.forms[judged.form]
        seen = []
        for name, number in zip(judged.photos, judged.numbers, strict=True):
            at = next(i for i, b in enumerate(records[name].baits) if b.measurement.number == number)
            seen.append(self._seen(name, records[name].baits[at], at, form, judged.way, stated))
        title = "" if of == 1 else f"{_name(judged.photos[0])}, bait {judged.numbers[0]}"
        return BaitPart(
            title=title,
            verdict=MARKS[judged.verdict],
            seen=tuple(seen),
            rows=tuple(
                Row(
                    p.feature, words.in_units(p.stated, units), words.in_units(p.measured, units), MARKS[p.finding],
                    p.finding, "" if p.weight is None else f"{p.weight:+.1f}".replace("-", "−"),
                    words.in_units(p.text, units),
                )
                for p in judged.points
            ),
            better=tuple(better_words(c) for c in judged.better),
            ask=tuple(words.in_units(a.text, units) for a in judged.ask),
        )  # fmt: skip

    def _seen(self, name: str, bait: Bait, at: int, form: Form, way: int, stated: Stated) -> Seen:
        cut = self.pictures[name].baits[at]
        drawn = drawing.bait(bait.measurement, cut.window)
        laid = laid_over(bait.measurement, form, way)
        if laid is not None:
            drawn = Drawing(drawn.view, (*drawn.shapes[:1], laid, *drawn.shapes[1:]), drawn.unit)
        alt = f"{_name(name)}: the bait with what was found"
        alt += f", the outline of {stated.short} laid over." if laid is not None else "."
        return Seen(cut.href, cut.window, drawn, alt)


def better_words(c: Candidate) -> str:
    """A candidate that fits better, in a line, and whether it is known by more than this program's own answers."""
    known = f"; known by {KNOWN['tool']}" if c.known_by == "tool" else ""
    return f"{words.name(c)} ({words.percent(c.probability)}{known})"


def laid_over(m: Measurement, form: Form, way: int) -> Shape | None:
    """The outline of a form in a picture's pixels, over a bait of the same length there; None when the set has no
    outline, or the bait is not seen from its side.  `way`: turned back for belly (1), end for end (2), both (3)."""
    if form.outline_mm is None or m.view.kind not in ("side", "unsure"):
        return None
    nose, tail = frame_of(m.outline_px, m.nose_px)
    along = tail - nose
    left = np.array([along[1], -along[0]])
    up = left if m.shows == "left" else -left
    at = np.asarray(form.outline_mm, float)
    at = (at - [at[:, 0].min(), 0.0]) / np.ptp(at[:, 0])
    if way & 2:
        at[:, 0] = 1 - at[:, 0]
    if way & 1:
        at[:, 1] = -at[:, 1]
    placed: Array = nose + at @ np.vstack([along, up]) + 0.5
    return Shape("stated", drawing.fine_path(placed), m.nose_px)


def _name(path: str) -> str:
    return PurePath(path).name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


@lru_cache(maxsize=1)
def _template() -> Template:
    environment = Environment(
        loader=ChoiceLoader([PackageLoader("identify.listing"), PackageLoader("identify.report")]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("check.html.j2")
