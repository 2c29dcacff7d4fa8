"""Fits the weights of `identify.orient` on the tune split of a photo set, and prints them.

    python -m tests.benchmarks.fit_orient PHOTO_SET [--regions ideal|real] [--every N]

A softmax over the four ways a bait may lie, linear in the cues, with a penalty that keeps weights small (ridge); no
weight may turn negative, since each cue is built to be larger the better it fits.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import cv2
import numpy as np
from scipy.optimize import minimize

from identify.geometry import Array
from identify.orient import CUES, hypotheses
from tests.benchmarks.hardware import Outcome, outcomes_of


def cues_of(o: Outcome) -> tuple[Array, int]:
    """Cues of the four hypotheses (4, cues) and which is true."""
    four = hypotheses(o.body, o.sizing, o.hardware)
    true = next(
        k for k, h in enumerate(four) if h.nose_first == o.true_nose_first and h.back_is_left == o.true_back_left
    )
    return np.array([h.cues for h in four]), true


def fit(cues: Array, true: Array, ridge: float = 0.02) -> Array:
    """Weights that make the posterior of `orient` likeliest."""

    def loss(w: Array) -> tuple[float, Array]:
        score = cues @ w
        score -= score.max(1, keepdims=True)
        p = np.exp(score)
        p /= p.sum(1, keepdims=True)
        rows = np.arange(len(true))
        value = -np.log(p[rows, true]).mean() + ridge * float((w**2).sum())
        slope = ((p[..., None] * cues).sum(1) - cues[rows, true]).mean(0) + 2 * ridge * w
        return value, slope

    start = np.full(cues.shape[2], 0.5)
    return np.asarray(minimize(loss, start, jac=True, bounds=[(0, None)] * len(start), method="L-BFGS-B").x)


def main() -> None:
    """Collect, fit, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--subsets", default="")
    parser.add_argument("--regions", choices=("ideal", "real"), default="ideal")
    parser.add_argument("--every", type=int, default=1)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    subsets = tuple(s for s in options.subsets.split(",") if s)
    found = [cues_of(o) for o in outcomes_of(options.photo_set, subsets, "tune", options.regions, options.every)]
    cues, true = np.stack([c for c, _ in found]), np.array([t for _, t in found])
    weights = fit(cues, true)
    right = (cues @ weights).argmax(1) == true
    for name, w in zip(CUES, weights, strict=True):
        print(f"{name:10s} {w:.2f}")
    print(f"right {right.mean():.3f} of {len(true)}")


if __name__ == "__main__":
    main()
