"""Dots and other marks on the flank, and whether back and belly meet in an edge or run into each other."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.card.medians import middle
from identify.colour import linear_to_lab
from identify.geometry import Array
from identify.paint.bars import Bars
from identify.paint.layers import ALIKE, Layers, apart, median_along, weigh
from identify.records import Pattern

LIGHTNESS_WEIGHT = 0.6
DIFFERENT = 12.0
"""Weighted Lab distance of a mark from its row."""
SMALL_MM, LARGE_MM = 0.7, 6.0
"""Dots are as wide as this; scratches are narrower, hooks and eyes larger."""
FEWEST_DOTS, SUREST = 5, 0.97
SOFT_EDGE = 0.11
"""Rise of 15 to 85 % from belly to back, as a share of the depth, that parts an edge from a blend."""


@dataclass(frozen=True, eq=False)
class Marks:
    """Connected parts of the flank that differ from their row: sizes along and across in mm, how full their box is,
    weighted Lab (n, 3), place (s, u), and each cell's number (h, w), 0 for none."""

    along_mm: Array
    across_mm: Array
    fullness: Array
    colour: Array
    place: Array
    label: NDArray[np.int32]


def find_marks(
    lab: Array, usable: NDArray[np.bool_], profile: Array, s: Array, u: Array, cell_mm: tuple[Array, float]
) -> Marks:
    """`cell_mm`: height of the cells at each station, and their length."""
    smooth = cv2.medianBlur(weigh(lab, LIGHTNESS_WEIGHT).astype(np.float32), 3).astype(float)
    away = apart(smooth - weigh(profile, LIGHTNESS_WEIGHT)[:, None])
    mask = (away > DIFFERENT) & usable & (s > 0.17) & (s < 0.96)
    count, label, stats, centres = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    keep = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= 6]
    colour = np.array([middle(smooth[label == k]) for k in keep]).reshape(-1, 3)
    box = stats[keep] if keep else np.zeros((0, 5), np.int32)
    columns = np.clip(centres[keep, 0].round().astype(int), 0, len(s) - 1) if keep else np.zeros(0, int)
    rows = np.clip(centres[keep, 1].round().astype(int), 0, len(u) - 1) if keep else np.zeros(0, int)
    renumbered = np.zeros(count, np.int32)
    renumbered[keep] = np.arange(1, len(keep) + 1)
    return Marks(
        along_mm=np.asarray(box[:, cv2.CC_STAT_WIDTH] * cell_mm[1], float),
        across_mm=np.asarray(box[:, cv2.CC_STAT_HEIGHT] * cell_mm[0][columns], float),
        fullness=box[:, cv2.CC_STAT_AREA] / np.maximum(box[:, cv2.CC_STAT_WIDTH] * box[:, cv2.CC_STAT_HEIGHT], 1),
        colour=colour,
        place=np.column_stack([s[columns], u[rows]]),
        label=renumbered[label],
    )


def read_pattern(
    marks: Marks,
    bars: Bars | None,
    albedo: Array,
    lab: Array,
    usable: NDArray[np.bool_],
    layers: Layers,
    u: Array,
    depth_px: float,
) -> Pattern:
    """The pattern's kind with its colour, the share of the flank it covers, and how sure the kind is; `bars`: if
    there are any."""
    if bars is not None:
        certainty = min(bars.probability, SUREST)
        return Pattern("bars", _colour_of(albedo, bars.cells), _coverage(bars.cells, usable), certainty)
    dots = _alike(marks, _dot_like(marks), FEWEST_DOTS)
    if (number := int(dots.sum())) >= FEWEST_DOTS:
        cells = np.isin(marks.label, 1 + np.nonzero(dots)[0])
        certainty = min(0.6 + 0.08 * (number - FEWEST_DOTS), SUREST)
        return Pattern("dots", _colour_of(albedo, cells), _coverage(cells, usable), certainty)
    loose = marks.label > 0
    if _coverage(loose, usable) > 0.12 and len(marks.colour) >= 8:
        return Pattern("other", _colour_of(albedo, loose), _coverage(loose, usable), 0.5)
    rise = edge_rise(lab, usable, layers, u)
    if rise is None:
        return Pattern("plain", None, 0.0, 0.5)
    pixel = 1.5 / max(depth_px, 1.0)  # a hard edge in a small picture is as wide as its pixels
    odds = (rise - SOFT_EDGE - pixel) / (0.03 + pixel)
    p_blend = float(1 / (1 + np.exp(-np.clip(odds, -5, 5))))
    if p_blend >= 0.5:
        return Pattern("blend", None, 0.0, p_blend)
    return Pattern("plain", None, 0.0, 1 - p_blend)


def edge_rise(lab: Array, usable: NDArray[np.bool_], layers: Layers, u: Array) -> float | None:
    """How wide the way from belly to back is: from 15 to 85 %, as a share of the depth, median over the body.

    None when the two are too alike to see an edge.
    """
    way = weigh(lab, LIGHTNESS_WEIGHT)
    if layers.apart < ALIKE or not (layers.back.any() and layers.belly.any()):
        return None
    rows_a, rows_b = layers.belly, layers.back
    profile = weigh(layers.profile, LIGHTNESS_WEIGHT)
    a, b = middle(profile[rows_a]), middle(profile[rows_b])
    d = b - a
    t = np.where(usable, (way - a) @ d / max(float(d @ d), 1e-6), np.nan)
    widths = []
    for block in np.array_split(np.arange(32, t.shape[1] - 24), 16):
        part = t[:, block]
        known = (~np.isnan(part)).sum(1) >= 3
        if known.sum() < 24:
            continue
        line = np.interp(np.arange(len(u)), np.nonzero(known)[0], median_along(part[known]))
        above = np.nonzero(line < 0.5)[0]
        if not len(above) or above[-1] + 1 >= len(u):
            continue
        crossing = above[-1]
        low = np.nonzero(line[: crossing + 1] < 0.15)[0]
        high = np.nonzero(line[crossing:] > 0.85)[0]
        if len(low) and len(high):
            widths.append((crossing + high[0] - low[-1]) * (u[1] - u[0]))
    return float(np.median(widths)) if len(widths) >= 4 else None


def _dot_like(marks: Marks) -> NDArray[np.bool_]:
    lo, hi = np.minimum(marks.along_mm, marks.across_mm), np.maximum(marks.along_mm, marks.across_mm)
    round_: NDArray[np.bool_] = (lo > SMALL_MM) & (hi < LARGE_MM) & (hi < 2.2 * lo) & (marks.fullness > 0.55)
    return round_


def _alike(marks: Marks, chosen: NDArray[np.bool_], least: int) -> NDArray[np.bool_]:
    """Of the chosen marks those of one colour, the commonest."""
    index = np.nonzero(chosen)[0]
    none = np.zeros(len(chosen), bool)
    if len(index) < least:
        return none
    group = apart(marks.colour[index, None] - marks.colour[None, index]) < 14
    best = index[group[int(np.argmax(group.sum(1)))]]
    if len(best) < least:
        return none
    none[best] = True
    return none


def _colour_of(albedo: Array, cells: NDArray[np.bool_]) -> tuple[float, float, float]:
    a, b, c = (float(v) for v in linear_to_lab(np.maximum(middle(albedo[cells]), 0.0)))
    return a, b, c


def _coverage(cells: NDArray[np.bool_], usable: NDArray[np.bool_]) -> float:
    return float((cells & usable).sum() / max(int(usable.sum()), 1))
