"""A lip: a plate that stands out of the body near one end."""

from __future__ import annotations

import cv2
import numpy as np

from identify.closeup import Closeup
from identify.geometry import Array
from identify.stages import PlateSeen

LEAST_MM2 = 1.5
SURE_MM2 = 6.0
"""A plate that shows so much of itself is as sure as the network is of its pixels."""


def find(seen: Closeup, outline: Array) -> tuple[PlateSeen, ...]:
    """Plates, the surest first.  `outline` (n, 2): of the body, in pixels of the close-up."""
    mm = seen.mm
    likely = (seen.lip > 0.5).astype(np.uint8)
    if not likely.any():
        return ()
    count, labels, stats, _ = cv2.connectedComponentsWithStats(likely, connectivity=8)
    out = []
    for k in range(1, count):
        area = float(stats[k, cv2.CC_STAT_AREA]) / mm**2
        if area < LEAST_MM2:
            continue
        rows, columns = np.nonzero(labels == k)
        points = np.column_stack([columns, rows]).astype(float)
        few = points[:: max(1, len(points) // 60)]
        away = np.array([float(np.hypot(*(outline - p).T).min()) for p in few])
        root, tip = seen.to_photo([few[away.argmin()], few[away.argmax()]])
        p = float(seen.lip[rows, columns].mean()) * min(1.0, area / SURE_MM2)
        out.append(PlateSeen((float(root[0]), float(root[1])), (float(tip[0]), float(tip[1])), p))
    return tuple(sorted(out, key=lambda plate: -plate.probability))
