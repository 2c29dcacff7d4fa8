"""How well the card is found: `python -m tests.benchmarks.card PHOTO_SET [--split tune|report] [--subset NAME ...]`.

Found and false cards with Wilson intervals, corner error, and the error of a length of 70 mm laid in the card's plane
through the baits' places (or the picture's centre), against the set's truth.  False cards are counted on photos without
a card and on pictures cropped clear of it.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from pathlib import Path

import cv2
import numpy as np

from identify.calibration import Calibration
from identify.card import find
from identify.geometry import Array
from identify.photo import Photo, read
from identify.settings import Settings
from tests.benchmarks.truth import PhotoTruth, ideal_calibration, photos


def wilson(hits: int, n: int, z: float = 1.96) -> tuple[float, float]:
    """Wilson score interval of a share."""
    if n == 0:
        return 0.0, 1.0
    p, d = hits / n, 1 + z * z / n
    half = z / d * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return (p + z * z / (2 * n)) / d - half, (p + z * z / (2 * n)) / d + half


def corner_errors(found: Calibration, truth: PhotoTruth) -> Array:
    """Distances (4,) of the corners found from the true ones, in pixels."""
    seen, true = np.array(found.card.corners_px), np.array(truth.truth["card_corners_px"])
    every = [np.hypot(*(seen - np.roll(true[::s], k, 0)).T) for s in (1, -1) for k in range(4)]
    return min(every, key=lambda e: float(e.max()))


def length_error(found: Calibration, ideal: Calibration, truth: PhotoTruth) -> float:
    """Relative error of a length of 70 mm in the card's plane, at the baits' places: signed mean over directions."""
    baits = truth.baits
    places = [np.mean(b["body_polygon_px"], 0) for b in baits] or [np.array(truth.truth["size_px"]) / 2]
    errors = []
    for place in places:
        at = ideal.to_mm(place)[0]
        for angle in np.arange(0, np.pi, np.pi / 6):
            half = 35 * np.array([np.cos(angle), np.sin(angle)])
            ends = found.to_mm(ideal.to_px([at - half, at + half]))
            errors.append(float(np.hypot(*(ends[1] - ends[0]))) / 70 - 1)
    return float(np.mean(errors))


def clear_crops(photo: Photo, truth: PhotoTruth) -> list[Photo]:
    """The largest pieces of the photo on each side of the card that show nothing, and such that show part, of it."""
    corners = np.array(truth.truth["card_corners_px"])
    (x0, y0), (x1, y1) = corners.min(0), corners.max(0)
    w, h = photo.width, photo.height
    cuts = [(0, 0, int(x0) - 6, h), (int(x1) + 6, 0, w, h), (0, 0, w, int(y0) - 6), (0, int(y1) + 6, w, h)]
    clear = [c for c in cuts if c[2] - c[0] > 250 and c[3] - c[1] > 250]
    clear = sorted(clear, key=lambda c: -(c[2] - c[0]) * (c[3] - c[1]))[:1]
    part = [(int(x0 + 0.3 * (x1 - x0)), 0, w, h), (0, 0, w, int(y0 + 0.7 * (y1 - y0)))]
    part = [c for c in part if c[2] - c[0] > 250 and c[3] - c[1] > 250][:1]
    return [
        Photo(
            photo.name, photo.sha256, np.ascontiguousarray(photo.pixels[c[1] : c[3], c[0] : c[2]]), None, cropped=True
        )
        for c in clear + part
    ]


def main() -> None:
    """Run and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--split")
    parser.add_argument("--subset", nargs="*", default=[])
    parser.add_argument("--no-crops", action="store_true", help="leave out the pictures cropped clear of the card")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    settings = Settings(card_thickness_mm=0.8)
    rows: dict[str, list[float]] = {
        k: [] for k in ("corner", "length", "tenth", "ratio", "z", "u", "exposure", "gain", "ms3", "ms12")
    }
    found_n = carded = false_n = without = 0
    for truth in photos(args.photo_set, tuple(args.subset), args.split):
        photo = read(truth.path)
        start = time.process_time()
        found = find(photo, settings)
        rows["ms12" if photo.width * photo.height > 6e6 else "ms3"].append((time.process_time() - start) * 1e3)
        name = truth.truth["file"]
        if truth.truth["card_corners_px"] is None:
            without += 1
            if found.card.found:
                false_n += 1
                print("FALSE", name, file=sys.stderr)
            continue
        carded += 1
        if not args.no_crops:
            for cut in clear_crops(photo, truth):
                without += 1
                if find(cut, settings).card.found:
                    false_n += 1
                    print("FALSE in a crop of", name, cut.width, cut.height, file=sys.stderr)
        if not found.card.found:
            print("missed", name, found.card.why_not, file=sys.stderr)
            continue
        corners = corner_errors(found, truth)
        if corners.max() > 20:
            false_n += 1
            print("WRONG", name, file=sys.stderr)
            continue
        found_n += 1
        ideal = ideal_calibration(truth)
        assert found.camera and ideal.camera
        error = length_error(found, ideal, truth)
        rows["corner"].append(float(corners.max()))
        rows["length"].append(error)
        rows["tenth"].append(abs(error))
        rows["ratio"].append(abs(error) / found.scale_u)
        rows["u"].append(found.scale_u)
        rows["z"].append(abs(found.camera.at_mm[2] / ideal.camera.at_mm[2] - 1))
        rows["exposure"].append(abs(found.exposure / ideal.exposure - 1))
        rows["gain"].append(float(np.abs(np.array(found.gains) / np.array(ideal.gains) - 1).max()))
        if corners.max() > 1.0 or abs(error) > 0.002:
            print(f"off    {name} corner {corners.max():.2f} px length {100 * error:.2f} %", file=sys.stderr)
    low, high = wilson(found_n, carded)
    print(f"found        {found_n} of {carded} ({100 * low:.1f} to {100 * high:.1f} %)")
    low, high = wilson(false_n, without)
    print(f"false cards  {false_n} of {without} ({100 * low:.1f} to {100 * high:.1f} %)")
    labels = {
        "corner": ("largest corner error", "px", 1.0), "tenth": ("70 mm, |error|", "%", 100.0),
        "length": ("70 mm, signed", "%", 100.0), "ratio": ("|error| / u", "", 1.0), "u": ("u of scale", "%", 100.0),
        "z": ("camera distance", "%", 100.0), "exposure": ("exposure", "%", 100.0), "gain": ("gains", "%", 100.0),
        "ms3": ("time, 3 MP", "ms", 1.0), "ms12": ("time, 12 MP", "ms", 1.0),
    }  # fmt: skip
    for key, (label, unit, factor) in labels.items():
        v = np.array(rows[key]) * factor
        if len(v):
            print(
                f"{label:22s} mean {v.mean():8.3f}  median {np.median(v):8.3f}  "
                f"p95 {np.percentile(v, 95):8.3f} {unit}  n {len(v)}"
            )


if __name__ == "__main__":
    main()
