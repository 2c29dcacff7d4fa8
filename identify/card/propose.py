"""Where a card might lie: smooth, four-sided patches of the reduced picture.

A matt card is smoother than most grounds and bounded by edges, so the picture is cut along its gradients at several
strengths and each connected smooth patch is offered when a quadrilateral describes it well.  Nothing is decided here
but what is clearly no quadrilateral.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

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
BURR_PX = 5
FILL = 0.82
"""Least share of the quadrilateral that its patch covers."""
HULL_FILL = 0.7
"""Least share of its hull that it covers; things on a card's edges take some."""
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
    if cv2.contourArea(contour) < HULL_FILL * cv2.contourArea(hull):
        return None
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
        for part in patches((edges < cut).astype(np.uint8)):
            fits = _described(part.outline, aspect)
            if fits is None and (cleared := part.without_burrs()) is not None:
                fits = _described(cleared, aspect)
            if fits is not None:
                found.append((fits[0], grown(fits[1], outwards)))
    return distinct(found)


def _described(contour: NDArray[np.int32], aspect: float) -> tuple[float, Array] | None:
    """How much of the quadrilateral that describes a contour best it covers, and the corners; None where that is not
    nearly all, or can be no card."""
    corners = quadrilateral(contour, aspect)
    if corners is None or not plausible(corners, aspect):
        return None
    share = cv2.contourArea(contour) / cv2.contourArea(corners.astype(np.float32))
    return (share, corners) if FILL < share < 1.06 else None


@dataclass(frozen=True, eq=False)
class Part:
    """A connected part of a mask: contours (n, 1, 2) around it and around its holes."""

    outline: NDArray[np.int32]
    holes: tuple[NDArray[np.int32], ...]

    @property
    def corner(self) -> tuple[int, int]:
        """The top left of the upright rectangle around it."""
        x, y, _, _ = cv2.boundingRect(self.outline)
        return x, y

    @property
    def mask(self) -> NDArray[np.uint8]:
        """The rectangle's pixels (h, w), 1 on the part."""
        x, y, wide, high = cv2.boundingRect(self.outline)
        mask = np.zeros((high, wide), np.uint8)
        cv2.drawContours(mask, [self.outline, *self.holes], -1, 1, cv2.FILLED, offset=(-x, -y))
        return mask

    def without_burrs(self) -> NDArray[np.int32] | None:
        """The outline of what is left of it, holes filled, where it is BURR_PX wide."""
        x, y, wide, high = cv2.boundingRect(self.outline)
        mask = np.zeros((high + 2, wide + 2), np.uint8)
        cv2.drawContours(mask, [self.outline], -1, 1, cv2.FILLED, offset=(1 - x, 1 - y))
        opened = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((BURR_PX, BURR_PX), np.uint8))
        contours, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE, offset=(x - 1, y - 1))
        return np.asarray(max(contours, key=cv2.contourArea), np.int32) if contours else None


def patches(smooth: NDArray[np.uint8], at_edge: bool = False) -> Iterator[Part]:
    """Connected parts of a mask (h, w) that are large enough for a card and end within the picture (or reach its edge,
    if wanted); what is but two pixels wide is no part of them."""
    h, w = smooth.shape
    cleared = cv2.morphologyEx(smooth, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8), borderValue=0)
    contours, levels = cv2.findContours(cleared, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    for i, contour in enumerate(contours):
        if levels[0, i, 3] >= 0 or len(contour) < 3 * MIN_SIDE_PX:
            continue
        x, y, wide, high = cv2.boundingRect(contour)
        if not at_edge and (x == 0 or y == 0 or x + wide == w or y + high == h):
            continue
        if min(wide, high) < MIN_SIDE_PX:
            continue
        holes, k = [], levels[0, i, 2]
        while k >= 0:
            holes.append(np.asarray(contours[k], np.int32))
            k = levels[0, k, 0]
        area = cv2.contourArea(contour) - sum(cv2.contourArea(hole) for hole in holes)
        if area >= max(0.3 * wide * high, MIN_SIDE_PX**2):
            yield Part(np.asarray(contour, np.int32), tuple(holes))


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
