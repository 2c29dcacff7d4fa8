"""How well `closeup.look`, `hardware.detect` and `orient.resolve` find rings, hooks, eye, nose and back, judged on
their own: on true outlines, or on those that `separate` and `trace` find.

    python -m tests.benchmarks.hardware PHOTO_SET [--split tune] [--subsets single,twice] [--regions ideal|real]
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike
from shapely.geometry import Polygon as Shape

from identify import photo as photos_io
from identify.body import trace
from identify.calibration import Calibration
from identify.closeup import Closeup, look
from identify.geometry import Array, apply_homography, extent_across, max_feret
from identify.hardware import detect
from identify.orient import resolve
from identify.photo import Photo
from identify.records import Quantity
from identify.separate import separate
from identify.settings import Settings
from identify.size import measure_size
from identify.stages import Body, Hardware, Pose, Region, Sizing
from tests.benchmarks.truth import PhotoTruth, ideal_body, ideal_calibration, ideal_region, photos, world


@dataclass(frozen=True, eq=False)
class HardwareTruth:
    """Where everything sits, in pixels of the photo."""

    ties: Array
    painted: tuple[bool, ...]
    hangers: Array
    hooked: tuple[bool, ...]
    hooks: Array
    eye: Array | None
    eye_diameter: float
    lip: bool
    nose: Array
    tail: Array
    back: Array
    px_per_mm: float


def truth_of(bait: dict[str, Any], world: dict[str, Any]) -> HardwareTruth:
    """The world's model, set on the bait by the homography between its outline and the projected one."""
    models = {**world["models"], **world["unknown_models"]}
    model = models[bait["model"]]
    size = model["sizes"][bait["size_index"]]
    stretch = np.array([bait["length_factor"], bait["depth_factor"]])
    onto, _ = cv2.findHomography(np.array(size["outline_mm"]) * stretch, np.array(bait["body_polygon_px"]))

    def place(mm: ArrayLike) -> Array:
        return apply_homography(onto, np.atleast_2d(np.asarray(mm, float)) * stretch)

    hangers = place([h["centre_mm"] for h in size["hangers"]])
    starts = np.array([hook[0][0] for hook in bait["hooks_px"]]).reshape(-1, 2)
    taken = {int(np.argmin(np.hypot(*(hangers - s).T))) for s in starts}
    eye = size["eye"]
    middle = np.array([size["length_mm"] / 2, 0.0])
    ppm = bait["length_px"] / bait["length_mm"]
    return HardwareTruth(
        np.array(bait["ties_px"], float).reshape(-1, 2),
        tuple(bait["tie_painted"]),
        hangers,
        tuple(i in taken for i in range(len(hangers))),
        starts,
        place(eye["at_mm"])[0] if eye else None,
        eye["diameter_mm"] * ppm if eye else 0.0,
        model["lip"] is not None,
        np.array(bait["nose_px"], float),
        np.array(bait["tail_px"], float),
        place(middle + np.array([0.0, 5.0]))[0] - place(middle)[0],
        ppm,
    )


def ideal_sizing(body: Body, calibration: Calibration, height_mm: float) -> Sizing:
    """The size that a perfect outline and scale would give."""
    a, b = max_feret(body.outline_px)
    ends = ((float(a[0]), float(a[1])), (float(b[0]), float(b[1])))
    proportion = Quantity(extent_across(body.outline_px, a, b) / float(np.hypot(*(b - a))), 0.005)
    if not calibration.has_scale:
        return Sizing(ends, None, None, proportion, None, height_mm, None)
    ppm = calibration.px_per_mm_at((a + b) / 2, height_mm)
    length = float(np.hypot(*(b - a))) / ppm
    return Sizing(
        ends, Quantity(length, 0.3), Quantity(length * proportion.value, 0.3), proportion, None, height_mm, ppm
    )


# ------------------------------------------------------------------ the benchmark
@dataclass(frozen=True, eq=False)
class Outcome:
    """What was found on one bait, beside its truth."""

    photo: str
    subset: str
    model: str
    px_per_mm: float
    truth: HardwareTruth
    hardware: Hardware
    pose: Pose
    true_nose_first: bool
    true_back_left: bool
    body: Body
    sizing: Sizing
    seconds: float

    @property
    def count(self) -> int:
        return int(np.argmax(self.pose.tie_probabilities))

    @property
    def given(self) -> bool:
        return max(self.pose.tie_probabilities) >= GIVEN


GIVEN = 0.7
"""A tie count is given when its probability reaches this."""


@dataclass(frozen=True, eq=False)
class Case:
    """One bait as `detect` gets it, beside its truth.  `look_s`: seconds that the close look took."""

    photo_truth: PhotoTruth
    bait: dict[str, Any]
    truth: HardwareTruth
    photo: Photo
    body: Body
    seen: Closeup
    sizing: Sizing
    calibration: Calibration
    look_s: float


def outcome(case: Case) -> Outcome:
    """Run detect and resolve on one bait."""
    hard, body, sizing = case.truth, case.body, case.sizing
    start = time.perf_counter()
    found = detect(case.photo, body, case.seen, case.calibration)
    pose = resolve(body, sizing, found)
    seconds = time.perf_counter() - start
    a, b = (np.array(p) for p in sizing.ends_px)
    first = bool(np.hypot(*(a - hard.nose)) < np.hypot(*(b - hard.nose)))
    walk = hard.tail - hard.nose
    left = bool(np.array([walk[1], -walk[0]]) @ hard.back > 0)
    return Outcome(
        case.photo_truth.truth["file"], case.photo_truth.subset, case.bait["model"], hard.px_per_mm, hard, found, pose,
        first, left, body, sizing, seconds + case.look_s,
    )  # fmt: skip


def nose_right(o: Outcome) -> bool:
    return (o.pose.nose_px == o.sizing.ends_px[0]) == o.true_nose_first


def back_right(o: Outcome) -> bool:
    return (o.pose.back_is_left == o.true_back_left) == nose_right(o)


def _share(name: str, hits: list[bool]) -> str:
    n, k = len(hits), sum(hits)
    if not n:
        return f"{name:44s} n 0"
    half = 1.96 * np.sqrt(k / n * (1 - k / n) / n + 1.96**2 / (4 * n * n)) / (1 + 1.96**2 / n)
    middle = (k / n + 1.96**2 / (2 * n)) / (1 + 1.96**2 / n)
    return f"{name:44s} {100 * k / n:5.1f} %  n {n:3d}  [{100 * (middle - half):.1f}, {100 * (middle + half):.1f}]"


def _median(name: str, values: list[float], unit: str) -> str:
    if not values:
        return f"{name:44s} n 0"
    q = np.percentile(values, [50, 90, 95])
    return f"{name:44s} {q[0]:.2f} {unit}  n {len(values):3d}  90 % {q[1]:.2f}  95 % {q[2]:.2f}"


def _matched(found: Array, true: Array, reach: float) -> list[float]:
    """Distances of true places from the nearest found one, where there is one within reach."""
    if not len(found) or not len(true):
        return []
    d = np.hypot(*(true[:, None] - found[None]).transpose(2, 0, 1)).min(1)
    return [float(v) for v in d if v < reach]


def report(outcomes: list[Outcome]) -> list[str]:
    """The figures as lines of text."""
    lines = []
    for low, high in ((0, 5), (5, 10), (10, 99)):
        some = [o for o in outcomes if low <= o.px_per_mm < high]
        lines.append(
            _share(
                f"tie count exact, {low} to {high} px/mm, of given",
                [o.count == len(o.truth.ties) for o in some if o.given],
            )
        )
        lines.append(_share("   given", [o.given for o in some]))
    scores = [-np.log(max(o.pose.tie_probabilities[min(5, len(o.truth.ties))], 1e-4)) for o in outcomes]
    lines.append(f"{'tie count, mean log score (nats)':44s} {np.mean(scores):.3f}  n {len(scores)}")
    ties: list[float] = []
    hangers: list[float] = []
    eyes: list[float] = []
    diameters: list[float] = []
    for o in outcomes:
        at = np.array([r.at_px for r in o.hardware.rings]).reshape(-1, 2)
        mm = o.px_per_mm
        ties += [d / mm for d in _matched(at[list(o.pose.ties)], o.truth.ties, 1.5 * mm)]
        hangers += [d / mm for d in _matched(at[list(o.pose.hangers)], o.truth.hangers, 1.5 * mm)]
        if o.truth.eye is not None and o.pose.eye is not None:
            e = o.hardware.eyes[o.pose.eye]
            eyes.append(float(np.hypot(*(np.array(e.at_px) - o.truth.eye))) / mm)
            if eyes[-1] < 3.5:
                diameters.append(abs(e.diameter_px - o.truth.eye_diameter) / mm)
    lines.append(_median("tie position", ties, "mm"))
    lines.append(_median("hanger position", hangers, "mm"))
    lines.append(_share("hanger count exact", [len(o.pose.hangers) == len(o.truth.hangers) for o in outcomes]))
    lines.append(_share("hook count exact", [len(o.hardware.hooks) == len(o.truth.hooks) for o in outcomes]))
    have = [o for o in outcomes if o.truth.eye is not None]
    lines.append(
        _share(
            "eye found (within 3.5 mm of its mid-plane place)",
            [v < 3.5 for v in eyes] + [False] * (len(have) - len(eyes)),
        )
    )
    lines.append(
        _share("eye claimed where there is none", [o.pose.eye is not None for o in outcomes if o.truth.eye is None])
    )
    lines.append(_median("eye diameter error", diameters, "mm"))
    lines.append(
        _share("lip noted where there is one", [o.pose.lip_probability > 0.5 for o in outcomes if o.truth.lip])
    )
    lines.append(
        _share("lip claimed where there is none", [o.pose.lip_probability > 0.5 for o in outcomes if not o.truth.lip])
    )
    lines.append(_share("nose right", [nose_right(o) for o in outcomes]))
    lines.append(_share("back right", [back_right(o) for o in outcomes]))
    lines.append(f"{'seconds a bait, median':44s} {np.median([o.seconds for o in outcomes]):.3f}")
    return lines


def cases(folder: Path, subsets: tuple[str, ...], split: str | None, regions: str, every: int) -> Iterator[Case]:
    """All baits of a set; with regions "real" those that `separate` and `trace` find (IoU ≥ 0.8), else ideal ones."""
    models = world(folder)
    for truth in photos(folder, subsets, split)[::every]:
        photo = photos_io.read(truth.path)
        calibration = ideal_calibration(truth)
        found: list[tuple[Body, Closeup, float]] = []
        if regions == "real":
            for region in separate(photo, calibration, Settings()).regions:
                seen, took = _looked(photo, region, calibration)
                found.append((trace(photo, region, seen), seen, took))
        for bait in truth.baits:
            hard = truth_of(bait, models)
            if regions == "real":
                shape = Shape(bait["apparent_polygon_px"]).buffer(0)
                best = max(((_overlap(shape, f[0]), f) for f in found), key=lambda q: q[0], default=None)
                if best is None or best[0] < 0.8:
                    continue
                body, seen, took = best[1]
                sizing = measure_size(body, calibration)
            else:
                body = ideal_body(bait)
                seen, took = _looked(photo, ideal_region(truth, bait, hard.px_per_mm), calibration)
                sizing = ideal_sizing(body, calibration, bait["mid_plane_height_mm"])
            yield Case(truth, bait, hard, photo, body, seen, sizing, calibration, took)


def _looked(photo: Photo, region: Region, calibration: Calibration) -> tuple[Closeup, float]:
    start = time.perf_counter()
    seen = look(photo, region, calibration)
    return seen, time.perf_counter() - start


def outcomes_of(
    folder: Path, subsets: tuple[str, ...], split: str | None, regions: str, every: int
) -> Iterator[Outcome]:
    """All baits of a set with what is found on them."""
    for case in cases(folder, subsets, split, regions, every):
        yield outcome(case)


def _overlap(shape: Any, body: Body) -> float:
    other = Shape(body.outline_px).buffer(0)
    return float(shape.intersection(other).area / shape.union(other).area)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--split", default="tune")
    parser.add_argument("--subsets", default="single,twice,pieces")
    parser.add_argument("--regions", choices=("ideal", "real"), default="ideal")
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--misses", action="store_true", help="name the baits whose count or orientation is wrong")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    subsets = tuple(s for s in options.subsets.split(",") if s)
    done = list(outcomes_of(options.photo_set, subsets, options.split, options.regions, options.every))
    if options.misses:
        for o in done:
            if o.count != len(o.truth.ties) or not nose_right(o) or not back_right(o):
                p = " ".join(f"{v:.2f}" for v in o.pose.tie_probabilities)
                wrong = ("" if nose_right(o) else " NOSE") + ("" if back_right(o) else " BACK")
                print(f"{o.photo} {o.model} {o.px_per_mm:.1f} px/mm, true {len(o.truth.ties)}, p {p}{wrong}")
    print("\n".join(report(done)))


if __name__ == "__main__":
    main()
