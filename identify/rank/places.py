"""Where rings sit: how the places of line ties or hangers speak for each form."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np

from identify.geometry import Array
from identify.rank.background import grid_log_density
from identify.rank.rings import Indices, Rings, Single

NOSE_BIT, BACK_BIT = 2, 1
"""Of the ways round: nose and tail swapped, back and belly swapped."""


def log_ratio(places: Array, ways: Indices, rings: Rings, sd: Array, grid: Array, stray: float, dof: float) -> Array:
    """Log ratio (w, n) of rings seen at `places` (m, 2) against an unlisted bait's.

    Each belongs to one of the form's, in the same order from the nose, all such assignments being alike; or, with
    probability `stray`, to none.  `sd` (n,): scatter as a fraction of the length, of Student's t with `dof` degrees of
    freedom in the plane, whose constant is 1 / 2π whatever they are.
    """
    x = np.where(ways[:, None] & NOSE_BIT, 1 - places[:, 0], places[:, 0])
    y = np.where(ways[:, None] & BACK_BIT, -places[:, 1], places[:, 1])
    order = np.argsort(x, axis=1, kind="stable")
    x, y = (np.take_along_axis(v, order, 1).astype(np.float32)[..., None, None] for v in (x, y))
    unlikely = (1 / np.exp(grid_log_density(grid, places)))[order].astype(np.float32)[..., None, None]
    seen = len(places)
    ratio = np.zeros((len(ways), len(sd)))
    for group in rings.groups:
        s2 = np.square(sd[group.forms]).astype(np.float32)
        own = np.square(x - group.x)
        own += np.square(y - group.y)
        own *= 1 / (np.float32(dof) * s2)
        own += 1
        own = minus_power(own, (dof + 2) / 2)
        own *= unlikely * (np.float32((1 - stray) / (2 * math.pi)) / s2)
        own += np.float32(stray)
        made = len(group.x)
        n = min(seen, made)
        left, right = list(combinations(range(seen), n)), list(combinations(range(made), n))
        total = np.zeros((len(ways), len(group.forms)), np.float32)
        for one in left:
            for other in right:
                product = own[:, one[0], other[0]]
                for i, j in zip(one[1:], other[1:], strict=True):
                    product = product * own[:, i, j]
                total += product
        ratio[:, group.forms] = np.log(total / np.float32(len(left) * len(right)))
    return ratio


def minus_power(values: Single, exponent: float) -> Single:
    """values ** -exponent, of whole and half exponents by multiplication, which is several times faster."""
    whole, half = divmod(exponent, 1.0)
    if half not in (0.0, 0.5) or not 0 < exponent < 8:
        return np.power(values, np.float32(-exponent))
    product = np.sqrt(values) if half else np.ones_like(values)
    for _ in range(int(whole)):
        product *= values
    return np.reciprocal(product, out=product)
