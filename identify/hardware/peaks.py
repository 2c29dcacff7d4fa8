"""Places where a network's picture of likely middles peaks."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from identify.geometry import Array
from identify.pixelnet import Plane


@dataclass(frozen=True, eq=False)
class Peaks:
    """`at` (n, 2) in pixels of the plane, to a fraction of one; `height` (n,) from 0 to 1, highest first."""

    at: Array
    height: Array

    def __len__(self) -> int:
        return len(self.at)


def peaks(plane: Plane, apart: float, least: float) -> Peaks:
    """Peaks of at least a height, no two nearer than `apart` pixels (the lower of two is left out)."""
    top = cv2.dilate(plane, np.ones((3, 3), np.uint8))
    rows, columns = np.nonzero(plane >= np.maximum(top, least))
    order = np.argsort(-plane[rows, columns], kind="stable")
    found: list[tuple[float, float]] = []
    heights: list[float] = []
    for k in order:
        x, y = float(columns[k]), float(rows[k])
        if all(np.hypot(x - u, y - v) >= apart for u, v in found):
            found.append((x, y))
            heights.append(float(plane[rows[k], columns[k]]))
    return Peaks(np.array([_middle(plane, p) for p in found]).reshape(-1, 2), np.array(heights))


def _middle(plane: Plane, at: tuple[float, float]) -> tuple[float, float]:
    """The centroid of what is near a peak and more than half as high."""
    x, y = int(at[0]), int(at[1])
    y0, x0 = max(0, y - 2), max(0, x - 2)
    part = plane[y0 : y + 3, x0 : x + 3].astype(float)
    part = np.clip(part - 0.5 * part.max(), 0, None)
    rows, columns = np.mgrid[y0 : y0 + part.shape[0], x0 : x0 + part.shape[1]]
    return float((part * columns).sum() / part.sum()), float((part * rows).sum() / part.sum())
