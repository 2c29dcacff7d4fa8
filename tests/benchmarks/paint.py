"""How well paint is read, judged on its own: ideal outline, hardware and pose from the truth.

    python -m tests.benchmarks.paint PHOTO_SET [--split tune|report] [--subsets single,twice,pieces] [--ideal-regions]
                                     [--misses]

Colours are compared with the paint's truth by CIEDE2000, also with ΔL' = 0, by finish and by tone curve; zones and
pattern with the world's colourways.  Regions come from the separation stage unless --ideal-regions is given.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from identify import paint
from identify.calibration import Calibration
from identify.colour import delta_e
from identify.geometry import max_feret
from identify.photo import Photo
from identify.photo import read as read_photo
from identify.records import Colour, Quantity, Thickness
from identify.separate import separate
from identify.settings import Point, Settings
from identify.stages import Body, EyeSeen, Hardware, HookSeen, Paint, Pose, Region, Ring, Sizing
from tests.benchmarks.truth import (
    CARD_THICKNESS_MM,
    PhotoTruth,
    ideal_body,
    ideal_calibration,
    ideal_region,
    photos,
    world,
)

USUAL_THICKNESS = 0.65


@dataclass(frozen=True)
class Reading:
    """What was read of one bait, beside its truth."""

    file: str
    curve: bool
    bait: dict[str, Any]
    colourway: dict[str, Any]
    paint: Paint
    seconds: float

    @property
    def finish(self) -> str:
        return "leaf" if self.bait["foil"] else "clear" if self.bait["translucent"] else "plain"

    @property
    def pattern(self) -> str:
        c = self.colourway
        return "dots" if c["dots"] else "bars" if c["bars"] else "plain" if c["edge"] == "sharp" else "blend"

    def colours(self) -> Iterator[tuple[str, Colour, Any]]:
        for name, colour in (("back", self.paint.back), ("belly", self.paint.belly)):
            if colour is not None:
                yield name, colour, np.array(self.bait[f"{name}_lab_d50"])


def _point(p: Any) -> Point:
    return float(p[0]), float(p[1])


def ideal_stages(bait: dict[str, Any], calibration: Calibration, body: Body) -> tuple[Sizing, Hardware, Pose]:
    """Sizing, hardware (without eyes) and pose as perfect stages would give them; thickness only as depth tells it."""
    height = bait["mid_plane_height_mm"] - CARD_THICKNESS_MM
    a, b = max_feret(body.outline_px)
    nose = np.array(bait["nose_px"])
    if np.hypot(*(a - nose)) > np.hypot(*(b - nose)):
        a, b = b, a
    length, depth = bait["feret_length_mm"], bait["feret_depth_mm"]
    scale = calibration.px_per_mm_at((a + b) / 2, height) if calibration.has_scale else None
    sizing = Sizing(
        (_point(a), _point(b)),
        Quantity(length, 0.3) if scale else None,
        Quantity(depth, 0.2) if scale else None,
        Quantity(depth / length, 0.005),
        Thickness(USUAL_THICKNESS * depth, 0.2 * depth) if scale else None,
        height,
        scale,
    )
    rings = tuple(
        Ring(_point(c), _point(c), 2 * r, 0.9, False)
        for c, r in zip(bait["ties_px"], bait["tie_radius_px"], strict=False)
    )
    hooks = tuple(HookSeen(_point(np.concatenate([np.array(q) for q in h]).mean(0)), 0.9) for h in bait["hooks_px"])
    eyes: tuple[EyeSeen, ...] = ()
    pose = Pose(
        _point(a), _point(b), not bait["mirrored"], 0.99, 0.99, (), (), None, 0.0, (0.0, 1.0, 0.0, 0.0, 0.0, 0.0)
    )
    return sizing, Hardware(rings, hooks, eyes, ()), pose


def _region(
    truth: PhotoTruth, bait: dict[str, Any], photo: Photo, cal: Calibration, found: tuple[Region, ...]
) -> Region:
    """The separated region that covers the bait best, else an ideal one."""
    polygon = np.array(bait["apparent_polygon_px"])
    best, score = None, 0.5
    for region in found:
        mask = np.zeros(region.mask.shape, np.uint8)
        cv2.fillPoly(mask, [np.round(region.from_photo(polygon)).astype(np.int32)], 1)
        overlap = float((region.mask & (mask > 0)).sum() / max((region.mask | (mask > 0)).sum(), 1))
        if overlap > score:
            best, score = region, overlap
    scale = bait["length_px"] / bait["length_mm"]
    return best or ideal_region(truth, bait, scale, photo.linear())


def readings(folder: Path, subsets: tuple[str, ...], split: str | None, ideal: bool) -> Iterator[Reading]:
    colourways = world(folder)["colourways"]
    for truth in photos(folder, subsets, split):
        photo, cal = read_photo(truth.path), ideal_calibration(truth)
        found = () if ideal else separate(photo, cal, Settings()).regions
        for bait in truth.baits:
            body = ideal_body(bait)
            sizing, hardware, pose = ideal_stages(bait, cal, body)
            region = _region(truth, bait, photo, cal, found)
            start = time.perf_counter()
            result = paint.read(photo, region, body, sizing, hardware, pose, cal)
            seconds = time.perf_counter() - start
            yield Reading(
                truth.truth["file"], truth.truth["tone_curve"], bait, colourways[bait["colourway"]], result, seconds
            )


def _colour_table(rows: list[Reading]) -> None:
    print("finish  light        n   ΔE00   ΔE00 (ΔL'=0)   lab_seen   median |error|/u   within 2u   mean ΔL*")
    for finish in ("plain", "leaf", "clear"):
        for label, curve in (("all", None), ("linear", False), ("tone curve", True)):
            chosen = [r for r in rows if r.finish == finish and curve in (None, r.curve)]
            found = [(c, t) for r in chosen for _, c, t in r.colours()]
            if not found:
                continue
            de = np.array([delta_e(c.lab, t) for c, t in found])
            hue = np.array([delta_e(c.lab, t, ignore_lightness=True) for c, t in found])
            seen = np.array([delta_e(c.lab_seen, t) for c, t in found])
            ratio = de / np.array([c.u for c, _ in found])
            light = np.mean([c.lab[0] - t[0] for c, t in found])
            print(
                f"{finish:7} {label:10} {len(found):3}   {np.median(de):4.2f}   {np.median(hue):4.2f}"
                f"           {np.median(seen):4.2f}       {np.median(ratio):4.2f}"
                f"               {np.mean(ratio < 2):4.0%}       {light:+.1f}"
            )


def _twice(rows: list[Reading]) -> None:
    pairs: dict[str, list[Reading]] = {}
    for r in rows:
        if r.file.startswith("twice/"):
            pairs.setdefault(r.file.rsplit("_", 1)[0], []).append(r)
    for label, finishes in (("all", ("plain", "leaf", "clear")), ("plain finish", ("plain",))):
        apart = []
        for pair in pairs.values():
            if len(pair) == 2 and pair[0].finish in finishes:
                first, second = ({n: c for n, c, _ in r.colours()} for r in pair)
                apart += [float(delta_e(first[n].lab_seen, second[n].lab_seen)) for n in first if n in second]
        if apart:
            print(f"one piece in two photos, lab_seen, {label}: median {np.median(apart):.2f} (n = {len(apart)})")


def _zones_and_pattern(rows: list[Reading]) -> None:
    truth = [{z["kind"].replace("stripe", "side") for z in r.bait["zones"]} for r in rows]
    got = [{z.kind for z in r.paint.zones} for r in rows]
    there = sum(map(len, truth))
    hit = sum(len(t & g) for t, g in zip(truth, got, strict=True))
    false = sum(bool(g - t) for t, g in zip(truth, got, strict=True))
    print(f"zones found where they are {hit} of {there}; baits with a zone that is not there {false} of {len(rows)}")
    off = [
        float(delta_e(z.colour.lab, t["lab_d50"]))
        for r in rows
        for z in r.paint.zones
        for t in r.bait["zones"]
        if t["kind"].replace("stripe", "side") == z.kind
    ]
    if off:
        print(f"zone colours: median ΔE00 {np.median(off):.2f}")
    print("pattern (true, read):")
    table = Counter((r.pattern, r.paint.pattern.kind if r.paint.pattern else "none") for r in rows)
    for (true, read_), n in sorted(table.items()):
        print(f"   {true:6} {read_:6} {n}")
    leaf = [("leaf" in r.paint.hard_to_read, r.finish == "leaf") for r in rows]
    print(
        f"leaf flagged {sum(a and b for a, b in leaf)} of {sum(b for _, b in leaf)}, "
        f"wrongly {sum(a and not b for a, b in leaf)} of {sum(not b for _, b in leaf)}"
    )


def main() -> None:
    cv2.setNumThreads(1)
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--split", choices=["tune", "report"])
    parser.add_argument("--subsets", default="single,twice,pieces")
    parser.add_argument("--ideal-regions", action="store_true")
    parser.add_argument("--misses", action="store_true", help="list the twenty worst colours")
    args = parser.parse_args()
    rows = list(readings(args.folder, tuple(args.subsets.split(",")), args.split, args.ideal_regions))
    _colour_table(rows)
    _twice(rows)
    _zones_and_pattern(rows)
    print(f"time per bait: median {1000 * np.median([r.seconds for r in rows]):.0f} ms")
    if args.misses:
        worst = [(float(delta_e(c.lab, t)), r, n, c, t) for r in rows for n, c, t in r.colours()]
        for de, r, name, colour, truth in sorted(worst, key=lambda w: -w[0])[:20]:
            off = np.round(np.subtract(colour.lab, truth), 1)
            print(f"{r.file} {r.bait['colourway']} {name}: {de:.1f}, ΔLab {off}, u {colour.u:.1f}")


if __name__ == "__main__":
    main()
