"""How well slips are read: laid into free places of a set's photos, tilted as they fall, with the photo's own blur.

    python -m tests.benchmarks.slips PHOTO_SET [--photos 200] [--pieces 60] [--tags]

Prints how many numbers were read, how many are said to be unread, and how many are wrong, which must be none: photos
are brought together by these numbers alone.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter, defaultdict
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from identify import slips
from identify.geometry import Array
from identify.photo import read
from identify.slips.layout import SLIP, TAG, Layout
from identify.stages import Separation
from tests.benchmarks.truth import PhotoTruth, ideal_calibration, photos
from tests.unit.test_slips import drawn, laid

TRIES = 300
USUAL_PX_PER_MM = 9.0
"""Of photos without a card."""
QUALITY = 88


def free_place(
    photo: PhotoTruth, layout: Layout, px_per_mm: float, chance: random.Random
) -> tuple[Array, float] | None:
    """Where a slip's top left corner comes to lie, and its angle in degrees, so that it covers nothing."""
    width, height = photo.truth["size_px"]
    taken = np.zeros((height // 4, width // 4), np.uint8)
    things = [b["apparent_polygon_px"] for b in photo.baits] + [
        line for b in photo.baits for hook in b["hooks_px"] for line in hook
    ]
    things += [photo.truth["card_corners_px"]] if photo.truth["card_corners_px"] else []
    things += [t["polygon_px"] for t in photo.truth.get("things", []) if "polygon_px" in t]
    for thing in things:
        hull = cv2.convexHull(np.asarray(thing, np.float32) / 4)
        cv2.fillPoly(taken, [hull.astype(np.int32)], 1)
    size = np.array([[0, 0], [layout.width, 0], [layout.width, layout.height], [0, layout.height]]) * px_per_mm
    for _ in range(TRIES):
        angle = chance.uniform(0, 360)
        c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        at = np.array([chance.uniform(0, width), chance.uniform(0, height)])
        corners = size @ np.array([[c, s], [-s, c]]) + at
        if corners.min() < 4 or (corners > np.array([width, height]) - 4).any():
            continue
        paper = np.zeros_like(taken)
        cv2.fillPoly(paper, [(corners / 4).astype(np.int32)], 1)
        if not (cv2.dilate(paper, np.ones((5, 5), np.uint8)) & taken).any():
            return at, angle
    return None


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--photos", type=int, default=200)
    parser.add_argument("--pieces", type=int, default=60)
    parser.add_argument("--tags", action="store_true")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    chance = random.Random(5)
    layout = TAG if options.tags else SLIP
    chosen = [p for p in photos(options.photo_set, ("single", "twice", "pieces", "enrol")) if len(p.baits) == 1]
    outcome: Counter[str] = Counter()
    pieces: dict[str, set[int]] = defaultdict(set)
    seconds = []
    for i in range(options.photos):
        photo = chosen[i % len(chosen)]
        scale = ideal_calibration(photo).scale.px_per_mm or USUAL_PX_PER_MM
        place = free_place(photo, layout, scale, chance)
        if place is None:
            outcome["no room for a slip"] += 1
            continue
        piece = i % options.pieces
        whole = read(photo.path)
        slip = drawn(f"baitprint:mill house/{piece}", layout)
        pixels, _ = laid(slip, (float(place[0][0]), float(place[0][1])), place[1], scale, np.array(whole.pixels))
        coded = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1]
        again = np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR), np.uint8)
        shot = replace(whole, pixels=np.ascontiguousarray(again[..., ::-1]))
        begun = time.perf_counter()
        found = slips.find(shot)
        seconds.append(time.perf_counter() - begun)
        _, _, said = slips.set_apart(shot, found, Separation((), ()))
        if found.slip is None:
            outcome["said to be unread" if any(n.code == "slip-unread" for n in said) else "not seen"] += 1
        else:
            outcome["read" if found.slip.number == f"mill house/{piece}" else "WRONG"] += 1
            pieces[found.slip.number].add(piece)
    print(", ".join(f"{name}: {n}" for name, n in outcome.most_common()))
    print(f"{len(pieces)} pieces, {sum(len(p) > 1 for p in pieces.values())} joined wrongly")
    print(f"{1000 * float(np.median(seconds)):.0f} ms a photo in the median, {1000 * max(seconds):.0f} at most")


if __name__ == "__main__":
    main()
