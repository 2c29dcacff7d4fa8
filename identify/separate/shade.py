"""Which enclosed patches of a picture are shadow and which are paint.

A shadow falls on the ground: it shows the ground's own texture in less light, its chroma stays the ground's or moves
along the line from warm to cool light when lamps of two colours are on, and something that casts it lies beside it.
Paint is shaded over its curve, or is smooth where the ground is rough, or has a colour of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.separate.ground import Plane

Mask = NDArray[np.bool_]

OWN_CHROMA = 4.0
"""Standard deviations of the ground's chroma from which on a patch is paint."""
SHADE_CHROMA = 3.0
"""And up to which it may be shade."""
FLOOR_CHROMA = 8.0
"""And up to which a large flat rectangle may be a compartment's floor."""
_REACH = 14


@dataclass(frozen=True)
class Patch:
    """What an enclosed patch looks like against the ground.

    `chroma` in the ground's standard deviations; `luminance`, `warm` (log R/G) and `cool` (log B/G) off the ground;
    `unrest`: standard deviation of its luminance; `texture`: its fine texture against the ground's.
    """

    area: int
    chroma: float
    luminance: float
    warm: float
    cool: float
    unrest: float
    texture: float


def is_paint(patch: Patch, bright: float) -> bool:
    """The patch has a colour of its own, or is lighter than the ground can be."""
    return patch.chroma > OWN_CHROMA or patch.luminance > 1.3 * bright


def may_be_shade(patch: Patch, ground_unrest: float) -> bool:
    """Darker than the ground, of its chroma, with its texture and no more shading than a shadow's soft border."""
    if ground_unrest < 0.06 and patch.unrest > 0.25:
        return False
    return patch.chroma < SHADE_CHROMA and patch.luminance < -0.1 and patch.texture > 0.5


def may_be_cool_shade(patch: Patch, ground_unrest: float) -> bool:
    """Lit by another, bluer lamp than the ground around it: flat but for the ground's texture, on the line from warm to
    cool light."""
    shift = float(np.hypot(patch.warm, patch.cool))
    if not (-1.5 < patch.luminance < -0.25 and patch.warm < -0.03 and patch.cool > 0.03):
        return False
    if not (0.5 < -patch.cool / patch.warm < 3 and shift < 0.45 * -patch.luminance):
        return False
    flat = 0.6 * ground_unrest < patch.unrest < max(0.04, 1.3 * min(ground_unrest, 0.05))
    return flat and patch.texture > 0.8 and patch.area > 400


def seeds(
    enclosed: tuple[Mask, ...],
    sure: Mask,
    chroma: Plane,
    difference: Plane,
    rough: Plane,
    usual: float,
    unrest: float,
    reach: tuple[float, float],
    least: float,
    floor_area: float,
) -> NDArray[np.uint8]:
    """Mark enclosed patches: 2 paint, 1 shade, 0 undecided, (h, w).

    `enclosed`: what the ground does not reach, in parts that do not overlap; `sure`: pixels known to be paint; `usual`,
    `unrest`: median fine texture of the bare ground and its luminance's standard deviation; `reach`: how far below and
    above its middle the bare ground's luminance reaches; `least`: area from which a dark patch that nothing casts is a
    thing; `floor_area`: from which a flat rectangle of the ground's colour is a compartment's floor.
    """  # fmt: skip
    marks = np.zeros(sure.shape, np.uint8)
    labels, stats = _patches(enclosed)
    shades = []
    for k in range(1, len(stats)):
        x, y, w, h, area = (int(v) for v in stats[k])
        if area < 12:
            continue
        box = np.s_[y : y + h, x : x + w]
        here = labels[box] == k
        off = difference[box][here]
        middle = np.median(off, 0)
        patch = Patch(
            area, float(np.median(chroma[box][here])), float(middle[0]), float(middle[1]), float(middle[2]),
            float(off[:, 0].std()), float(np.median(rough[box][here])) / usual,
        )  # fmt: skip
        cool = may_be_cool_shade(patch, unrest)
        if area > floor_area and patch.chroma < FLOOR_CHROMA and _is_sheet(here):
            marks[box][here] = 1
        elif (is_paint(patch, reach[1]) and not cool) or (patch.area > least and patch.unrest > 0.25 > 4 * unrest):
            marks[box][here] = 2
        elif patch.area < least and patch.chroma < SHADE_CHROMA and -reach[0] < patch.luminance < reach[1]:
            marks[box][here] = 1  # the ground between the wires of a hook
        elif cool or may_be_shade(patch, unrest):
            shades.append((k, patch, cool))
    known = (marks == 2) | sure
    for k, patch, cool in shades:
        x, y, w, h = (int(v) for v in stats[k, :4])
        x0, y0 = max(0, x - _REACH), max(0, y - _REACH)
        box = np.s_[y0 : y + h + _REACH, x0 : x + w + _REACH]
        here = labels[box] == k
        around = (cv2.dilate(here.astype(np.uint8), _ROUND) > 0) & ~here
        if np.count_nonzero(around & known[box]) > 0.08 * np.count_nonzero(around):
            marks[box][here] = 1
        elif cool or patch.area > least:
            marks[box][here] = 2
    return marks


def _is_sheet(patch: Mask) -> bool:
    """Whether a patch fills a rectangle but for what lies on it."""
    contours, _ = cv2.findContours(patch.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outer = max(contours, key=cv2.contourArea)
    hull = cv2.convexHull(outer)
    w, h = cv2.minAreaRect(hull)[1]
    return bool(cv2.contourArea(hull) > 0.88 * w * h and cv2.contourArea(outer) > 0.6 * w * h)


def _patches(parts: tuple[Mask, ...]) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Label the patches of several masks; box and area of each, the first row standing for what is none."""
    labels = np.zeros(parts[0].shape, np.int32)
    table: list[NDArray[np.int32]] = [np.zeros((1, 5), np.int32)]
    for mask in parts:
        _, own, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
        first = sum(len(t) for t in table) - 1
        labels[own > 0] = own[own > 0] + first
        table.append(np.asarray(stats[1:], np.int32))
    return labels, np.concatenate(table)


_ROUND = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * _REACH + 1, 2 * _REACH + 1))
