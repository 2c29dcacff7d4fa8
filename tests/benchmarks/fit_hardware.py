"""Fits the curves of `identify.hardware.calibrated` on the tune split of a photo set; prints them to be pasted there.

    python -m tests.benchmarks.fit_hardware PHOTO_SET [--subsets single,twice] [--regions ideal|real] [--every N]

For each kind of peak (ring, eye, trace) a logistic regression of "this peak is right" on the log odds of its height
(Platt 1999).  A peak is right when no other lies nearer to a true place within reach; others within reach of a true
place are left out: they are neither right nor made up.  A kind with no such place in the split keeps its curve.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import cv2
import numpy as np
from sklearn.linear_model import LogisticRegression

from identify.geometry import Array
from identify.hardware import eye, rings
from identify.hardware.calibrated import CURVES
from identify.hardware.detect import TRACE_APART_MM
from identify.hardware.peaks import Peaks, peaks
from tests.benchmarks.hardware import Case, cases

REACH_MM = {"ring": 1.5, "eye": 3.5, "trace": 2.0}
"""How far a peak may lie from the true place: that of an eye is known in the mid plane only, while it sits above."""
LEAST = 0.01
"""Lower peaks are never looked at."""
SOFTNESS = 10.0
"""Inverse of the ridge on the slope, for kinds with few cases."""


def peaks_of(case: Case) -> dict[str, tuple[Peaks, Array]]:
    """Of each kind the peaks of one close-up, and the true places (n, 2) in its pixels."""
    seen = case.seen
    mm = seen.mm
    truth = case.truth
    lost = np.array(case.bait["lost_ties_px"], float).reshape(-1, 2)
    there = {
        "ring": np.concatenate([truth.ties, truth.hangers]),
        "eye": np.zeros((0, 2)) if truth.eye is None else truth.eye[None],
        "trace": lost,
    }
    planes = {"ring": np.maximum(seen.tie_at, seen.hanger_at), "eye": seen.eye_at, "trace": seen.trace_at}
    apart = {"ring": rings.APART_MM, "eye": eye.APART_MM, "trace": TRACE_APART_MM}
    return {
        kind: (peaks(plane, apart[kind] * mm, LEAST), seen.from_photo(there[kind])) for kind, plane in planes.items()
    }


def labels(found: Peaks, true: Array, reach: float) -> Array:
    """1 for a peak that is right, 0 for one that is not, -1 for one beside a right one."""
    out = np.zeros(len(found))
    if len(found) and len(true):
        away = np.hypot(*(found.at[:, None] - true[None]).transpose(2, 0, 1))
        out[(away < reach).any(1)] = -1
        near = away.argmin(0)
        out[near[away.min(0) < reach]] = 1
    return out


def log_odds(height: Array) -> Array:
    """As `calibrated.likelihood` takes them."""
    p = np.clip(height, 1e-6, 1 - 1e-6)
    return np.log(p / (1 - p))


def fit(height: Array, right: Array) -> tuple[float, float]:
    """Slope and offset of the log odds."""
    found = LogisticRegression(C=SOFTNESS).fit(log_odds(height)[:, None], right)
    return float(found.coef_[0, 0]), float(found.intercept_[0])


def main() -> None:
    """Collect, fit, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--subsets", default="")
    parser.add_argument("--regions", choices=("ideal", "real"), default="real")
    parser.add_argument("--every", type=int, default=1)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    subsets = tuple(s for s in options.subsets.split(",") if s)
    heights: dict[str, list[Array]] = {kind: [] for kind in REACH_MM}
    right: dict[str, list[Array]] = {kind: [] for kind in REACH_MM}
    missed = dict.fromkeys(REACH_MM, 0)
    for case in cases(options.photo_set, subsets, "tune", options.regions, options.every):
        mm = float(np.hypot(*case.seen.matrix[0, :2])) * case.seen.px_per_mm
        for kind, (found, true) in peaks_of(case).items():
            told = labels(found, true, REACH_MM[kind] * mm)
            missed[kind] += len(true) - int((told == 1).sum())
            heights[kind].append(found.height[told >= 0])
            right[kind].append(told[told >= 0])
    curves: dict[str, tuple[float, ...]] = {}
    for kind in REACH_MM:
        height, told = np.concatenate(heights[kind]), np.concatenate(right[kind])
        wrong = np.count_nonzero(height[told == 0] > 0.5)
        print(
            f"# {kind}: {len(told)} peaks, {int(told.sum())} right, {wrong} wrong ones above a half,"
            f" {missed[kind]} true places without a peak"
        )
        if 0 < told.sum() < len(told):
            curves[kind] = tuple(round(v, 3) for v in fit(height, told))
        else:
            curves[kind] = CURVES[kind]
            print(f"# {kind}: nothing to fit")
    print(f"CURVES = {curves}".replace("'", '"'))


if __name__ == "__main__":
    main()
