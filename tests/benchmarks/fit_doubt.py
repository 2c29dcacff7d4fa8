"""Fits how much a soft silhouette adds to the uncertainty of length and depth (`identify.body.doubt`).

    python -m tests.benchmarks.fit_doubt PHOTO_SET

Of the tune split, each bait with a card is measured and its errors set against the truth.  The outline's part of each
error is taken to follow Student's t with five degrees of freedom about zero, its scale the root sum of squares of the
other parts, a constant, and a share of the silhouette's softness at the extent's softer end; constant and share are the
likeliest.  Prints the figures; a person takes them over, rounded up, since a maximum of likelihood is too sure.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely
from scipy.optimize import minimize
from scipy.stats import t as students_t

from identify import body, card, closeup, photo, separate
from identify.body import contour, doubt
from identify.closeup.look import PX_PER_MM
from identify.geometry import Array, max_feret
from identify.records import Quantity
from identify.settings import Settings
from identify.size import measure_size
from tests.benchmarks.truth import PhotoTruth, photos

SUBSETS = ("single", "twice", "pieces", "clutter", "tray", "boxed")
FREEDOM = 5
WELL = 0.8


def rows(folder: Path) -> tuple[Array, Array]:
    """For length and for depth (n, 3): the error, the root sum of squares of the other parts of u, and the softness of
    the softer end; all in mm."""
    lengths: list[tuple[float, float, float]] = []
    depths: list[tuple[float, float, float]] = []
    for truth in photos(folder, SUBSETS, "tune"):
        seen = photo.read(truth.path)
        calibration = card.find(seen, Settings())
        if not calibration.has_scale:
            continue
        for region in separate.separate(seen, calibration, Settings()).regions:
            close = closeup.look(seen, region, calibration)
            found = contour.silhouette(close)
            traced = body.trace(seen, region, close)
            bait = _same(truth, traced.outline_px)
            if found is None or bait is None:
                continue
            points, width = found
            size = measure_size(traced, calibration)
            start, end = max_feret(points)
            along = (end - start) / np.hypot(*(end - start))
            across = np.array([-along[1], along[0]])
            mm = close.mm
            for out, value, true, way, weights in (
                (lengths, size.length_mm, bait["feret_length_mm"], along, doubt.ENDS),
                (depths, size.depth_mm, bait["feret_depth_mm"], across, doubt.FLANKS),
            ):
                if value is not None:
                    soft = doubt.softest_end(points @ way, width, weights.near) / mm
                    out.append((value.value - true, other_parts(value), soft))
    return np.array(lengths), np.array(depths)


def _same(truth: PhotoTruth, outline_px: Array) -> dict[str, Any] | None:
    """The bait of the truth that an outline overlaps well."""
    own = shapely.make_valid(shapely.Polygon(outline_px))
    for bait in truth.baits:
        true = shapely.make_valid(shapely.Polygon(bait["apparent_polygon_px"]))
        if own.intersection(true).area > WELL * own.union(true).area:
            return bait
    return None


def other_parts(value: Quantity) -> float:
    """Root sum of squares of all parts of u but the outline's."""
    return math.sqrt(sum(p.u**2 for p in value.parts if p.what != "outline"))


def fit(found: Array) -> tuple[float, float]:
    """The likeliest constant (mm) and share."""
    error, other, soft = found.T

    def cost(p: Array) -> float:
        scale = np.sqrt(other**2 + p[0] ** 2 + (p[1] * soft) ** 2)
        return float(-(students_t.logpdf(error / scale, FREEDOM) - np.log(scale)).sum())

    starts = ([0.1, 0.1], [0.02, 0.4])
    best = min((minimize(cost, s, method="Nelder-Mead") for s in starts), key=lambda r: float(r.fun))
    return abs(float(best.x[0])), abs(float(best.x[1]))


def main() -> None:
    parser = argparse.ArgumentParser(description="Fit how much a soft silhouette adds to the doubt of a length.")
    parser.add_argument("photo_set", type=Path)
    cv2.setNumThreads(1)
    for name, found in zip(("ENDS", "FLANKS"), rows(parser.parse_args().photo_set), strict=True):
        least, width = fit(found)
        print(f"{name}: least {least * PX_PER_MM:.2f} px, width {width:.2f}", end="")
        scale = np.hypot(found[:, 1], np.hypot(least, width * found[:, 2]))
        z = np.abs(found[:, 0] / scale)
        print(f"; within 2u {np.mean(z < 2):.3f}, median |error|/u {np.median(z):.2f}, n {len(z)}")


if __name__ == "__main__":
    main()
