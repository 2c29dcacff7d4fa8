"""From what each pixel shows to single things: bodies, each with the rings and hooks on it, and all else that lies
about."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from identify.separate.look import Scene
from identify.separate.morphology import Mask, grown, opened
from identify.separate.shape import Shape, describe

_RIM = 3
_SMOOTH = 0.88
"""Solidity from which on a thing is one body and not several that touch."""
_LEAST_SHARE = 0.4
"""Of the area of the largest body that it touches: what is smaller is part of it."""
_NECK = 0.5
"""Bodies that touch hang together by less than this share of the slenderer one's width."""
_LEAST_BODY_MM2 = 40.0
_LEAST_THING_MM2 = 30.0
_REACH_MM = 2.0
"""Wire belongs to a body that it comes as near as this."""


@dataclass(frozen=True, eq=False)
class Thing:
    """One thing of the scene: `mask` (h, w) with its rings and hooks, `core` without; the core's shape and contour;
    `certainty`: the mean of what the network says for a body there (0 for what it calls another thing)."""

    mask: Mask
    core: Mask
    shape: Shape
    contour: Array
    certainty: float


def bodies(scene: Scene, wire: float) -> list[Thing]:
    """Every body, touching ones parted.  `wire`: width of a hook's wire in the scene's pixels."""
    solid: Mask = (scene.body > 0.5) & ~scene.on_card
    least = _LEAST_BODY_MM2 * scene.px_per_mm**2
    cores = [core for whole in _pieces(solid, least) for core in _parted(_filled(whole), wire, least)]
    stuff: Mask = solid | (np.maximum(scene.wire, scene.lip) > 0.5)
    near = _nearest(cores, scene.body.shape)
    joined = _labelled(grown(stuff, 0.5 * _REACH_MM * scene.px_per_mm), 8)
    out = []
    for k, core in enumerate(cores, 1):
        own = np.unique(joined[core])
        mask: Mask = ((near == k) & stuff & np.isin(joined, own[own > 0])) | core
        out.append(_thing(mask, core, float(scene.body[core].mean())))
    return out


def others(scene: Scene, found: list[Thing], wire: float) -> list[Thing]:
    """Things that are no bodies: what the network calls so, and wire that hangs on no body."""
    taken = np.zeros(scene.body.shape, bool)
    for thing in found:
        taken |= thing.mask
    out: list[Thing] = []
    least = _LEAST_THING_MM2 * scene.px_per_mm**2
    free: Mask = ~taken & ~scene.on_card
    out += [_thing(piece, piece, 0.0) for piece in _pieces(opened((scene.thing > 0.5) & free, 0.4 * wire), least)]
    for piece in _pieces((scene.wire > 0.5) & free, least):
        thing = _thing(piece, piece, 0.0)
        out.append(replace(thing, shape=replace(thing.shape, thin=math.inf)))
    return out


def _thing(mask: Mask, core: Mask, certainty: float) -> Thing:
    frame = np.zeros(core.shape, bool)
    frame[:_RIM] = frame[-_RIM:] = True
    frame[:, :_RIM] = frame[:, -_RIM:] = True
    return Thing(mask, core, *describe(core, mask, frame), certainty)


def _parted(core: Mask, wire: float, least: float) -> list[Mask]:
    """The bodies of a core that is several touching ones: the markers are what is left of it when it is eroded to its
    first break into pieces that matter; itself when it does not break or is one smooth body."""
    contours, _ = cv2.findContours(core.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=cv2.contourArea)
    if cv2.contourArea(contour) > _SMOOTH * cv2.contourArea(cv2.convexHull(contour)):
        return [core]
    depth = cv2.distanceTransform(np.pad(core, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    for radius in np.linspace(0.5 * wire, 0.9 * float(depth.max()), 12):
        pieces = _pieces(depth > radius, (1.5 * wire) ** 2)
        while len(pieces) >= 2:
            near = _nearest(pieces, core.shape)
            parts = [(near == k) & core for k in range(1, len(pieces) + 1)]
            areas = [int(np.count_nonzero(part)) for part in parts]
            # what breaks off an end is a tail; a body is not much smaller than what it touches
            whole = [k for k, area in enumerate(areas) if area >= max(least, _LEAST_SHARE * max(areas))]
            if len(whole) == len(pieces):
                # a body may have a waist: what merely touches hangs together by far less than its own width
                inner = min(float(depth[part].max()) for part in parts)
                return parts if radius < _NECK * inner else [core]
            pieces = [pieces[k] for k in whole]
    return [core]


def _pieces(mask: Mask, least: float) -> list[Mask]:
    """The connected parts of a mask that have at least so many pixels."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    return [labels == k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= least]


def _filled(mask: Mask) -> Mask:
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros(mask.shape, np.uint8)
    cv2.drawContours(filled, contours, -1, 1, cv2.FILLED)
    return filled > 0


def _labelled(mask: Mask, connectivity: int) -> NDArray[np.int32]:
    return np.asarray(cv2.connectedComponents(mask.astype(np.uint8), connectivity=connectivity)[1], np.int32)


def _nearest(pieces: list[Mask], shape: tuple[int, ...]) -> NDArray[np.int32]:
    """For each pixel the number (from 1) of the piece that is nearest; 0 everywhere without pieces."""
    numbers = np.zeros(shape, np.int32)
    for k, piece in enumerate(pieces, 1):
        numbers[piece] = k
    if not pieces:
        return numbers
    _, index = cv2.distanceTransformWithLabels(
        (numbers == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.zeros(int(index.max()) + 1, np.int32)
    table[index[numbers > 0]] = numbers[numbers > 0]
    nearest: NDArray[np.int32] = table[index]
    return nearest
