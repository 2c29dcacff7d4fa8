"""What the piles are made from: of each bait of each photo the little that matters, taken from its line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from identify.rank import Readings, read
from identify.records import Identification, Measurement, PhotoRecord

Json = dict[str, Any]
DECIMALS = 6


@dataclass(frozen=True)
class Choice:
    """A maker, model and size with its probability."""

    maker: str
    model: str
    size: str | None
    probability: float

    @property
    def words(self) -> str:
        return " ".join(filter(None, (f"{self.maker} / {self.model}", self.size)))


@dataclass(frozen=True)
class Answer:
    """What the reference sets say of a bait: its likeliest choices, variants summed out, and that of none; `settle`:
    what a person could count or measure to be surer."""

    choices: tuple[Choice, ...]
    none: float
    settle: tuple[str, ...] = ()


def answer_of(candidates: Sequence[Json], none: float, settle: Sequence[str] = ()) -> Answer:
    """The answer in a line's `candidates` and what is left for none of them, to so many decimals as are the same at
    every run."""
    shares: dict[tuple[str, str, str | None], float] = {}
    for c in candidates:
        key = c["maker"], c["model"], c["size"]
        shares[key] = shares.get(key, 0.0) + c["probability"]
    shares = {key: round(p, DECIMALS) for key, p in shares.items()}
    ranked = sorted(shares.items(), key=lambda item: (-item[1], item[0][0], item[0][1], item[0][2] or ""))
    return Answer(tuple(Choice(*key, p) for key, p in ranked), round(none, DECIMALS), tuple(settle))


def answer_found(found: Identification) -> Answer:
    """The same from an identification."""
    rows = [
        {"maker": c.maker, "model": c.model, "size": c.size, "probability": c.probability} for c in found.candidates
    ]
    return answer_of(rows, found.none_of_these + found.not_comparable, [s.text for s in found.would_settle])


@dataclass(frozen=True)
class Looks:
    """A bait in words and figures for its label: length and depth in mm, ties; None what was not measured."""

    length_mm: float | None
    depth_mm: float | None
    ties: int | None


@dataclass(frozen=True, eq=False)
class Note:
    """One bait of one photo.  `readings` are what it is grouped by; `answer` None where no set was asked."""

    photo: str
    bait: int
    sha256: str
    answer: Answer | None
    readings: Readings
    looks: Looks
    warnings: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Sheet:
    """One photo: its baits, and what was said of the photo as a whole."""

    photo: str
    sha256: str | None
    slip: str | None
    warnings: tuple[str, ...]
    error: Json | None
    notes: tuple[Note, ...]


def sheet_of(line: Json, record: PhotoRecord) -> Sheet:
    """What matters of a line, and of the record restored from it."""
    notes = []
    for bait, said in zip(record.baits, line["baits"], strict=True):
        m = bait.measurement
        candidates, none = said.get("candidates"), said.get("none_of_these")
        answer = None
        if candidates is not None and none is not None:
            settle = [s["text"] for s in said.get("would_settle") or ()]
            answer = answer_of(candidates, none + (said.get("not_comparable") or 0.0), settle)
        codes = tuple(w.code for w in m.warnings)
        notes.append(Note(record.photo, m.number, record.sha256 or "", answer, read(m), looks_of(m), codes))
    slip = None if record.slip is None else record.slip.number
    codes = tuple(w.code for w in record.warnings)
    return Sheet(record.photo, record.sha256, slip, codes, line["error"], tuple(notes))


def looks_of(m: Measurement) -> Looks:
    """What a label shows of a measurement."""
    ties = None if m.line_ties is None else m.line_ties.count
    length, depth = (None if q is None else q.value for q in (m.length_mm, m.depth_mm))
    return Looks(length, depth, ties)
