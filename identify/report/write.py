"""The report as one file: photos measured, pictures kept small, the page written at the end."""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable, Sequence
from pathlib import Path

from identify import __version__, photo
from identify.answer import References, unreadable
from identify.errors import CannotWrite, PhotoError
from identify.measure import measure
from identify.records import PhotoRecord, PieceRecord
from identify.reference.write import put
from identify.report.page import photo_page, piece_page
from identify.report.parts import PhotoPage
from identify.report.picture import take
from identify.report.templating import template
from identify.report.words import Units
from identify.settings import Settings


def render(pages: list[PhotoPage], references: References | None, today: datetime.date | None = None) -> str:
    """The whole report as HTML that needs no other file."""
    sets = references.used if references is not None else ()
    date = (today or datetime.date.today()).isoformat()
    prior = ", ".join(f"{maker} {weight:g}" for maker, weight in (references.prior if references is not None else ()))
    return template().render(pages=pages, sets=sets, version=__version__, date=date, prior=prior)


class Report:
    """Collects photos, then writes DIR/index.html.  Only the file names of photos get in, and no metadata of theirs.

    Raises CannotWrite at once when the folder cannot be made or written to.
    """

    def __init__(self, folder: str | Path, references: References | None, units: Units = "mm") -> None:
        self.folder, self.references, self.units = Path(folder), references, units
        self.pages: list[PhotoPage] = []
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as why:
            said = "it is a file" if self.folder.is_file() else why.strerror or str(why)
            raise CannotWrite(f"The folder {folder} cannot be made: {said}.", "Choose another folder.") from why
        if not os.access(self.folder, os.W_OK):
            raise CannotWrite(f"Nothing can be written to the folder {folder}.", "Choose another folder.")

    def add(self, path: str | Path, settings: Settings, rank: Callable[[PhotoRecord], PhotoRecord]) -> PhotoRecord:
        """Read, measure and rank one photo, and keep what the report shows of it."""
        try:
            read = photo.read(path, settings)
        except PhotoError as fault:
            record = unreadable(path, fault.code, fault.message)
            pictures = None
        else:
            record = rank(measure(read, settings))
            pictures = take(read, record)
        self.pages.append(photo_page(record, pictures, self.references, self.units))
        return record

    def add_failed(self, record: PhotoRecord) -> None:
        """Keep a photo's place that nothing could be done with; its record says why."""
        self.pages.append(photo_page(record, None, self.references, self.units))

    def add_piece(self, piece: PieceRecord, records: Sequence[PhotoRecord]) -> None:
        """Put the joint answer to all photos of one piece before theirs."""
        self.pages.insert(0, piece_page(piece, records, self.references, self.units))

    def write(self) -> Path:
        """Write the report, aside first and then renamed; returns its path.  Raises CannotWrite."""
        place = self.folder / "index.html"
        put(place, render(self.pages, self.references))
        return place
