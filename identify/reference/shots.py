"""From one measured bait to the readings that a profile is learned from."""

from __future__ import annotations

import datetime
import io
from pathlib import Path

import numpy as np

from identify import __version__
from identify.errors import NotLearned
from identify.geometry import Array
from identify.outline import frame_of, to_frame
from identify.records import Bait, Colour, Measurement, PhotoRecord, Polygon, Quantity
from identify.reference.frame import sides
from identify.reference.pieces import EyeSpot, Shot, Spots, Tint, Value, ZoneTint
from identify.stages import as_polygon

SHARED = "height of the silhouette"
"""The part of a length's uncertainty that all photos of one model share."""
DOUBTFUL = ("outline-unclear", "touches-edge", "nose-unsure", "back-unsure", "not-side-view")
TAKEN, CHANGED = 0x9003, 0x0132
"""EXIF: DateTimeOriginal, and DateTime where that is all there is."""


def the_bait(record: PhotoRecord, number: int | None = None) -> Bait:
    """The one bait of a measured photo, or the one of this number.  Raises NotLearned."""
    if record.error is not None:
        raise NotLearned(f"{record.photo}: {record.error.text}")
    if number is not None:
        for bait in record.baits:
            if bait.measurement.number == number:
                return bait
        raise NotLearned(f"{record.photo} has no bait {number}.", "See what `baitprint measure` finds in it.")
    if len(record.baits) != 1:
        found = "no bait" if not record.baits else f"{len(record.baits)} baits"
        fix = "Use a photo that shows one bait on a plain ground, with a card."
        raise NotLearned(f"{record.photo} shows {found}, and a profile is learned from one.", fix)
    return record.baits[0]


def shot_of(record: PhotoRecord, bait: Bait, contributor: str | None, today: datetime.date) -> Shot:
    """The readings of one bait of a photo.  Raises NotLearned if it is not seen from its side or cut off."""
    m = bait.measurement
    if m.view.kind in ("back", "belly", "end"):
        raise NotLearned(f"{record.photo} shows the bait from its {m.view.kind}.", "Photograph it lying on its side.")
    if any(notice.code == "touches-edge" for notice in m.warnings):
        raise NotLearned(f"In {record.photo} the bait is cut by the photo's edge.", "Photograph the whole bait.")
    assert record.sha256 is not None
    frame = _Frame(m)
    coded = {notice.code for notice in m.warnings}
    uncorrected = "colour-uncorrected" in coded
    return Shot(
        photo=Path(record.photo).name,
        sha256=record.sha256,
        bait=m.number,
        taken=taken(Path(record.photo)),
        added=today.isoformat(),
        contributor=contributor,
        version=__version__,
        length_mm=None if m.length_mm is None else _value(m.length_mm),
        depth_mm=None if m.depth_mm is None else _value(m.depth_mm),
        aspect=_value(m.depth_to_length, 5),
        outline=_rows(sides(frame.outline)),
        nose=round(m.orientation_certainty[0], 4),
        back=round(m.orientation_certainty[1], 4),
        doubtful=tuple(code for code in DOUBTFUL if code in coded),
        ties=_ties(m),
        tie_at=() if m.line_ties is None else frame.places(m.line_ties.at_px, m.line_ties.at_mm),
        hanger_at=None if m.hangers is None else frame.places(m.hangers.at_px, m.hangers.at_mm),
        hooks=None if m.hooks is None else m.hooks.count,
        eye=_eye(m, frame),
        lip=None if m.lip is None else round(m.lip.probability, 4),
        back_seen=None if uncorrected else _tint(m.back_colour),
        belly_seen=None if uncorrected else _tint(m.belly_colour),
        zones=()
        if uncorrected
        else tuple(ZoneTint(kind=z.kind, lab=_lab(z.colour.lab_seen), u=round(z.colour.u_seen, 2)) for z in m.zones),
        pattern=None
        if m.pattern is None
        else Spots(
            kind=m.pattern.kind,
            certainty=round(m.pattern.certainty, 3),
            lab=None if m.pattern.lab is None or uncorrected else _lab(m.pattern.lab),
        ),
        hard_to_read=m.hard_to_read,
    )


class _Frame:
    """Brings outline and places into the bait's frame, in mm where there is a scale, else in pixels, and from there
    into the unit frame."""

    def __init__(self, m: Measurement) -> None:
        self.nose, self.tail = frame_of(m.outline_px, m.nose_px)
        self.left = m.shows == "left"
        self.scaled = m.outline_mm is not None
        self.outline = np.asarray(m.outline_mm, float) if self.scaled else self._framed(m.outline_px)
        self.extent = np.array([np.ptp(self.outline[:, 0]), np.ptp(self.outline[:, 1])])

    def _framed(self, points_px: object) -> Array:
        return to_frame(np.asarray(points_px, float).reshape(-1, 2), self.nose, self.tail, self.left)

    def places(self, at_px: Polygon, at_mm: Polygon | None) -> Polygon:
        if not at_px:
            return ()
        at = np.asarray(at_mm, float).reshape(-1, 2) if self.scaled and at_mm is not None else self._framed(at_px)
        return as_polygon(np.round(at / self.extent, 5))


def _eye(m: Measurement, frame: _Frame) -> EyeSpot | None:
    if m.eye is None:
        return None
    (at,) = frame.places((m.eye.at_px,), None if m.eye.at_mm is None else (m.eye.at_mm,))
    wide = m.eye.diameter_mm
    known = wide is not None and m.length_mm is not None
    return EyeSpot(at=at, diameter=round(wide.value / m.length_mm.value, 5) if known and wide and m.length_mm else None)


def _ties(m: Measurement) -> tuple[float, ...] | None:
    if m.line_ties is None or m.line_ties.probabilities is None:
        return None
    return tuple(round(p, 4) for p in m.line_ties.probabilities)


def _value(q: Quantity, digits: int = 4) -> Value:
    shared = sum(part.u for part in q.parts if part.what == SHARED)
    return Value(value=round(q.value, digits), u=round(q.u, digits), shared=round(shared, digits))


def _lab(lab: tuple[float, float, float]) -> tuple[float, float, float]:
    return round(lab[0], 2), round(lab[1], 2), round(lab[2], 2)


def _tint(colour: Colour | None) -> Tint | None:
    return None if colour is None else Tint(lab=_lab(colour.lab_seen), u=round(colour.u_seen, 2))


def _rows(heights: Array) -> tuple[tuple[float, ...], tuple[float, ...]]:
    upper, lower = (tuple(round(float(v), 5) for v in side) for side in heights)
    return upper, lower


def taken(photo: Path) -> str | None:
    """The day a photo was taken, as its EXIF block says (ISO 8601); None if it does not say."""
    import pillow_heif
    from PIL import Image, UnidentifiedImageError

    try:
        if pillow_heif.is_supported(photo):
            exif = Image.Exif()
            exif.load(pillow_heif.open_heif(photo, convert_hdr_to_8bit=False).info.get("exif") or b"")
        else:
            with Image.open(io.BytesIO(photo.read_bytes())) as image:
                exif = image.getexif()
        said = str(exif.get_ifd(0x8769).get(TAKEN) or exif.get(CHANGED) or "")
        return datetime.datetime.strptime(said[:10], "%Y:%m:%d").date().isoformat()
    except (OSError, ValueError, SyntaxError, UnidentifiedImageError):
        return None
