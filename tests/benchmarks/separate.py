"""Benchmark of the separate stage:

    python -m tests.benchmarks.separate PHOTO_SET [--split S] [--subset NAME]... [--every N]

Per bait the intersection over union of the region's core with the visible body, per photo what was found, missed, and
taken for a bait although it is none.  The card comes from the truth, so that this stage is judged on its own, unless
`--card` asks for the real one.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from identify.geometry import Array
from identify.photo import Photo, read
from identify.separate import separate
from identify.settings import Settings
from identify.stages import Region, Separation
from tests.benchmarks.truth import PhotoTruth, ideal_calibration, photos

SUBSETS = ("enrol", "single", "twice", "pieces", "clutter", "boxed", "tray", "listing")
FOUND = 0.8


@dataclass(frozen=True)
class Score:
    """What became of one photo: the best IoU of each of its baits, regions that are no bait, CPU seconds."""

    ious: tuple[float, ...]
    false: int
    seconds: float


def core_iou(region: Region, polygon_px: Array) -> float:
    """Intersection over union of a region's core with a polygon of the photo, both at the region's resolution."""
    own = region.from_photo(polygon_px)
    low = np.floor(np.minimum(own.min(0), 0)).astype(int)
    high = np.ceil(np.maximum(own.max(0) + 2, [region.core.shape[1], region.core.shape[0]])).astype(int)
    true = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
    cv2.fillPoly(true, [np.round((own - low) * 16).astype(np.int32)], 1, shift=4)
    core = np.zeros_like(true)
    y, x = -low[1], -low[0]
    core[y : y + region.core.shape[0], x : x + region.core.shape[1]] = region.core
    either = np.count_nonzero(true | core)
    return np.count_nonzero(true & core) / max(int(either), 1)


def judge(photo: PhotoTruth, found: Separation, seconds: float) -> Score:
    """Compare regions with the truth; a region that shares less than a fifth with any bait is a false one."""
    polygons = [np.array(b["apparent_polygon_px"], float) for b in photo.baits]
    table = np.array([[core_iou(r, p) for p in polygons] for r in found.regions]).reshape(-1, len(polygons))
    ious = tuple(float(v) for v in table.max(0)) if len(table) else (0.0,) * len(polygons)
    return Score(ious, int((table.max(1) < 0.2).sum()) if len(polygons) else len(table), seconds)


def run_one(photo: PhotoTruth, real_card: bool = False) -> tuple[Photo, Separation, Score]:
    """Separate one photo of a set and judge the result."""
    picture = read(photo.path)
    if real_card:
        from identify.card import find

        calibration = find(picture, Settings())
    else:
        calibration = ideal_calibration(photo)
    start = time.process_time()
    found = separate(picture, calibration, Settings())
    seconds = time.process_time() - start
    return picture, found, judge(photo, found, seconds)


def main(arguments: list[str] | None = None) -> int:
    """Print a line for each photo that fell short, and a table by subset."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--split", choices=("tune", "report"))
    parser.add_argument("--subset", action="append", choices=SUBSETS)
    parser.add_argument("--every", type=int, default=1, help="take every n-th photo")
    parser.add_argument("--card", action="store_true", help="use the real card finder")
    parser.add_argument("--quiet", action="store_true", help="the table only")
    options = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    rows: dict[str, list[Score]] = defaultdict(list)
    for photo in photos(options.folder, tuple(options.subset or SUBSETS), options.split)[:: options.every]:
        _, found, score = run_one(photo, options.card)
        rows[photo.subset].append(score)
        if not options.quiet and (min(score.ious) < 0.93 or score.false):
            poor = " ".join(f"{v:.3f}" for v in score.ious)
            aside = "; ".join(s.reason for s in found.set_aside)
            print(f"{photo.path.stem:8s} {photo.truth['background']:10s} iou {poor}  false {score.false}  [{aside}]")
    print(f"{'subset':9s} photos baits {'median':>7s} {'5 %':>6s} {'>=0.8':>7s} {'false':>5s} {'ms':>5s}")
    for name, scores in rows.items():
        ious = np.array([v for s in scores for v in s.ious])
        share = f"{(ious >= FOUND).sum()}/{len(ious)}"
        ms = 1000 * float(np.median([s.seconds for s in scores]))
        print(
            f"{name:9s} {len(scores):6d} {len(ious):5d} {np.median(ious):7.4f} {np.quantile(ious, 0.05):6.3f}"
            f" {share:>7s} {sum(s.false for s in scores):5d} {ms:5.0f}"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
