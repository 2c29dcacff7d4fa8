"""How well `closeup.look` and `body.trace` find the body's outline, judged on their own: from regions made of the truth
and then spoilt (`spoilt_region`), or from `separate` (`--regions separate`), against the visible contour.

    python -m tests.benchmarks.body PHOTO_SET [--split tune] [--subsets single,twice] [--regions spoilt|separate]
"""

from __future__ import annotations

import argparse
import dataclasses
import time
import zlib
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from shapely.geometry import Point as Dot
from shapely.geometry import Polygon as Shape

from identify import closeup
from identify import photo as photos_io
from identify.body import trace
from identify.calibration import Calibration
from identify.geometry import Array, extent_across, max_feret, resample_closed
from identify.photo import Photo
from identify.settings import Settings
from identify.stages import Body, Region
from tests.benchmarks.truth import PhotoTruth, ideal_calibration, ideal_region, photos

Case = tuple[PhotoTruth, dict[str, Any], Photo, Region, Calibration]


def spoilt_region(truth: PhotoTruth, bait: dict[str, Any], px_per_mm: float, linear: Any, seed: int) -> Region:
    """The ideal region with the faults that a real separation has: a core that errs by up to a millimetre, bulges
    where a shadow was taken for the body, a shortened tail and stubs of hooks."""
    region = ideal_region(truth, bait, px_per_mm, linear)
    rng = np.random.default_rng(seed)
    core = region.core.astype(np.uint8)
    signed = cv2.distanceTransform(core, cv2.DIST_L2, 5) - cv2.distanceTransform(1 - core, cv2.DIST_L2, 5)
    noise = cv2.resize(rng.normal(0, 1, (7, 7)).astype(np.float32), core.shape[::-1], interpolation=cv2.INTER_CUBIC)
    yy, xx = np.mgrid[: core.shape[0], : core.shape[1]].astype(np.float32)
    angle = rng.uniform(0, 2 * np.pi)
    side = (xx - core.shape[1] / 2) * np.cos(angle) + (yy - core.shape[0] / 2) * np.sin(angle)
    error = rng.uniform(-0.5, 0.4) + 0.35 * noise + 0.8 * rng.uniform() * (side > 0.1 * side.max())
    spoilt = (signed + error * px_per_mm > 0).astype(np.uint8)
    for line in (np.array(q) for hook in bait["hooks_px"] for q in hook):
        near = [q for q in np.round(line - np.array(region.window[:2])).astype(int) if _within(signed, q, px_per_mm)]
        if len(near) > 1:
            cv2.polylines(spoilt, [np.array(near, np.int32)], False, 1, max(1, round(1.2 * px_per_mm)))
    r = max(1, round(rng.uniform(0.6, 1.3) * px_per_mm))
    spoilt = cv2.morphologyEx(spoilt, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1,) * 2))
    shrink = max(1, round(px_per_mm / 5))
    return _shrunk(dataclasses.replace(region, core=spoilt > 0, mask=region.mask | (spoilt > 0)), shrink)


def _within(signed: Any, q: Any, px_per_mm: float) -> bool:
    x, y = np.clip(q, 0, np.array(signed.shape[::-1]) - 1)
    return bool(signed[y, x] > -1.5 * px_per_mm)


def _shrunk(region: Region, shrink: int) -> Region:
    if shrink == 1:
        return region
    h, w = (n // shrink for n in region.mask.shape)

    def down(a: Any) -> Any:
        return cv2.resize(a[: h * shrink, : w * shrink], (w, h), interpolation=cv2.INTER_AREA)

    mask, core = (down(a.astype(np.float32)) > 0.5 for a in (region.mask, region.core))
    return Region(region.window, shrink, mask, core, down(region.ground), region.touches_edge)


def cases(folder: Path, subsets: tuple[str, ...], split: str | None, regions: str, every: int = 1) -> Iterator[Case]:
    """All baits of a set with the region that the close look is to start from."""
    for k, truth in enumerate(photos(folder, subsets, split)):
        if k % every:
            continue
        photo = photos_io.read(truth.path)
        calibration = ideal_calibration(truth)
        if regions == "separate":
            from identify.separate import separate

            found = separate(photo, calibration, Settings()).regions
        else:
            linear = photo.linear()
        for i, bait in enumerate(truth.baits):
            if regions == "separate":
                centre = np.mean(bait["apparent_polygon_px"], 0)
                hit = [r for r in found if _covers(r, centre)]
                if not hit:
                    print("no region for", truth.truth["file"], i)
                    continue
                region = hit[0]
            else:
                px_per_mm = bait["length_px"] / bait["length_mm"]
                seed = zlib.crc32(truth.truth["file"].encode()) + i
                region = spoilt_region(truth, bait, px_per_mm, linear, seed)
            yield truth, bait, photo, region, calibration


def _covers(region: Region, centre: Array) -> bool:
    x, y = np.round(region.from_photo(centre[None])[0]).astype(int)
    h, w = region.mask.shape
    return bool(0 <= x < w and 0 <= y < h and region.mask[y, x])


def errors(bait: dict[str, Any], body: Body) -> dict[str, float]:
    """Relative errors of length and depth, and boundary distances in px."""
    true = np.array(bait["apparent_polygon_px"], float)
    (a, b), (c, d) = max_feret(true), max_feret(body.outline_px)
    line = Shape(true).exterior
    inside = Shape(true)
    even = resample_closed(body.outline_px, 300)
    signed = np.array([line.distance(Dot(q)) * (-1 if inside.contains(Dot(q)) else 1) for q in even])
    return {
        "length": np.hypot(*(d - c)) / np.hypot(*(b - a)) - 1,
        "depth": extent_across(body.outline_px, c, d) / extent_across(true, a, b) - 1,
        "signed_px": float(signed.mean()),
        "mean_px": float(np.abs(signed).mean()),
        "max_px": float(np.abs(signed).max()),
        "u": body.u_edge_px,
        "clear": float(body.clear.mean()),
    }


def table(rows: list[dict[str, Any]], key: str) -> None:
    """Print the errors grouped by one key."""
    groups: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        groups[str(row[key])].append(row)
        groups["all"].append(row)
    print(
        f"{key:12s}   n | length %: median  mean    p95 | depth %: median  mean    p95"
        " | px: signed  mean  p95max | u clear"
    )
    for name, some in sorted(groups.items(), key=lambda kv: kv[0] == "all"):
        v = {
            k: np.array([r[k] for r in some])
            for k in ("length", "depth", "signed_px", "mean_px", "max_px", "u", "clear")
        }
        a, b = 100 * v["length"], 100 * v["depth"]
        print(
            f"{name:12s} {len(some):3d} | {np.median(abs(a)):16.2f} {a.mean():6.2f} {np.percentile(abs(a), 95):6.2f}"
            f" | {np.median(abs(b)):15.2f} {b.mean():6.2f} {np.percentile(abs(b), 95):6.2f}"
            f" | {np.median(v['signed_px']):9.2f} {np.median(v['mean_px']):6.2f} {np.percentile(v['max_px'], 95):6.1f}"
            f" | {np.median(v['u']):.2f} {np.median(v['clear']):.2f}"
        )


def main() -> None:
    """Run the benchmark and print its tables."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("photo_set", type=Path)
    ask.add_argument("--split", default="tune")
    ask.add_argument("--subsets", default="single,twice,pieces,enrol")
    ask.add_argument("--regions", choices=("spoilt", "separate"), default="spoilt")
    ask.add_argument("--every", type=int, default=1, help="take every n-th photo")
    told = ask.parse_args()
    cv2.setNumThreads(1)
    rows = []
    for truth, bait, photo, region, calibration in cases(
        told.photo_set, tuple(told.subsets.split(",")), told.split, told.regions, told.every
    ):
        start = time.process_time()
        body = trace(photo, region, closeup.look(photo, region, calibration))
        took = time.process_time() - start
        row = {**errors(bait, body), "file": truth.truth["file"], "subset": truth.subset, "ms": 1000 * took}
        rows.append({**row, "ground": truth.truth["background"], "model": bait["model"]})
    for key in ("ground", "subset"):
        table(rows, key)
    print(f"median {np.median([r['ms'] for r in rows]):.0f} ms a bait")
    for name in ("length", "depth", "mean_px"):
        worst = sorted(rows, key=lambda r: -abs(r[name]))[:10]
        print(f"worst {name}:", ", ".join(f"{r['file']} {r['model']} {r[name]:.4f}" for r in worst))


if __name__ == "__main__":
    main()
