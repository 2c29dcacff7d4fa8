"""What a lost line tie leaves at the body's edge: a dark hole about 1.5 mm wide, sometimes with a stump of wire.

Looked for in a strip along the outline: a short dark dip just inside the edge that is gone two millimetres further in,
so that painted bars, which run on, do not count.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from identify.geometry import Array
from identify.hardware.polar import sample
from identify.hardware.view import PX_PER_MM, STEP_MM, View
from identify.settings import Point
from identify.stages import Ring

_DEPTHS_MM = np.array([-0.6, -0.4, 0.3, 0.5, 0.7, 1.7, 2.0, 2.3])
_DARK, _RECOVERED = -0.55, -0.25
"""Log ratios to the edge on either hand: at least so dark at the edge, and no darker than that further in."""
_WIDTH_MM = (0.6, 2.2)
_CLEAR_OF_RINGS_MM = 2.5


def traces(view: View, rings: tuple[Ring, ...]) -> tuple[tuple[Point, Literal["hole", "stump"]], ...]:
    """Places in pixels of the photo, and what is there."""
    grey = np.ascontiguousarray(view.image.mean(2))
    inward = sample(grey, view.outline, -view.normals, np.array([0.0]), _DEPTHS_MM)[:, 0]
    light = np.log(inward + 0.03)
    edge = _against_sides(light[:, 2:5].mean(1))
    deeper = _against_sides(light[:, 5:].mean(1))
    out = _against_sides(light[:, :2].mean(1))
    free = np.ones(len(edge), bool)
    for ring in rings:
        if ring.probability > 0.2:
            at = view.from_photo(ring.at_px)[0]
            reach = _CLEAR_OF_RINGS_MM * PX_PER_MM + ring.outer_diameter_px / view.scale / 2 * PX_PER_MM
            free &= np.hypot(*(view.outline - at).T) > reach
    found: list[tuple[Point, Literal["hole", "stump"]]] = []
    left = np.where(free, edge, 0.0)
    while len(found) < 3:
        k = int(np.argmin(left))
        if left[k] > _DARK:
            break
        width = _run(edge < edge[k] / 2, k) * STEP_MM
        if _WIDTH_MM[0] <= width <= _WIDTH_MM[1] and deeper[k] > _RECOVERED:
            x, y = view.to_photo(view.outline[k])[0]
            found.append(((float(x), float(y)), "stump" if abs(out[k]) > 0.3 else "hole"))
        reach = round(3 / STEP_MM)
        left[np.arange(k - reach, k + reach + 1) % len(left)] = 0.0
    return tuple(found)


def _against_sides(values: Array) -> Array:
    """Each value less the median of those 1.6 to 3 mm away on either hand."""
    near, far = round(1.6 / STEP_MM), round(3.0 / STEP_MM)
    sides = [np.roll(values, k) for k in (*range(-far, -near + 1), *range(near, far + 1))]
    return np.asarray(values - np.median(sides, 0), float)


def _run(flags: Array, k: int) -> int:
    """Length of the run of true flags around k on a closed line."""
    n, length = len(flags), 1
    for step in (1, -1):
        i = 1
        while i < n // 2 and flags[(k + step * i) % n]:
            i += 1
            length += 1
    return length
