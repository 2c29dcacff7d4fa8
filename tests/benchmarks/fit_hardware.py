"""Fits the weights that `identify.hardware` ships (rings.json, eyes.json, lips.json) on the tune split of a photo set.

    python -m tests.benchmarks.fit_hardware PHOTO_SET [--every N]

Cases are the candidates that `rings.find`, `eye.candidates` and `lip.bars` give on true outlines, on outlines as they
are traced, on either spoilt by up to 0.2 mm, and on the same photos reduced to 5 to 7 px/mm; each labelled by what
truly sits there.  Candidates near a labelled one but not the nearest are left out: they are neither.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from sklearn.neural_network import MLPClassifier

from identify import hardware
from identify.geometry import Array
from identify.hardware import eye, lip, polar, rings, traits, view
from identify.photo import Photo
from identify.stages import Body, Region, Ring, Sizing
from tests.benchmarks import hardware as bench

RING_CLASSES = ("none", "tie", "hanger", "hooked")
EYE_CLASSES = ("none", "eye")
LIP_CLASSES = ("none", "lip")
MEMBERS = 3
BARE = 0.3
"""Share of the views that also count without their rings: baits that have lost them all exist."""

Case = tuple[Photo, Region, Body, Sizing, bench.HardwareTruth]


def reduced(case: Case, factor: float) -> Case:
    """The same bait in a photo of fewer pixels."""
    photo, region, body, sizing, truth = case
    x0, y0, x1, y1 = region.window
    pixels = cv2.resize(photo.pixels[y0:y1, x0:x1], None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    ground = cv2.resize(region.ground, pixels.shape[1::-1], interpolation=cv2.INTER_AREA)

    def move(points: Any) -> Array:
        return np.asarray((np.asarray(points, float).reshape(-1, 2) - [x0, y0] + 0.5) * factor - 0.5)

    start, end = move(sizing.ends_px)
    h, w = pixels.shape[:2]
    blank = np.zeros((h, w), bool)
    moved = dataclasses.replace(
        truth,
        ties=move(truth.ties),
        hangers=move(truth.hangers),
        eye=None if truth.eye is None else move(truth.eye)[0],
        eye_diameter=truth.eye_diameter * factor,
        px_per_mm=truth.px_per_mm * factor,
    )
    return (
        Photo(photo.name, "", np.asarray(pixels, np.uint8), None),
        Region((0, 0, w, h), 1, blank, blank, np.asarray(ground, np.float32), False),
        dataclasses.replace(body, outline_px=move(body.outline_px)),
        dataclasses.replace(
            sizing,
            ends_px=((start[0], start[1]), (end[0], end[1])),
            px_per_mm=sizing.px_per_mm * factor if sizing.px_per_mm else None,
        ),
        moved,
    )


def spoilt(seen: view.View, amount_mm: float, rng: np.random.Generator) -> view.View:
    """The view with an outline that wanders from the true one."""
    n = len(seen.outline)
    k = np.fft.rfftfreq(n, 1 / n)
    wave = np.fft.irfft((rng.normal(size=len(k)) + 1j * rng.normal(size=len(k))) * np.exp(-((k / 8) ** 2)), n)
    wave *= amount_mm * view.PX_PER_MM / max(float(wave.std()), 1e-9)
    return view.with_outline(seen, seen.outline + seen.normals * wave[:, None])


def cases(folder: Path, every: int) -> Iterator[Case]:
    """Baits of the tune split: ideal outlines, then those of single, twice and pieces as they are traced."""
    for subsets, regions in (((), "ideal"), (("single", "twice", "pieces"), "real")):
        for _, _, hard, found in bench.stages_of(folder, subsets, "tune", regions, every):
            yield (*found[:4], hard)


def label_rings(seen: view.View, places: rings.Places, truth: bench.HardwareTruth) -> Array:
    """Index into RING_CLASSES of each place, -1 where it is unclear."""
    labels = np.zeros(len(places), int)
    targets = [(p, 1) for p in truth.ties] + [
        (p, 3 if h else 2) for p, h in zip(truth.hangers, truth.hooked, strict=True)
    ]
    for point, label in targets:
        d = np.hypot(*(places.centre - seen.from_photo(point)[0]).T) / view.PX_PER_MM
        nearest = int(np.argmin(d))
        if d[nearest] < 1.1:
            labels[nearest] = label
        labels[(d < 1.4) & (labels == 0)] = -1
    return labels


def label_eyes(seen: view.View, found: list[eye.Candidate], truth: bench.HardwareTruth) -> Array:
    """1 for the eye, 0 for others, -1 near the eye: it is seen off its place in the mid plane by a few mm."""
    labels = np.zeros(len(found), int)
    if truth.eye is None or not found:
        return labels
    at = seen.from_photo(truth.eye)[0]
    d = np.array([np.hypot(*(f.centre - at)) / view.PX_PER_MM for f in found])
    off = np.array([abs(f.diameter_mm - truth.eye_diameter / seen.scale) for f in found])
    near = d < 3.4
    if near.any():
        worth = np.where(near, [f.score for f in found] - 0.3 * off, -np.inf)
        labels[near] = -1
        labels[int(np.argmax(worth))] = 1
    return labels


def true_rings(truth: bench.HardwareTruth) -> tuple[Ring, ...]:
    """All rings that are there."""
    points = [(float(x), float(y)) for x, y in (*truth.ties, *truth.hangers)]
    return tuple(Ring(p, p, 3.5 * truth.px_per_mm, 0.99, False) for p in points)


def label_bars(seen: view.View, bars: list[lip.Bar], truth: bench.HardwareTruth) -> Array:
    """1 for a bar at the nose of a bait that has a lip."""
    nose, tail = seen.from_photo([truth.nose, truth.tail])
    at_nose = [np.hypot(*(b.root - nose)) < np.hypot(*(b.root - tail)) for b in bars]
    return np.array([int(truth.lip and q) for q in at_nose], int)


def fit(inputs: Array, labels: Array, names: tuple[str, ...], classes: tuple[str, ...], hidden: int) -> dict[str, Any]:
    """A Network as JSON."""
    keep = labels >= 0
    mean, spread = inputs[keep].mean(0), np.maximum(inputs[keep].std(0), 1e-6)
    x = np.clip((inputs[keep] - mean) / spread, -5, 5)
    members = []
    for seed in range(MEMBERS):
        net = MLPClassifier((hidden,), alpha=1.0, max_iter=250, random_state=seed).fit(x, labels[keep])
        layers = [[w, b] for w, b in zip(net.coefs_, net.intercepts_, strict=True)]
        if len(classes) == 2:  # one logistic output is a softmax over (0, it)
            w, b = layers[-1]
            layers[-1] = [np.column_stack([np.zeros(len(w)), w[:, 0]]), np.array([0.0, b[0]])]
        members.append([[np.round(w, 4).tolist(), np.round(b, 4).tolist()] for w, b in layers])
    return {
        "fitted by": "python -m tests.benchmarks.fit_hardware, tune split only",
        "cases": int(keep.sum()),
        "names": list(names),
        "classes": list(classes),
        "mean": np.round(mean, 5).tolist(),
        "spread": np.round(spread, 5).tolist(),
        "members": members,
    }


def main() -> None:
    """Collect, fit, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--every", type=int, default=1)
    options = parser.parse_args()
    rng = np.random.default_rng(0)
    ring_x, ring_y, eye_x, eye_y, lip_x, lip_y = [], [], [], [], [], []
    names: tuple[str, ...] = ()
    for case in cases(options.photo_set, options.every):
        small = reduced(case, rng.uniform(4.8, 7) / case[4].px_per_mm) if case[4].px_per_mm > 7.5 else None
        for k, (photo, region, body, sizing, truth) in enumerate(c for c in (case, small) if c is not None):
            seen = view.look(photo, region, body, sizing)
            views = [seen, spoilt(seen, rng.uniform(0.05, 0.2), rng)] if k == 0 else [seen]
            for v in views:
                white = polar.whiten(v)
                places = rings.find(v, white)
                x, names = traits.traits(v, white, places)
                ring_x.append(x)
                ring_y.append(label_rings(v, places, truth))
                if rng.random() < BARE:
                    bare = places.take(np.flatnonzero(ring_y[-1] == 0))
                    ring_x.append(traits.traits(v, white, bare)[0])
                    ring_y.append(np.zeros(len(bare), int))
            bars = lip.bars(seen, polar.whiten(seen), true_rings(truth))
            lip_x.append(np.array([b.looks for b in bars]).reshape(-1, len(lip.NAMES)))
            lip_y.append(label_bars(seen, bars, truth))
            found = eye.candidates(seen)
            eye_x.append(eye.traits(seen, found))
            eye_y.append(label_eyes(seen, found, truth))
    folder = Path(hardware.__file__).parent
    for file, x, y, n, classes, hidden in (
        ("rings", ring_x, ring_y, names, RING_CLASSES, 24),
        ("lips", lip_x, lip_y, lip.NAMES, LIP_CLASSES, 8),
        ("eyes", eye_x, eye_y, eye.NAMES, EYE_CLASSES, 10),
    ):
        document = fit(np.concatenate(x), np.concatenate(y), n, classes, hidden)
        (folder / f"{file}.json").write_text(json.dumps(document, separators=(",", ":")) + "\n", "utf-8")


if __name__ == "__main__":
    main()
