"""The report of trays as one file: each photo with its baits numbered, a table, and a contact sheet of crops."""

from __future__ import annotations

import base64
import datetime
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path, PurePath

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined, Template

from identify import __version__, photo
from identify.answer import References, rank_photo, unreadable
from identify.errors import PhotoError
from identify.files import made, put_text
from identify.measure import Progress, measure
from identify.photo import Photo
from identify.records import PhotoRecord
from identify.report import drawing, words
from identify.report.drawing import Drawing
from identify.report.picture import Picture, overview, thumbnails
from identify.report.words import Units
from identify.settings import Settings
from identify.tray.rows import HEADS, Row, notices, rows

CROP_SIDE = 460


@dataclass(frozen=True)
class Crop:
    """One bait of the contact sheet."""

    row: Row
    href: str


@dataclass(frozen=True)
class TrayPage:
    """One photo."""

    name: str
    facts: str
    error: str | None
    notices: tuple[str, ...]
    set_aside: tuple[str, ...]
    whole: Picture | None
    drawing: Drawing | None
    crops: tuple[Crop, ...]


class TrayReport:
    """Collects photos, then writes DIR/index.html.  Only file names of photos get in, and nothing a camera wrote.

    Raises CannotWrite at once when the folder cannot be made or written to.
    """

    def __init__(self, folder: str | Path, references: References | None, units: Units = "mm") -> None:
        self.folder, self.references, self.units = made(Path(folder)), references, units
        self.pages: list[TrayPage] = []

    def add(
        self, path: str | Path, settings: Settings, at_most: int | None, progress: Progress | None = None
    ) -> PhotoRecord:
        """Read, measure and rank one photo, and keep what the report shows of it."""
        try:
            read = photo.read(path, settings)
        except PhotoError as fault:
            record = unreadable(path, fault.code, fault.message)
            self.add_failed(record)
            return record
        record = rank_photo(measure(read, settings, progress), self.references, at_most)
        self.pages.append(_page(record, read, self.units))
        return record

    def add_failed(self, record: PhotoRecord) -> None:
        """Keep a photo's place that nothing could be done with; its record says why."""
        self.pages.append(_page(record, None, self.units))

    def write(self) -> Path:
        """Write the report; returns its path.  Raises CannotWrite."""
        place = self.folder / "index.html"
        sets = self.references.used if self.references is not None else ()
        text = _template().render(
            pages=self.pages, heads=HEADS, sets=sets, version=__version__, date=datetime.date.today().isoformat()
        )
        put_text(place, text)
        return place


def _page(record: PhotoRecord, read: Photo | None, units: Units) -> TrayPage:
    name = PurePath(record.photo).name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    if read is None:
        return TrayPage(name, "", None if record.error is None else record.error.text, (), (), None, None, ())
    whole = overview(read)
    x0, y0, x1, y1 = whole.window
    jpegs = thumbnails(read, record, CROP_SIDE) if record.baits else ()
    crops = (
        Crop(row, "data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii"))
        for row, jpeg in zip(rows(record, units), jpegs, strict=True)
    )
    facts = f"{record.width} × {record.height} px, {words.photo_facts(record.card, record.scale, record.slip)}"
    return TrayPage(
        name, facts, None, notices(record), words.set_aside(record.set_aside), whole,
        drawing.whole(record, x1 - x0, y1 - y0), tuple(crops),
    )  # fmt: skip


@lru_cache(maxsize=1)
def _template() -> Template:
    environment = Environment(
        loader=ChoiceLoader([PackageLoader("identify.tray"), PackageLoader("identify.report")]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("tray.html.j2")
