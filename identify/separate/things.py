"""From the pixels that are not ground to single things: bodies, each with the thin parts that hang on it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from identify.separate.morphology import Mask, grown, opened
from identify.separate.shape import Shape, describe
from identify.separate.trunk import body_of

_RIM = 3
_SMOOTH = 0.88
"""Solidity from which on a thing is one body and not several that touch."""


@dataclass(frozen=True, eq=False)
class Thing:
    """One thing of the reduced picture: its mask, the mask without thin lines and the core (h, w), its shape and its
    contour there."""

    mask: Mask
    solid: Mask
    core: Mask
    shape: Shape
    contour: Array


def split(labels: NDArray[np.int32], wire: float) -> list[Thing]:
    """One thing for each body that remains when thin parts are left out, every other pixel going to the nearest body
    that it hangs together with.  `labels`: as from `evidence.part`; `wire`: width of a hook's wire in pixels."""
    solid: Mask = labels == 2
    stuff: Mask = labels >= 2
    wide = opened(solid, max(1.0, 0.75 * wire))
    # lines stop short of a body that is as dark or as light as they are
    joined = _labelled(grown(stuff, wire), 8)
    bodies = _labelled(wide, 4)
    return _things(stuff, solid, joined, bodies, wire)


def part_touching(thing: Thing, wire: float) -> list[Thing]:
    """The bodies of a thing that is several touching ones: the markers are what is left of it when it is eroded to its
    first break into pieces that matter; [] when it does not break or is one smooth body."""
    if thing.shape.solidity > _SMOOTH:
        return []
    depth = cv2.distanceTransform(np.pad(thing.core, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    for radius in np.linspace(wire, 0.9 * float(depth.max()), 12):
        count, bodies, stats, _ = cv2.connectedComponentsWithStats((depth > radius).astype(np.uint8), connectivity=4)
        weighty = stats[:, cv2.CC_STAT_AREA] >= (1.5 * wire) ** 2
        weighty[0] = False
        if np.count_nonzero(weighty) >= 2:
            kept = np.where(weighty, np.arange(count), 0)[bodies].astype(np.int32)
            return _things(thing.mask, thing.solid, thing.mask.astype(np.int32), kept, wire, least=0.0)
    return []


def _things(
    stuff: Mask,
    solid: Mask,
    joined: NDArray[np.int32],
    bodies: NDArray[np.int32],
    wire: float,
    least: float | None = None,
) -> list[Thing]:
    area = np.bincount(bodies.ravel())
    kept = np.flatnonzero(area >= (max(20.0, (2.5 * wire) ** 2) if least is None else least))
    kept = kept[kept > 0]
    near = _nearest(bodies, kept)
    frame = np.zeros(stuff.shape, bool)
    frame[:_RIM] = frame[-_RIM:] = True
    frame[:, :_RIM] = frame[:, -_RIM:] = True
    things = []
    for k in kept:
        own = np.unique(joined[bodies == k])
        mask: Mask = (near == k) & stuff & np.isin(joined, own[own > 0])
        core = body_of(mask & solid, wire)
        if core.any():
            things.append(Thing(mask, mask & solid, core, *describe(core, mask, frame)))
    return things


def _labelled(mask: Mask, connectivity: int) -> NDArray[np.int32]:
    return np.asarray(cv2.connectedComponents(mask.astype(np.uint8), connectivity=connectivity)[1], np.int32)


def _nearest(bodies: NDArray[np.int32], kept: NDArray[np.int64]) -> NDArray[np.int32]:
    chosen = np.isin(bodies, kept)
    if not chosen.any():
        return np.zeros(bodies.shape, np.int32)
    _, index = cv2.distanceTransformWithLabels(
        (~chosen).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.zeros(int(index.max()) + 1, np.int32)
    table[index[chosen]] = bodies[chosen]
    nearest: NDArray[np.int32] = table[index]
    return nearest
