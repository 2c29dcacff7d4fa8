"""Cells whose colour is washed out by a mirrored lamp.

Light and shade scale all channels of a paint alike and leave its purity; what a coat mirrors adds the lamp's white, so
that a cell grows lighter and less pure at once (dichromatic reflection, Shafer 1985).  On greys and whites the two look
the same; there the robust medians have to do.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from identify.card.medians import quantile
from identify.paint.shading import LUMINANCE

PURE_ENOUGH = 0.3
"""Purity, (greatest - least) / greatest channel, from which washing out can be seen."""
WASHED = 0.82
"""Share of the zone's own purity below which a lighter cell counts as washed out."""


def washed_out(rgb: NDArray[np.float32], zone: NDArray[np.int_]) -> NDArray[np.bool_]:
    """Cells (h, w) of the numbered zones (-1: none) that mirror a lamp."""
    r, g, b = np.moveaxis(rgb, -1, 0)  # two steps over whole pictures beat a reduction over three channels
    top = np.maximum(np.maximum(np.maximum(r, g), b), 1e-4)
    purity = (top - np.minimum(np.minimum(r, g), b)) / top
    y = rgb @ LUMINANCE.astype(np.float32)
    washed = np.zeros(zone.shape, bool)
    for k in range(int(zone.max()) + 1):
        cells = zone == k
        if cells.sum() < 40:
            continue
        own = quantile(purity[cells], 0.8)
        if own > PURE_ENOUGH:
            washed |= cells & (purity < WASHED * own) & (y > quantile(y[cells], 0.3))
    return washed
