"""Cuts off what sticks out of a rough mask's contour: loops of hooks, rings and plates that were taken for the body.

A body is smooth: where something is joined on, the contour has a concave corner on either side.  A piece between two
such corners that are nearer to each other than the contour between them is long is cut off along the straight line
(the idea of splitting silhouettes at their concave corners: Hoffman and Richards 1984, Siddiqi and Kimia 1995).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.body.strip import DARK
from identify.geometry import Array, polygon_area, resample_closed

POINTS = 240
CORNER_RAD = 0.4
"""Concave turns over some 2 % of the contour that count as a corner."""
SHALLOW_RAD = 0.2
"""Shallower ones down to this count on either side of a bulb: a ring that a rough mask has run together with a tail."""
BULB = 1.15
"""A bulb is at least this many times as broad as its neck."""
LONGER = 1.4
"""A lobe's contour is at least this many times as long as the line that cuts it off."""
NECK = 0.2
"""Longest cut, as a share of half the contour's length (about the body's length)."""
SMALL = 0.08
"""Cuts shorter than this share of half the contour's length may be at an end: a ring on nose or tail."""
ROUNDED_RAD = 2.0
"""Elsewhere the body goes on across a cut without turning by more than this: to cut off its head is to turn round."""
LITTLE = 0.03
"""Lobes up to this share of the area on a neck of less than SMALL are cut off whatever they look like: rings, plates,
shanks."""
LARGEST = 0.3
"""Larger and broader ones up to this share are cut off when at least half of what they hold looks like ground."""


GroundShare = Callable[[Array], float]
"""Share of a polygon's pixels that look like ground."""


def ground_share(polygon: Array, linear: NDArray[np.float32], ground: NDArray[np.float32]) -> float:
    """Share of the pixels in a polygon (n, 2) of linear RGB (h, w, 3) that have the ground's chroma and are no lighter:
    ground, lit or in shadow."""
    h, w = linear.shape[:2]
    x0, y0 = np.clip(np.floor(polygon.min(0)).astype(int), 0, [w - 1, h - 1])
    x1, y1 = np.clip(np.ceil(polygon.max(0)).astype(int) + 1, [x0 + 1, y0 + 1], [w, h])
    inside = np.zeros((y1 - y0, x1 - x0), np.uint8)
    cv2.fillPoly(inside, [np.round(polygon - [x0, y0]).astype(np.int32)], 1)
    if not inside.any():
        return 0.0
    ratio = np.log((linear[y0:y1, x0:x1][inside > 0] + DARK) / (ground[y0:y1, x0:x1][inside > 0] + DARK))
    light = ratio.mean(1)
    off = np.abs(ratio - light[:, None]).max(1)
    return float(((off < 0.1) & (light < 0.2)).mean())


def without_lobes(points: Array, share: GroundShare) -> Array:
    """A closed contour (n, 2), clockwise as seen, with its lobes cut off.

    `share` tells what may be ground inside a loop of a hook.
    """
    for _ in range(20):
        even = resample_closed(points, POINTS)
        cut = _best_cut(even, share)
        if cut is None:
            return points
        i, j = cut
        points = np.vstack([np.roll(even, -j, axis=0)[: (i - j) % POINTS + 1]])
    return points


def _best_cut(even: Array, share: GroundShare) -> tuple[int, int] | None:
    """Stations (i, j) so that the contour from i on to j is the smallest lobe (a cut between the corners of two
    rings would take off the head between them; with the rings gone, so are their corners)."""
    corners, turns = _concave_corners(even)
    total = polygon_area(even)
    step = float(np.hypot(*(np.roll(even, -1, axis=0) - even).T).mean())
    least, found = POINTS, None
    for i in corners:
        for j in corners:
            count = int((j - i) % POINTS)
            if not 4 <= count <= POINTS // 2:
                continue
            chord = float(np.hypot(*(even[j] - even[i])))
            lobe = np.roll(even, -i, axis=0)[: count + 1]
            longer = count * step / max(chord, step)
            if longer < LONGER or chord > NECK * POINTS / 2 * step:
                continue
            area = polygon_area(lobe) / total
            broad = chord > SMALL * POINTS / 2 * step
            if not 0 < area < LARGEST or count >= least:
                continue
            if max(turns[i], turns[j]) > -CORNER_RAD and (broad or _breadth(lobe) < BULB):
                continue
            if broad and _turning(even, int(i), int(j)) > ROUNDED_RAD:
                continue
            if (broad or area > LITTLE) and share(lobe) < 0.5:
                continue
            least, found = count, (int(i), int(j))
    return found


def _breadth(lobe: Array) -> float:
    """How broad a lobe is along the line that cuts it off, over that line's length."""
    chord = lobe[-1] - lobe[0]
    length = max(float(np.hypot(*chord)), 1e-9)
    return float(np.ptp(lobe @ chord)) / length**2


def _turning(even: Array, i: int, j: int) -> float:
    """How far the contour turns where it is cut: from before i along the cut and on after j."""
    reach = 6
    directions = [even[i] - even[i - reach], even[j] - even[i], even[(j + reach) % POINTS] - even[j]]
    angles = [float(np.arctan2(d[1], d[0])) for d in directions]
    return sum(abs((b - a + np.pi) % (2 * np.pi) - np.pi) for a, b in itertools.pairwise(angles))


def _concave_corners(even: Array) -> tuple[NDArray[np.int64], Array]:
    """Indices of the corners, and how far the contour turns at every station."""
    k = 3
    before, after = even - np.roll(even, k, axis=0), np.roll(even, -k, axis=0) - even
    turn = np.arctan2(
        before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(1)
    )  # clockwise as seen with y down: a convex contour turns by positive angles
    around = np.stack([np.roll(turn, s) for s in range(-2, 3)])
    corners: NDArray[np.int64] = np.flatnonzero((turn < -SHALLOW_RAD) & (turn <= around.min(0) + 1e-9))
    return corners, turn
