"""Where a card might lie: smooth, four-sided patches of the reduced picture.

A matt card is smoother than most grounds and bounded by edges, so the picture is cut along its gradients at several
strengths and each connected smooth patch is offered when a quadrilateral describes it well.  Nothing is decided here
but what is clearly no quadrilateral.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.card.medians import median
from identify.geometry import Array

CUTS = (0.006, 0.009, 0.0135, 0.020, 0.030, 0.045, 0.07)
"""Gradient of the square root of linear light per pixel at which patches end."""
MIN_SIDE_PX = 14.0
TEXTURE_CUTS, TEXTURE_PX = (0.0012, 0.0018, 0.0027, 0.004, 0.006, 0.009), 5
"""Mean gradient over a neighbourhood of so many pixels at which smooth ends and textured begins."""
FILL = 0.82
"""Least share of the quadrilateral that its patch covers."""
ROUGHLY = 1.8
"""How much further than the fitted sides those of the hull may be from a card's."""


def perceptual(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """Square root of linear light: noise and contrast become alike in dark and bright parts."""
    light = np.clip(linear, 0.0, 1.0)
    return np.sqrt(light, out=light)


def gradient(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """Largest gradient over the channels, per pixel, of a slightly smoothed picture (h, w, 3)."""
    smooth = cv2.GaussianBlur(picture, (3, 3), 0)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    cv2.multiply(gx, gx, dst=gx)
    first, second, third = cv2.split(cv2.add(gx, cv2.multiply(gy, gy, dst=gy), dst=gx))
    return np.asarray(cv2.sqrt(cv2.max(cv2.max(first, second), third)), np.float32)


def quadrilateral(contour: NDArray[np.int32], aspect: float) -> Array | None:
    """The four corners that describe a contour (n, 1, 2) best: sides are fitted to its middle stretches, so that
    rounded corners and small bumps do not matter.  None where the hull has no four sides, or sides that no fit would
    bring near a card's."""
    hull = cv2.convexHull(contour)
    around = cv2.arcLength(hull, True)
    for share in (0.02, 0.035, 0.05, 0.07):
        rough = cv2.approxPolyDP(hull, share * around, True)
        if len(rough) <= 4:
            break
    if len(rough) != 4:
        return None
    corners = rough[:, 0].astype(float)
    if not plausible(corners, aspect, ROUGHLY):
        return None
    px, py = np.ascontiguousarray(contour[:, 0].T, float)
    lines = []
    for a, b in zip(corners, corners[[1, 2, 3, 0]], strict=True):
        length = math.hypot(*(b - a))
        along = (b - a) / max(length, 1e-9)
        normal = np.array([-along[1], along[0]])
        s, d = (px - a[0]) * along[0] + (py - a[1]) * along[1], (px - a[0]) * normal[0] + (py - a[1]) * normal[1]
        near = np.flatnonzero((np.abs(s - 0.5 * length) < 0.35 * length) & (np.abs(d) < max(2.5, 0.05 * length)))
        if len(near) < 4:
            return None
        x, y = s[near], d[near]
        for _ in range(3):
            slope, offset = line_through(x, y)
            left = np.abs(y - slope * x - offset)
            keep = np.flatnonzero(left <= max(0.8, 1.5 * median(left)))
            if len(keep) < 4:
                break
            if len(keep) == len(x):
                break
            x, y = x[keep], y[keep]
        start = a + offset * normal
        lines.append((start, along + slope * normal))
    return meet(lines)


def line_through(x: Array, y: Array) -> tuple[float, float]:
    """Slope and offset at x = 0 of the least-squares line."""
    n = len(x)
    mean = float(x.sum()) / n
    spread = x - mean
    slope = float(spread @ y) / max(float(spread @ spread), 1e-12)
    return slope, float(y.sum()) / n - slope * mean


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


def grown(corners: Array, by: float) -> Array:
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


def plausible(corners: Array, aspect: float, slack: float = 1.0) -> bool:
    """Opposite sides alike, corners near right angles, the aspect in wide reach: what tilt to some 30° can make, and
    `slack` times that."""
    e = corners[[1, 2, 3, 0]] - corners
    side = np.hypot(*e.T)
    s0, s1, s2, s3 = side.tolist()
    if min(s0, s1, s2, s3) < MIN_SIDE_PX / slack:
        return False
    cosine = np.abs((e * e[[1, 2, 3, 0]]).sum(1)) / (side * side[[1, 2, 3, 0]])
    a, b = s0 + s2, s1 + s3
    alike = max(abs(math.log(s0 / s2)), abs(math.log(s1 / s3)))
    off = abs(math.log(max(a, b) / min(a, b) / aspect))
    return bool(cosine.max() < 0.35 * slack and alike < 0.35 * slack and off < 0.25 * slack)


def propose_by_texture(picture: NDArray[np.float32], aspect: float) -> list[Array]:
    """The same where the card's edges hardly show, on a ground as bright as the card: by how smooth it is."""
    rough = np.asarray(cv2.blur(gradient(picture), (TEXTURE_PX, TEXTURE_PX)), np.float32)
    return _from_edges(rough, TEXTURE_CUTS, aspect, 2.0)


def propose(picture: NDArray[np.float32], aspect: float) -> list[Array]:
    """Candidate corners (4, 2) in pixels of the reduced picture (h, w, 3, see `perceptual`), best filled first.

    `aspect`: the card's longer side over its shorter one.
    """
    return _from_edges(gradient(picture), CUTS, aspect, 1.5)


def _from_edges(edges: NDArray[np.float32], cuts: tuple[float, ...], aspect: float, outwards: float) -> list[Array]:
    found: list[tuple[float, Array]] = []
    for cut in cuts:
        for part, corner in patches((edges < cut).astype(np.uint8)):
            padded = cv2.copyMakeBorder(part, 3, 3, 3, 3, cv2.BORDER_CONSTANT)
            for size in (1, 5):
                opened = (
                    cv2.morphologyEx(padded, cv2.MORPH_OPEN, np.ones((size, size), np.uint8)) if size > 1 else padded
                )
                contours, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
                if not contours:
                    continue
                contour = np.asarray(max(contours, key=cv2.contourArea), np.int32)
                corners = quadrilateral(contour, aspect)
                if corners is None or not plausible(corners, aspect):
                    continue
                covered = cv2.contourArea(contour)
                quad = cv2.contourArea(corners.astype(np.float32))
                if not FILL < covered / quad < 1.06:
                    continue
                found.append((covered / quad, grown(corners + (corner - 3), outwards)))
                break
    return distinct(found)


def patches(smooth: NDArray[np.uint8], at_edge: bool = False) -> Iterator[tuple[NDArray[np.uint8], Array]]:
    """Connected parts (h, w) of a mask that are large enough for a card and end within the picture (or reach its
    edge, if wanted), each cut out with the place (x, y) of its top left corner."""
    _, labels = cv2.connectedComponents(smooth, connectivity=4)
    area = np.bincount(labels.ravel())
    area[0] = 0
    if not at_edge:
        area[np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]])] = 0
    for i in np.flatnonzero(area >= MIN_SIDE_PX**2):
        whole = (labels == i).view(np.uint8)
        x, y, wide, high = cv2.boundingRect(whole)
        if min(wide, high) >= MIN_SIDE_PX and area[i] >= 0.3 * wide * high:
            yield whole[y : y + high, x : x + wide], np.array([x, y], float)


def distinct(found: list[tuple[float, Array]]) -> list[Array]:
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
