"""Runs the whole way over a photo set and sets each result beside its truth."""

from __future__ import annotations

import csv
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely

from identify import measure
from identify.photo import read as read_photo
from identify.rank import Prepared, prepare, rank
from identify.records import Bait, PhotoRecord
from identify.reference import Form
from tests.benchmarks.truth import PhotoTruth, photos

SAME_BAIT = 0.5
"""Overlap (IoU) at which a measured bait is taken to be that of the truth; "found" asks for more."""


@dataclass(frozen=True, eq=False)
class Match:
    """One bait of the truth with what was read of it, or None."""

    photo: PhotoTruth
    truth: dict[str, Any]
    bait: Bait | None
    overlap: float


@dataclass(frozen=True, eq=False)
class Result:
    """One photo: its record, its true baits with what was read, and baits read where there is none."""

    photo: PhotoTruth
    record: PhotoRecord
    matches: tuple[Match, ...]
    extra: int
    seconds: float
    decode_seconds: float


def _polygon(points: Any) -> shapely.Polygon:
    return shapely.make_valid(shapely.Polygon(np.asarray(points, float)))


def match(photo: PhotoTruth, record: PhotoRecord) -> tuple[tuple[Match, ...], int]:
    """Set each true bait beside the measured one that overlaps it most; also count measured baits left over."""
    outlines = [_polygon(b.measurement.outline_px) for b in record.baits]
    free = set(range(len(outlines)))
    out = []
    for true in photo.baits:
        if "apparent_polygon_px" not in true:  # caliper readings: one bait a photo
            out.append(Match(photo, true, record.baits[0] if record.baits else None, 1.0 if record.baits else 0.0))
            free.discard(0)
            continue
        target = _polygon(true["apparent_polygon_px"])
        overlaps = [
            target.intersection(o).area / target.union(o).area if i in free else 0.0 for i, o in enumerate(outlines)
        ]
        best = int(np.argmax(overlaps)) if overlaps else -1
        if best >= 0 and overlaps[best] >= SAME_BAIT:
            free.discard(best)
            out.append(Match(photo, true, record.baits[best], overlaps[best]))
        else:
            out.append(Match(photo, true, None, max(overlaps, default=0.0)))
    return tuple(out), len(free)


_PREPARED: dict[str, Prepared] = {}


def _start(forms: tuple[Form, ...]) -> None:
    cv2.setNumThreads(1)
    _PREPARED["set"] = prepare(forms)


def run_photo(photo: PhotoTruth) -> Result:
    """Measure and rank one photo."""
    start = time.perf_counter()
    picture = read_photo(photo.path)
    decoded = time.perf_counter()
    record = measure.measure(picture)
    prepared = _PREPARED["set"]
    baits = tuple(Bait(b.measurement, rank(b.measurement, prepared, explain=True)) for b in record.baits)
    end = time.perf_counter()
    record = PhotoRecord(**{**{f: getattr(record, f) for f in record.__dataclass_fields__}, "baits": baits})
    matches, extra = match(photo, record)
    return Result(photo, record, matches, extra, end - start, decoded - start)


def collect(chosen: list[PhotoTruth], forms: tuple[Form, ...], jobs: int = 1) -> list[Result]:
    """Measure and rank many photos, in their order."""
    if jobs == 1:
        _start(forms)
        return [run_photo(p) for p in chosen]
    with ProcessPoolExecutor(jobs, initializer=_start, initargs=(forms,)) as pool:
        return list(pool.map(run_photo, chosen, chunksize=2))


def photos_of(folder: Path, split: str | None, subsets: tuple[str, ...] = ()) -> list[PhotoTruth]:
    """The photos of a set: with a truth.json, or with a CSV of caliper readings (photo, length_mm, depth_mm, maker,
    model, size), which all count as "report"."""
    if (folder / "truth.json").exists():
        # unknown models, unlisted colourways and pieces that lost a tie are never tuned on: they are all "report"
        return photos(folder, subsets, split)
    tables = sorted(folder.glob("*.csv"))
    if not tables:
        raise SystemExit(f"{folder} holds neither truth.json nor a CSV of readings")
    out = []
    for table in tables:
        with table.open(encoding="utf-8-sig", newline="") as lines:
            for row in csv.DictReader(lines):
                bait = {k: row.get(k) or None for k in ("maker", "model", "size")}
                reading = {f"feret_{k}": float(row[k]) for k in ("length_mm", "depth_mm") if row.get(k)}
                entry = {"file": row["photo"], "subset": "single", "split": "report", "card_corners_px": None}
                out.append(PhotoTruth(folder, {**entry, "baits": [{**bait, **reading, "known": bool(bait["model"])}]}))
    return out
