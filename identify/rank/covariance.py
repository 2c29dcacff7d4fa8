"""How outlines scatter: one piece's from photo to photo, and those of all kinds of bodies."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from identify.geometry import Array
from identify.outline import STATIONS, descriptors, rms_height
from identify.rank.noise import Noise


@dataclass(frozen=True, eq=False)
class Axes:
    """Principal axes of the outline's noise: `vectors` (k, k), a column each, and their `variances` (k,)."""

    vectors: Array
    variances: Array

    def with_edge(self, noise: Noise, depth_px: float) -> Array:
        """Standard deviations (k,) along the axes for a bait of this depth in pixels: white edge noise adds the same
        variance to every descriptor, so the axes stay."""
        white = noise.outline_edge_px / max(depth_px, 1.0) * np.sqrt(2 / STATIONS) * 2
        sds: Array = np.sqrt(self.variances + white**2)
        return sds

    @cached_property
    def height(self) -> float:
        """Root mean square height of the noise, as a fraction of the depth."""
        return float(np.sqrt(self.variances @ np.square(rms_height(self.vectors.T))))


def outline_axes(noise: Noise) -> Axes:
    """Independent scatter of each descriptor, and the Feret axis that shifts and tilts on blunt ends.

    The covariance is the same whichever way the bait lies, so readings turned round keep their axes.
    """
    at = (np.arange(STATIONS) + 0.5) / STATIONS
    shift = descriptors(np.vstack([np.ones(STATIONS)] * 2))
    tilt = descriptors(np.vstack([2 * at - 1] * 2))
    covariance = np.diag(np.square(noise.outline_sd))
    covariance += noise.outline_shift**2 * np.outer(shift, shift) + noise.outline_tilt**2 * np.outer(tilt, tilt)
    variances, vectors = np.linalg.eigh(covariance)
    return Axes(vectors, variances)


@lru_cache(maxsize=1)
def bodies() -> tuple[Array, Array]:
    """Mean (k,) and covariance (k, k) of the descriptors of baits' bodies in general, whoever made them.

    A family drawn on purpose without regard to any set: thickness x^a (1 - x)^b from blunt to pointed at either end,
    fuller above or below, straight or bent (bench).  What no such body shows gets one hundredth of the depth.
    """
    at = (np.arange(STATIONS) + 0.5) / STATIONS
    found = []
    for nose in (0.3, 0.5, 0.75, 1.1):
        for tail in (0.3, 0.5, 0.8, 1.2):
            thick = at**nose * (1 - at) ** tail
            thick = thick / thick.max()
            for above in (0.42, 0.5, 0.6):
                for bend in (-0.12, 0.0, 0.12):
                    for fore in (-0.04, 0.04):
                        middle = bend * np.sin(np.pi * at) + fore * np.sin(2 * np.pi * at)
                        heights = np.vstack([above * thick, (above - 1) * thick]) + middle
                        found.append(descriptors(heights / (heights[0].max() - heights[1].min())))
    values = np.array(found)
    return values.mean(0), np.cov(values.T) + 0.01**2 * np.eye(values.shape[1])
