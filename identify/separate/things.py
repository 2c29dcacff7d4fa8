"""From what each pixel shows to single things: bodies, each with the rings and hooks on it, and all else that lies
about."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from identify.separate.look import Scene
from identify.separate.morphology import Mask, grown, opened
from identify.separate.shape import Shape, describe

_SMOOTH = 0.88
"""Solidity from which on a thing is one body and not several that touch."""
_LEAST_SHARE, _NECK = 0.4, 0.5
"""A body has at least this share of the area of the largest that it touches, and hangs together with it by less than
this share of the slenderer one's width: what is smaller or hangs together by more is part of it."""
_SURELY_SEVERAL, _EACH_SOLID = 0.8, 0.88
"""What is less solid than the first, in parts that are all more solid than the second, is several bodies side by side:
then these shares are enough."""
_LEAST_SHARE_BESIDE, _NECK_BESIDE = 0.25, 0.8
_LEAST_BODY_MM2 = 40.0
_LEAST_THING_MM2 = 30.0
_REACH_MM = 2.0
"""Wire belongs to a body that it comes as near as this."""


@dataclass(frozen=True, eq=False)
class Thing:
    """One thing of the scene: `mask` (h, w) with its rings and hooks, `core` without; the core's shape and contour;
    `certainty`: the mean of what the network says for a body there (0 for what it calls another thing).

    The masks cover part of the scene, `place` (x, y) being their first pixel's, with a free rim of one pixel but where
    the scene ends.
    """

    place: tuple[int, int]
    mask: Mask
    core: Mask
    shape: Shape
    contour: Array
    certainty: float


@dataclass(frozen=True, eq=False)
class _Patch:
    """Part of a scene: a mask whose first pixel lies at x, y."""

    x: int
    y: int
    mask: Mask

    def of(self, plane: NDArray[Any]) -> NDArray[Any]:
        """The same part of a plane of the scene."""
        h, w = self.mask.shape
        return plane[self.y : self.y + h, self.x : self.x + w]


def bodies(scene: Scene, wire: float) -> list[Thing]:
    """Every body, touching ones parted.  `wire`: width of a hook's wire in the scene's pixels."""
    solid: Mask = (scene.body > 0.5) & ~scene.on_card
    least = _LEAST_BODY_MM2 * scene.px_per_mm**2
    cores = [
        _Patch(whole.x, whole.y, core) for whole in _pieces(solid, least) for core in _parted(whole.mask, wire, least)
    ]
    if not cores:
        return []
    stuff: Mask = solid | (np.maximum(scene.wire, scene.lip) > 0.5)
    out = []
    for near in _pieces(grown(stuff, 0.5 * _REACH_MM * scene.px_per_mm), 0.0):
        own = [core for core in cores if _holds(near, core)]
        there: Mask = near.mask & near.of(stuff)
        placed = [_moved(core, near) for core in own]
        nearest = _nearest(placed, there.shape)
        for k, core in enumerate(placed, 1):
            certainty = float(near.of(scene.body)[core].mean())
            out.append(_thing(_Patch(near.x, near.y, (there & (nearest == k)) | core), core, scene, certainty))
    return out


def others(scene: Scene, found: list[Thing], wire: float) -> list[Thing]:
    """Things that are no bodies: what the network calls so, and wire that hangs on no body."""
    free: Mask = ~scene.outline
    for thing in found:
        part = _Patch(*thing.place, thing.mask).of(free)
        part &= ~thing.mask
    least = _LEAST_THING_MM2 * scene.px_per_mm**2
    out = [
        _thing(piece, piece.mask, scene, 0.0)
        for piece in _pieces(opened((scene.thing > 0.5) & free, 0.4 * wire), least)
    ]
    for piece in _pieces((scene.wire > 0.5) & free, least):
        thing = _thing(piece, piece.mask, scene, 0.0)
        out.append(replace(thing, shape=replace(thing.shape, thin=math.inf)))
    return out


def _thing(whole: _Patch, core: Mask, scene: Scene, certainty: float) -> Thing:
    place = (whole.x, whole.y)
    return Thing(place, whole.mask, core, *describe(core, whole.mask, place, scene.body.shape), certainty)


def _parted(core: Mask, wire: float, least: float) -> list[Mask]:
    """The bodies of a core that is several touching ones: the markers are what is left of it when it is eroded to its
    first break into pieces that matter; itself when it does not break or is one smooth body."""
    solid = _solidity(core)
    if solid > _SMOOTH:
        return [core]
    whole = _Patch(0, 0, core)
    depth = cv2.distanceTransform(np.pad(core, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    for radius in np.linspace(0.5 * wire, 0.9 * float(depth.max()), 12):
        pieces = [_moved(p, whole) for p in _pieces(depth > radius, (1.5 * wire) ** 2)]
        while len(pieces) >= 2:
            near = _nearest(pieces, core.shape)
            parts = [(near == k) & core for k in range(1, len(pieces) + 1)]
            areas = [int(np.count_nonzero(part)) for part in parts]
            # what breaks off an end is a tail; a body is not much smaller than what it touches
            beside = solid < _SURELY_SEVERAL and all(_solidity(part) > _EACH_SOLID for part in parts)
            share, neck = (_LEAST_SHARE_BESIDE, _NECK_BESIDE) if beside else (_LEAST_SHARE, _NECK)
            full = [k for k, area in enumerate(areas) if area >= max(least, share * max(areas))]
            if len(full) == len(pieces):
                # a body may have a waist: what merely touches hangs together by far less than its own width
                inner = min(float(depth[part].max()) for part in parts)
                return parts if radius < neck * inner else [core]
            pieces = [pieces[k] for k in full]
    return [core]


def _solidity(mask: Mask) -> float:
    """Area of a mask's largest part against that of its convex hull."""
    contours, _ = cv2.findContours(mask.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=cv2.contourArea)
    return float(cv2.contourArea(contour) / max(cv2.contourArea(cv2.convexHull(contour)), 1.0))


def _pieces(mask: Mask, least: float) -> list[_Patch]:
    """The connected parts of a mask that have at least so many pixels, their holes filled."""
    contours, _ = cv2.findContours(mask.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    out = []
    for contour in reversed(contours):  # from the top
        x, y, w, h = cv2.boundingRect(contour)
        if w * h < least:
            continue
        x0, y0 = max(x - 1, 0), max(y - 1, 0)
        filled = np.zeros((min(y + h + 1, mask.shape[0]) - y0, min(x + w + 1, mask.shape[1]) - x0), np.uint8)
        cv2.drawContours(filled, [contour], -1, 1, cv2.FILLED, offset=(-x0, -y0))
        if cv2.countNonZero(filled) >= least:
            out.append(_Patch(x0, y0, filled > 0))
    return out


def _holds(whole: _Patch, part: _Patch) -> bool:
    """Whether a part of the scene lies within another, being connected to it if it touches it at all."""
    y, x = divmod(int(part.mask.argmax()), part.mask.shape[1])
    row, column, (h, w) = y + part.y - whole.y, x + part.x - whole.x, whole.mask.shape
    return bool(0 <= row < h and 0 <= column < w and whole.mask[row, column])


def _moved(part: _Patch, whole: _Patch) -> Mask:
    """A part's mask, as one of the whole that it lies within."""
    mask: Mask = np.zeros_like(whole.mask)
    h, w = part.mask.shape
    x, y = part.x - whole.x, part.y - whole.y
    # free rims may reach beyond
    x0, y0 = max(x, 0), max(y, 0)
    x1, y1 = min(x + w, whole.mask.shape[1]), min(y + h, whole.mask.shape[0])
    mask[y0:y1, x0:x1] = part.mask[y0 - y : y1 - y, x0 - x : x1 - x]
    return mask


def _nearest(pieces: list[Mask], shape: tuple[int, ...]) -> NDArray[np.int32]:
    """For each pixel the number (from 1) of the piece that is nearest."""
    if len(pieces) == 1:
        return np.ones(shape, np.int32)
    numbers = np.zeros(shape, np.int32)
    for k, piece in enumerate(pieces, 1):
        numbers[piece] = k
    _, index = cv2.distanceTransformWithLabels(
        (numbers == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.zeros(int(index.max()) + 1, np.int32)
    table[index[numbers > 0]] = numbers[numbers > 0]
    nearest: NDArray[np.int32] = table[index]
    return nearest
