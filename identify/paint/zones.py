"""Head, tail, throat and side stripe: parts of the flank whose paint differs from back and belly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.card.medians import median, middle
from identify.colour import lab_to_linear
from identify.geometry import Array
from identify.paint.layers import Layers, apart, weigh

Kind = Literal["head", "side", "tail", "throat"]
LIGHTNESS_WEIGHT = 0.55
DIFFERENT = 10.0
"""Weighted Lab distance from which paint counts as another one."""
END_REACH = 0.36
"""No head or tail is longer than this share of the body."""
STRIPE_PLACE = (0.24, 0.74)


@dataclass(frozen=True, eq=False)
class Patch:
    """One zone: its cells (h, w) bool."""

    kind: Kind
    cells: NDArray[np.bool_]


def find_patches(lab: Array, usable: NDArray[np.bool_], layers: Layers, s: Array, u: Array) -> tuple[Patch, ...]:
    """Zones that differ from what their row shows along the middle of the body.

    `lab` (h, w, 3): Lab with shading taken out; `usable` (h, w).
    """
    smooth = cv2.medianBlur(weigh(lab, LIGHTNESS_WEIGHT).astype(np.float32), 3).astype(float)
    own = weigh(layers.profile, LIGHTNESS_WEIGHT)
    other = (apart(smooth - own[:, None]) > DIFFERENT) & usable
    found: list[Patch] = []
    for kind, order in (("head", slice(None)), ("tail", slice(None, None, -1))):
        cells = _end_patch(other[:, order], usable[:, order], s)
        if cells is not None and _one_paint(smooth[:, order], cells, own):
            found.append(Patch("head" if kind == "head" else "tail", cells[:, order]))
    if not any(p.kind == "head" for p in found):
        throat = _throat(other, usable, s, u)
        if throat is not None and _one_paint(smooth, throat, own):
            found.append(Patch("throat", throat))
    stripe = _stripe(smooth, usable, own, layers, s, u)
    if stripe is not None:
        found.append(Patch("side", stripe))
    return tuple(found)


def _end_patch(other: NDArray[np.bool_], usable: NDArray[np.bool_], s: Array) -> NDArray[np.bool_] | None:
    """Columns from the end on in which nearly all of the flank differs."""
    thirds = np.array_split(np.arange(other.shape[0]), 3)
    share = np.array([_share(other[rows], usable[rows]) for rows in thirds])  # (3, w)
    full = (np.nanmin(np.where(np.isnan(share), 1.0, share), axis=0) > 0.5) & (_share(other, usable) > 0.7)
    start = int(np.argmax(s > 0.045))
    if full[start : start + 8].sum() < 6:
        return None
    gap = np.convolve(~full[start:], np.ones(4), "valid") >= 3
    stop = start + int(np.argmax(gap)) if gap.any() else len(s)
    if not 0.06 < s[min(stop, len(s) - 1)] < END_REACH:
        return None
    # the border may lean: each row has its own end, near the common one
    near = np.abs(np.arange(len(s)) - stop) <= 10
    inside = np.arange(len(s)) < stop - 10
    return _component(other & (near | inside), usable)


def _throat(other: NDArray[np.bool_], usable: NDArray[np.bool_], s: Array, u: Array) -> NDArray[np.bool_] | None:
    """A patch under the front that leaves the back free."""
    front = s < END_REACH
    low, high = u < 0.28, u > 0.62
    near = (s > 0.07) & (s < 0.18)
    if _share(other[low][:, near].ravel(), usable[low][:, near].ravel()) < 0.6:
        return None
    if _share(other[high][:, near].ravel(), usable[high][:, near].ravel()) > 0.4:
        return None
    behind = (s > END_REACH) & (s < END_REACH + 0.12)
    if _share(other[low][:, behind].ravel(), usable[low][:, behind].ravel()) > 0.3:
        return None
    return _component(other & front & (u < 0.66)[:, None], usable)


def _stripe(
    smooth: Array, usable: NDArray[np.bool_], own: Array, layers: Layers, s: Array, u: Array
) -> NDArray[np.bool_] | None:
    """Rows between back and belly whose colour is no mixture of the two."""
    if not (layers.back.any() and layers.belly.any()):
        return None
    a, b = own[layers.belly].mean(0), own[layers.back].mean(0)
    d = b - a
    length = float(d @ d)

    def beside(colours: Array) -> Array:
        t = np.clip((colours - a) @ d / max(length, 1e-6), 0, 1)
        away: Array = apart(colours - a - t[..., None] * d)
        return away

    rows = (beside(own) > DIFFERENT) & (u > STRIPE_PLACE[0]) & (u < STRIPE_PLACE[1])
    if rows.sum() < 4:
        return None
    peak = own[rows][int(np.argmax(beside(own[rows])))]
    near = apart(smooth - peak) < np.minimum(apart(smooth - a), apart(smooth - b))
    cells = _component(near & (beside(smooth) > DIFFERENT * 0.6), usable)
    if cells is None:
        return None
    columns = cells.any(0)
    thick = cells.sum(0)[columns]
    if columns.mean() < 0.45 or np.median(thick) < 3 or np.median(thick) > 0.5 * len(u):
        return None
    return None if _mirrors(smooth[cells], a, b, float(columns.mean())) else cells


def _mirrors(colours: Array, belly: Array, back: Array, reach: float) -> bool:
    """Whether a stripe is a lamp mirrored along the flank: back and belly mixed, and white unevenly added."""
    unweighed = np.array([1 / LIGHTNESS_WEIGHT, 1.0, 1.0])
    t = np.linspace(0, 1, 11)[:, None]
    under = lab_to_linear(belly * unweighed) * (1 - t) + lab_to_linear(back * unweighed) * t
    added = lab_to_linear(middle(colours) * unweighed) - under
    white = (added.min(1) > 0) & (np.ptp(added, axis=1) < 0.5 * added.max(1))
    uneven = float(np.std(colours[:, 0])) / LIGHTNESS_WEIGHT > 6
    return bool(white.any()) and (uneven or reach < 0.6)


def _share(hit: NDArray[np.bool_], usable: NDArray[np.bool_]) -> Array:
    """Share of usable cells that are hit, down each column; NaN where few are usable."""
    n = usable.sum(0)
    share: Array = np.where(n >= 2, (hit & usable).sum(0) / np.maximum(n, 1), np.nan)
    return share


def _component(mask: NDArray[np.bool_], usable: NDArray[np.bool_]) -> NDArray[np.bool_] | None:
    """The largest connected part, None when it is tiny."""
    bridged = (mask | (~usable & _beside(mask))).astype(np.uint8)
    closed = cv2.morphologyEx(bridged, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    count, label, stats, _ = cv2.connectedComponentsWithStats(closed)
    if count < 2:
        return None
    best = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    part: NDArray[np.bool_] = (label == best) & mask
    return part if part.sum() >= 60 else None


def _beside(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    grown: NDArray[np.bool_] = cv2.dilate(mask.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    return grown


def _one_paint(smooth: Array, cells: NDArray[np.bool_], own: Array) -> bool:
    """Whether the patch's cells share one colour, rather than following their rows at another lightness."""
    colours = smooth[cells]
    own_colour = middle(colours)
    rows = np.nonzero(cells)[0]
    spread = median(apart(colours - own_colour))
    shift = colours - own[rows]
    spread_of_shift = median(apart(shift - middle(shift)))
    chromatic = median(apart(shift[:, 1:]))
    contrast = median(apart(shift))
    return (
        spread < max(7.0, 0.3 * contrast)
        and (chromatic > 6 or median(np.abs(shift[:, 0])) > 14)
        and spread < spread_of_shift + 5
    )
