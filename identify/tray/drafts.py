"""Drafts of a collection's records: what a photo says of each bait, for a person to confirm.

Fields follow the ICOM Object ID checklist: type of object, maker, title, date, measurements, materials, distinguishing
features, photograph.  What the photo cannot say is null.  A draft's id comes from the photo's hash and the bait's
number, so the same photo never makes a second draft.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Any

from identify.answer import References
from identify.errors import CannotWrite
from identify.files import ELSEWHERE
from identify.records import Bait, Candidate, Colour, Identification, Measurement, PhotoRecord, Quantity
from identify.serialise import to_json

SCHEMA = "baitprint/draft/1"
SURE = 0.7
"""The likeliest maker, model and size stand in the draft from this probability on; below, only as suggestions."""
SUGGESTIONS = 3
Json = dict[str, Any]


@dataclass(frozen=True)
class Draft:
    """One draft: its id, and the object that is written as a line of JSON."""

    id: str
    line: Json


def drafts(record: PhotoRecord, references: References | None = None) -> tuple[Draft, ...]:
    """A draft for each bait of a measured photo, in order of number; none for a photo that could not be read."""
    return tuple(_draft(record, bait, references) for bait in record.baits) if record.sha256 else ()


def draft_id(sha256: str, number: int) -> str:
    """The id of a bait's draft."""
    return f"{sha256[:16]}-{number}"


def _draft(record: PhotoRecord, bait: Bait, references: References | None) -> Draft:
    m, found = bait.measurement, bait.identification
    top = found.candidates[0] if found is not None and found.candidates else None
    known = top if top is not None and top.probability >= SURE else None
    form = None if known is None or references is None else references.form(
        known.maker, known.model, known.size, known.variant
    )  # fmt: skip
    slip = None if record.slip is None else record.slip.number
    identity = draft_id(record.sha256 or "", m.number)
    line = {
        "schema": SCHEMA,
        "id": identity,
        "status": "draft",
        "kind": "bait",
        "lot": None if slip is None else slip.rpartition("/")[0],
        "slip": slip,
        "photo": {"photo": PurePath(record.photo).name, "sha256": record.sha256, "bait": m.number},
        "title": _title(known),
        "maker": None if known is None else known.maker,
        "model": None if known is None else known.model,
        "size": None if known is None else known.size,
        "variant": None if known is None else known.variant,
        "colourway": _colourway(known),
        "made": None if known is None else known.made,
        "material": None if form is None else form.material,
        "probability": None if known is None else known.probability,
        "none_of_these": None if found is None else found.none_of_these,
        "suggestions": _suggestions(found),
        "length_mm": _size(m.length_mm),
        "depth_mm": _size(m.depth_mm),
        "features": _features(m),
        "notes": [notice.text for notice in m.warnings],
        "by": {
            "program": "baitprint",
            "version": record.version,
            "refs": [{"title": r.title, "sha256": r.sha256} for r in record.refs or ()],
        },
    }
    return Draft(identity, line)


def _title(known: Candidate | None) -> str:
    if known is None:
        return "Fishing bait, not identified"
    return " ".join(filter(None, (known.model, known.size, known.variant)))


def _colourway(known: Candidate | None) -> Json | None:
    match = None if known is None else known.colourway
    return None if match is None or not match.listed else {"code": match.code, "name": match.name}


def _suggestions(found: Identification | None) -> list[Json]:
    return [
        {"maker": c.maker, "model": c.model, "size": c.size, "variant": c.variant, "probability": c.probability}
        for c in (found.candidates[:SUGGESTIONS] if found is not None else ())
    ]


def _size(found: Quantity | None) -> Json | None:
    return None if found is None else {"value": to_json(found.value), "u": to_json(found.u)}


def _features(m: Measurement) -> Json:
    return {
        "line_ties": None if m.line_ties is None else m.line_ties.count,
        "hangers": None if m.hangers is None else m.hangers.count,
        "hooks": None if m.hooks is None else m.hooks.count,
        "lip": None if m.lip is None else m.lip.present,
        "eye_mm": None if m.eye is None or m.eye.diameter_mm is None else to_json(m.eye.diameter_mm.value),
        "back": _colour(m.back_colour),
        "belly": _colour(m.belly_colour),
        "zones": [{"kind": zone.kind, **(_colour(zone.colour) or {})} for zone in m.zones],
        "pattern": None if m.pattern is None else m.pattern.kind,
        "shows": m.shows,
    }


def _colour(found: Colour | None) -> Json | None:
    if found is None:
        return None
    return {"name": found.name, "munsell": found.munsell, "lab": to_json(found.lab, "lab"), "hex": found.hex}


def add_drafts(path: str | Path, found: Iterable[Draft]) -> int:
    """Add drafts to a file of JSON lines, but for those that are in it already; returns how many were added.

    What stands there, edited by hand or not, is left as it is; only a last line that was cut off by a stop is dropped.
    Raises CannotWrite.
    """
    place = Path(path)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        place.touch(exist_ok=True)
        with place.open("r+b") as file:
            known, end = set(), 0
            for raw in file:
                identity = _id_of(raw)
                if not raw.endswith(b"\n") and identity is None:
                    break
                known.add(identity)
                end += len(raw)
            new = {d.id: d for d in found if d.id not in known}
            file.truncate(end)
            file.seek(end)
            text = "".join(json.dumps(d.line, ensure_ascii=False, allow_nan=False) + "\n" for d in new.values())
            if end and new and not _ends_line(place):
                text = "\n" + text
            file.write(text.encode("utf-8", "backslashreplace"))
    except OSError as why:
        raise CannotWrite(f"{path} cannot be written: {why.strerror or why}.", ELSEWHERE) from why
    return len(new)


def _id_of(raw: bytes) -> str | None:
    try:
        return str(json.loads(raw)["id"])
    except (ValueError, KeyError, TypeError):
        return None


def _ends_line(place: Path) -> bool:
    with place.open("rb") as file:
        file.seek(-1, 2)
        return file.read(1) == b"\n"
