"""Where a card might lie: smooth, four-sided patches of the reduced picture.

A matt card is smoother than most grounds and bounded by edges, so the picture is cut along its gradients at several
strengths and each connected smooth patch is offered when a quadrilateral describes it well.  Nothing is decided here
but what is clearly no quadrilateral.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array

CUTS = (0.006, 0.009, 0.0135, 0.020, 0.030, 0.045, 0.07)
"""Gradient of the square root of linear light per pixel at which patches end."""
MIN_SIDE_PX = 14.0
FILL = 0.82
"""Least share of the quadrilateral that its patch covers."""


def perceptual(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """Square root of linear light: noise and contrast become alike in dark and bright parts."""
    return np.sqrt(np.clip(linear, 0.0, 1.0)).astype(np.float32)


def gradient(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """Largest gradient over the channels, per pixel, of a slightly smoothed picture (h, w, 3)."""
    smooth = cv2.GaussianBlur(picture, (3, 3), 0)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    square = cv2.multiply(gx, gx) + cv2.multiply(gy, gy)
    first, second, third = cv2.split(square)
    return np.asarray(cv2.sqrt(cv2.max(cv2.max(first, second), third)), np.float32)


def quadrilateral(contour: NDArray[np.int32]) -> Array | None:
    """The four corners that describe a contour (n, 1, 2) best, or None: sides are fitted to the convex hull's middle
    stretches, so that rounded corners and small bumps do not matter."""
    hull = cv2.convexHull(contour)
    around = cv2.arcLength(hull, True)
    for share in (0.02, 0.035, 0.05, 0.07):
        rough = cv2.approxPolyDP(hull, share * around, True)
        if len(rough) <= 4:
            break
    if len(rough) != 4:
        return None
    corners = rough[:, 0].astype(float)
    points = contour[:, 0].astype(float)
    lines = []
    for a, b in zip(corners, np.roll(corners, -1, 0), strict=True):
        along = (b - a) / max(np.hypot(*(b - a)), 1e-9)
        normal = np.array([-along[1], along[0]])
        s, d = (points - a) @ along, (points - a) @ normal
        length = float(np.hypot(*(b - a)))
        near = (s > 0.15 * length) & (s < 0.85 * length) & (np.abs(d) < max(2.5, 0.05 * length))
        if near.sum() < 4:
            return None
        x, y = s[near], d[near]
        for _ in range(3):
            slope, offset = line_through(x, y)
            left = np.abs(y - slope * x - offset)
            keep = left <= max(0.8, 1.5 * float(np.median(left)))
            if keep.sum() < 4:
                break
            x, y = x[keep], y[keep]
        start = a + offset * normal
        lines.append((start, along + slope * normal))
    return meet(lines)


def line_through(x: Array, y: Array) -> tuple[float, float]:
    """Slope and offset at x = 0 of the least-squares line."""
    mean = float(x.mean())
    spread = x - mean
    slope = float(spread @ y) / max(float(spread @ spread), 1e-12)
    return slope, float(y.mean()) - slope * mean


def meet(lines: list[tuple[Array, Array]]) -> Array | None:
    """Corners where each line (point, direction) meets the one before it; None when two hardly do."""
    corners = []
    for (p, u), (q, v) in zip(np.roll(np.array(lines), 1, 0), np.array(lines), strict=True):
        cross = u[0] * v[1] - u[1] * v[0]
        if abs(cross) < 0.25 * np.hypot(*u) * np.hypot(*v):
            return None
        d = q - p
        corners.append(p + u * (d[0] * v[1] - d[1] * v[0]) / cross)
    return np.array(corners)


def _grown(corners: Array, by: float) -> Array:
    """The quadrilateral with each side moved outwards."""
    middle = corners.mean(0)
    lines = []
    for a, b in zip(corners, np.roll(corners, -1, 0), strict=True):
        along = (b - a) / np.hypot(*(b - a))
        out = np.array([along[1], -along[0]])
        out = out if (a - middle) @ out > 0 else -out
        lines.append((a + by * out, along))
    moved = meet(lines)
    return corners if moved is None else moved


def _plausible(corners: Array, aspect: float) -> bool:
    """Opposite sides alike, corners near right angles, the aspect in wide reach: what tilt to some 30° can make."""
    e = np.roll(corners, -1, 0) - corners
    side = np.hypot(*e.T)
    if side.min() < MIN_SIDE_PX:
        return False
    cosine = np.abs((e * np.roll(e, -1, 0)).sum(1)) / (side * np.roll(side, -1))
    a, b = (side[0] + side[2]) / 2, (side[1] + side[3]) / 2
    alike = max(abs(np.log(side[0] / side[2])), abs(np.log(side[1] / side[3])))
    return bool(cosine.max() < 0.35 and alike < 0.35 and abs(np.log(max(a, b) / min(a, b) / aspect)) < 0.25)


def propose(picture: NDArray[np.float32], aspect: float) -> list[Array]:
    """Candidate corners (4, 2) in pixels of the reduced picture (h, w, 3, see `perceptual`), best filled first.

    `aspect`: the card's longer side over its shorter one.
    """
    h, w = picture.shape[:2]
    edges = gradient(picture)
    found: list[tuple[float, Array]] = []
    for cut in CUTS:
        smooth = (edges < cut).astype(np.uint8)
        count, labels, stats, _ = cv2.connectedComponentsWithStats(smooth, connectivity=4)
        wide, high, area = stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT], stats[:, cv2.CC_STAT_AREA]
        large = (area >= MIN_SIDE_PX**2) & (np.minimum(wide, high) >= MIN_SIDE_PX) & (area >= 0.3 * wide * high)
        inside = (stats[:, 0] > 0) & (stats[:, 1] > 0) & (stats[:, 0] + wide < w) & (stats[:, 1] + high < h)
        for i in np.flatnonzero(large & inside & (np.arange(count) > 0)):
            x, y, bw, bh = (int(v) for v in stats[i, :4])
            part = (labels[y : y + bh, x : x + bw] == i).astype(np.uint8)
            padded = cv2.copyMakeBorder(part, 3, 3, 3, 3, cv2.BORDER_CONSTANT)
            for size in (1, 5):
                opened = (
                    cv2.morphologyEx(padded, cv2.MORPH_OPEN, np.ones((size, size), np.uint8)) if size > 1 else padded
                )
                contours, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
                if not contours:
                    continue
                contour = np.asarray(max(contours, key=cv2.contourArea), np.int32)
                corners = quadrilateral(contour)
                if corners is None or not _plausible(corners, aspect):
                    continue
                covered = cv2.contourArea(contour)
                quad = cv2.contourArea(corners.astype(np.float32))
                if not FILL < covered / quad < 1.06:
                    continue
                found.append((covered / quad, _grown(corners + np.array([x - 3, y - 3]), 1.5)))
                break
    return _distinct(found)


def _distinct(found: list[tuple[float, Array]]) -> list[Array]:
    """One of each group of nearly equal quadrilaterals, the fullest."""
    chosen: list[Array] = []
    for _, corners in sorted(found, key=lambda f: -f[0]):
        reach = 0.04 * np.sqrt(cv2.contourArea(corners.astype(np.float32)))
        middle = corners.mean(0)
        if not any(
            np.hypot(*(middle - c.mean(0))) < reach
            and max(min(np.hypot(*(q - p)) for p in c) for q in corners) < 2 * reach
            for c in chosen
        ):
            chosen.append(corners)
    return chosen
