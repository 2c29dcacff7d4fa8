"""Outlines in the bait's own frame: nose left at the origin, back up, x along the maximum Feret diameter."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from identify.geometry import Array, max_feret


def to_frame(points: ArrayLike, nose: ArrayLike, tail: ArrayLike, back_is_left: bool, y_down: bool = True) -> Array:
    """Move points (n, 2) into the bait's frame: origin at `nose`, +x towards `tail`, +y towards the back.

    `back_is_left`: the back lies to the left hand of one who walks from nose to tail, as seen.  `y_down`: the points'
    own y axis points down, as in pictures and in SVG.
    """
    start, end = np.asarray(nose, float), np.asarray(tail, float)
    ex = (end - start) / np.hypot(*(end - start))
    left = np.array([ex[1], -ex[0]]) if y_down else np.array([-ex[1], ex[0]])
    ey = left if back_is_left else -left
    framed: Array = (np.asarray(points, float) - start) @ np.column_stack([ex, ey])
    return framed


def frame_of(points: ArrayLike, nose_hint: ArrayLike) -> tuple[Array, Array]:
    """The Feret ends of an outline as (nose, tail), the nose being the one nearer to the hint."""
    a, b = max_feret(points)
    hint = np.asarray(nose_hint, float)
    return (a, b) if np.hypot(*(a - hint)) <= np.hypot(*(b - hint)) else (b, a)
