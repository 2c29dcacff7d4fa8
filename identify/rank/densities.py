"""Student's t in one and more dimensions, as logarithms.

Kotz and Nadarajah, Multivariate t Distributions and Their Applications (2004), eq. 1.1.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from identify.geometry import Array
from identify.rank.rings import Single


def log_t(z: ArrayLike, sd: ArrayLike, dof: float) -> Array:
    """Log density of a deviation z with scale sd and `dof` degrees of freedom; shapes broadcast."""
    const = math.lgamma((dof + 1) / 2) - math.lgamma(dof / 2) - math.log(dof * math.pi) / 2
    value: Array = const - np.log(sd) - (dof + 1) / 2 * np.log(1 + np.square(np.asarray(z) / sd) / dof)
    return value


def multi_t_constant(k: int, dof: float) -> float:
    """Logarithm of the density at the centre, of scale 1."""
    return math.lgamma((dof + k) / 2) - math.lgamma(dof / 2) - k / 2 * math.log(dof * math.pi)


def log_multi_t(squared: Array | Single | float, log_scale: Array | Single | float, k: int, dof: float) -> Array:
    """Log density in k dimensions: `squared` is the squared distance in units of the scales, `log_scale` the sum of the
    scales' logarithms."""
    value: Array = multi_t_constant(k, dof) - log_scale - (dof + k) / 2 * np.log(1 + squared / dof)
    return value


def spread(u: float | Array, tolerance: Array) -> Array:
    """Standard deviation (n,) of a reading and of pieces together; several times faster than `hypot`."""
    together: Array = np.sqrt(u * u + np.square(tolerance))
    return together


def said(values: Array) -> Array:
    """0 for NaN: where the set does not say."""
    return np.where(np.isnan(values), 0.0, values)
