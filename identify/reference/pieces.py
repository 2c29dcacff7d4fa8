"""`<model-slug>.pieces.jsonl`: what a profile was learned from.  A first line tells what was last written to the
model's files, so that what a person changed since is known to be theirs; then a line for each piece, with its photos.

Readings of a photo are kept free of its scale: x as a fraction of the length from the nose, y as a fraction of the
depth, up to the back.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from identify.errors import SetFaulty
from identify.records import Lab, Polygon
from identify.reference.schema import KnownBy, Pattern
from identify.settings import Point

SCHEMA = "baitprint/pieces/1"


class Kept(BaseModel):
    """Keys of later versions are kept, so that an older program does not lose them."""

    model_config = ConfigDict(extra="allow", frozen=True)


class Value(Kept):
    value: float
    u: float
    shared: float = 0.0
    """The part of u that photos of one model share, since it comes from what is assumed of the body's thickness."""


class Tint(Kept):
    """A colour as the photo shows it (`lab_seen`) with its standard uncertainty in CIEDE2000."""

    lab: Lab
    u: float


class ZoneTint(Kept):
    kind: Literal["head", "side", "tail", "throat"]
    lab: Lab
    u: float


class Spots(Kept):
    kind: Pattern
    certainty: float
    lab: Lab | None = None


class EyeSpot(Kept):
    at: Point
    diameter: float | None = None
    """As a fraction of the length."""


class Shot(Kept):
    """One photo of a piece.  `outline` (2, n): upper and lower side at the stations of `frame.STATIONS`."""

    photo: str
    sha256: str
    bait: int = 1
    taken: str | None = None
    added: str
    contributor: str | None = None
    version: str
    length_mm: Value | None = None
    depth_mm: Value | None = None
    aspect: Value
    outline: tuple[tuple[float, ...], tuple[float, ...]]
    nose: float
    back: float
    """Probabilities that nose and tail, back and belly, are the right way round."""
    doubtful: tuple[str, ...] = ()
    ties: tuple[float, ...] | None = None
    """Probabilities of 0, 1, 2, 3, 4, 5 and more line ties."""
    tie_at: Polygon = ()
    hanger_at: Polygon | None = None
    hooks: int | None = None
    eye: EyeSpot | None = None
    lip: float | None = None
    back_seen: Tint | None = None
    belly_seen: Tint | None = None
    zones: tuple[ZoneTint, ...] = ()
    pattern: Spots | None = None
    hard_to_read: tuple[str, ...] = ()


class Facts(Kept):
    """What a person told of a piece."""

    size: str
    variant: str | None = None
    colourway: str | None = None
    name: str | None = None
    """Of the colourway."""
    made: str | None = None
    ties: int | None = None
    known_by: KnownBy | None = None
    length_mm: float | None = None
    depth_mm: float | None = None


class Piece(Facts):
    """One bait, with all photos of it that were learned from."""

    piece: str
    photos: tuple[Shot, ...]

    @property
    def independent(self) -> bool:
        """Whether somebody else than this program says what it is."""
        return self.known_by != "tool"


class Written(Kept):
    """What was last written: values of the model file by path, and hashes of outlines by file name."""

    schema_: str = Field(default=SCHEMA, alias="schema")
    version: str = ""
    values: dict[str, Any] = Field(default_factory=dict)
    drawn: dict[str, str] = Field(default_factory=dict)


class Record(Kept):
    """All of one `.pieces.jsonl`."""

    written: Written = Field(default_factory=Written)
    pieces: tuple[Piece, ...] = ()

    def piece(self, name: str) -> Piece | None:
        return next((p for p in self.pieces if p.piece == name), None)


def read_record(text: str, file: str) -> Record:
    """A record from its text.  Raises SetFaulty, naming the line."""
    written, pieces = Written(), []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        try:
            values = json.loads(line)
            if "schema" in values:
                written = Written.model_validate(values)
                if written.schema_ != SCHEMA:
                    raise ValueError(f"the schema {written.schema_} is not known here")
            else:
                pieces.append(Piece.model_validate(values))
        except (ValueError, TypeError, ValidationError) as why:
            if isinstance(why, ValidationError):
                said = f"{why.errors()[0]['loc']}: {why.errors()[0]['msg']}"
            else:
                said = "it is no JSON" if isinstance(why, json.JSONDecodeError) else str(why)
            raise SetFaulty(
                f"{file} line {number} cannot be read: {said}.",
                "Restore the file from a copy, or delete it: the profile stays, but no longer tells what it rests on.",
            ) from None
    return Record(written=written, pieces=tuple(pieces))


def record_text(record: Record) -> str:
    """The text of a `.pieces.jsonl`, pieces in the order in which they came."""
    rows: Sequence[BaseModel] = (record.written, *record.pieces)
    lines = [row.model_dump(mode="json", by_alias=True, exclude_none=True) for row in rows]
    return "".join(json.dumps(line, ensure_ascii=False, allow_nan=False) + "\n" for line in lines)
