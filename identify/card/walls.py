"""Whether a grey quadrilateral is the bare floor of a compartment and no card that lies in one.

A card lies on one stuff, so that the step of light from card to ground is about the same on all sides, and goes on for
a while.  A floor ends in walls of its own colour, each lit in its own way, and other floors beyond them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from identify.card.strips import LUMINANCE, sampler
from identify.geometry import Array

BEYOND_MM = (2.0, 4.0, 7.0, 11.0)
WITHIN_MM = 3.0
"""How far from a side ground and card are looked at."""
OWN_HUE = 0.08
"""Within this (logarithm of channels' ratios) what lies beyond has the quadrilateral's own colour."""
UNLIKE, UNSTEADY, SIDES = 0.5, 0.4, 3
"""By how much (logarithm) the steps at the sides differ, and light runs beyond at least so many of them."""


def is_walled(reduced: NDArray[np.float32], corners: Array, px_per_mm: float) -> bool:
    """`reduced` (h, w, 3): linear RGB; `corners` (4, 2), clockwise as seen, and `px_per_mm` in its pixels."""
    sample = sampler(reduced)
    t = np.linspace(0.1, 0.9, 25)[:, None]
    steps = []
    for a, b in zip(corners, np.roll(corners, -1, 0), strict=True):
        along = (b - a) / np.hypot(*(b - a))
        out = np.array([along[1], -along[0]])
        places = [a + t * (b - a) + mm * px_per_mm * out for mm in (-WITHIN_MM, *BEYOND_MM)]
        light = sample(np.concatenate(places)).reshape(len(places), len(t), 3)
        if np.isnan(light).any():
            return False
        seen = np.log(np.maximum(np.median(light, axis=1), 1e-4))
        steps.append(seen[1:] - seen[0])
    off = np.array(steps)
    if np.abs(off - off[..., [1]]).max() > OWN_HUE:
        return False
    run = off @ LUMINANCE
    unsteady = np.count_nonzero(np.ptp(run, axis=1) > UNSTEADY)
    return bool(np.ptp(run[:, 0]) > UNLIKE and unsteady >= SIDES)
