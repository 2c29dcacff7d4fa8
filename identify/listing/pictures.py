"""Reading and measuring an offer's picture: as any photo, but for what only such pictures have."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

from identify import photo
from identify.answer import unreadable
from identify.errors import PhotoError
from identify.measure import measure
from identify.photo import Photo
from identify.records import Measurement, PhotoRecord
from identify.settings import Settings

MOST_TIES = 4
"""More rings where line ties sit, and no sure count: letters or glare were read as rings."""


def measure_picture(path: str | Path, settings: Settings) -> tuple[PhotoRecord, Photo | None]:
    """Read and measure one picture; of one that cannot be read the record says why, and there is no photo."""
    try:
        read = photo.read(path, settings)
    except PhotoError as fault:
        return unreadable(path, fault.code, fault.message), None
    record = measure(read, settings)
    if settings.card_corners_px is None and framed(record):
        record = measure(read, replace(settings, no_card=True))
    return record, read


def framed(record: PhotoRecord) -> bool:
    """What was taken for a card is the frame of a picture within the picture, as screenshots have it: all that was
    found lies on it, or nothing was found beside it.  Nobody lays a bait on the card."""
    card = record.card
    if card is None or not card.found or card.corners_px is None:
        return False
    corners = shapely.Polygon(card.corners_px)
    middles = (np.mean(b.measurement.outline_px, axis=0) for b in record.baits)
    return all(corners.contains(shapely.Point(middle)) for middle in middles)


def overlaid(m: Measurement) -> bool:
    """Letters, a pattern or glare lie over the bait: far more rings are seen than a bait has, and none of them surely.
    Then its outline is not to be trusted either."""
    ties = m.line_ties
    return ties is not None and ties.count is None and len(ties.at_px) > MOST_TIES
