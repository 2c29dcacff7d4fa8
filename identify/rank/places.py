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
    broad = np.exp(grid_log_density(grid, places)).astype(np.float32)
    seen = len(places)
    along = {0: places[:, 0].astype(np.float32), NOSE_BIT: (1 - places[:, 0]).astype(np.float32)}
    across = {0: places[:, 1].astype(np.float32), BACK_BIT: (-places[:, 1]).astype(np.float32)}
    order = {nose: np.argsort(x, kind="stable") for nose, x in along.items()}
    ratio = np.zeros((len(ways), len(sd)))
    for group in rings.groups:
        s2 = np.square(sd[group.forms]).astype(np.float32)
        narrow, height = 1 / (np.float32(dof) * s2), np.float32((1 - stray) / (2 * math.pi)) / s2
        dx = {nose: np.square(x[:, None, None] - group.x) * narrow for nose, x in along.items()}
        dy = {back: np.square(y[:, None, None] - group.y) * narrow for back, y in across.items()}
        made = len(group.x)
        n = min(seen, made)
        left, right = list(combinations(range(seen), n)), list(combinations(range(made), n))
        for k, way in enumerate(ways):
            nose = int(way) & NOSE_BIT
            own = minus_power(1 + dx[nose] + dy[int(way) & BACK_BIT], (dof + 2) / 2)
            own *= height
            own /= broad[:, None, None]
            own += np.float32(stray)
            pair = own[order[nose]]
            total = sum(
                np.prod([pair[i, j] for i, j in zip(one, other, strict=True)], axis=0)
                for one in left
                for other in right
            )
            ratio[k, group.forms] = np.log(total / np.float32(len(left) * len(right)))
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
