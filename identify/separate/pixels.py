"""What each pixel of a picture is: ground (lit or in shadow), something solid, or wire.

A small network looks at how each pixel and its surroundings stand off the bare ground, over the whole picture at a
fixed coarse scale; a second one looks again at twice that scale where something may lie, knowing what the first one
thought of the surroundings (auto-context: Tu & Bai, IEEE TPAMI 32 (2010) 1744).  Their inputs are relative to the
ground's own light, colour and texture and know no direction, so that they hold on other grounds, for other paints and
however the bait lies.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from identify import network
from identify.geometry import Array
from identify.separate.ground import Ground, Plane, as_plane

COARSE_PX_PER_MM, FINE_PX_PER_MM = 1.25, 2.5
"""Scales at which the first and the second network look."""
GROUND, SOLID, WIRE = 0, 1, 2
CLASSES = ("ground", "solid", "wire")

_BLURS = ((0.7, 1), (1.6, 1), (4.0, 2), (10.0, 4), (24.0, 8))
"""Standard deviations of the blurs (pixels) that a pixel's surroundings are taken in by, each with the factor by which
the picture is reduced first: what is blurred needs no fine grid."""
_REACHES = ((5, 1), (13, 2), (31, 4))
_CONTEXT_BLURS = ((1.5, 1), (4.0, 2), (10.0, 4), (24.0, 8))
_RINGS = ((6.0, 2), (14.0, 4), (28.0, 4))
_DIRECTIONS = 8
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Looks:
    """The inputs of the first network for every pixel: `planes` (h, w, k) float32, named by `names`."""

    planes: Plane
    names: tuple[str, ...]


def looks(linear: Plane, ground: Ground, lit: Plane) -> Looks:
    """How each pixel and its surroundings stand off the ground.

    `linear` (h, w, 3): the picture; `lit` (h, w, 3): the ground's traits there.
    """
    off = ground.stand_off(linear, lit)
    off[..., 1:] = cv2.transform(off[..., 1:], np.asarray(ground.turn, np.float32))
    lum = np.ascontiguousarray(off[..., 0])
    shape = (lum.shape[0], lum.shape[1])
    fine = lum - cv2.blur(lum, (5, 5))
    rough = np.log(cv2.sqrt(cv2.blur(fine * fine, (7, 7))) + np.float32(0.003))
    usual = float(np.median(rough))
    planes: list[Plane] = []
    names: list[str] = []

    def add(name: str, plane: Any) -> None:
        names.append(name)
        planes.append(np.asarray(plane, np.float32))

    spread = np.asarray(ground.spread, np.float32)
    for sigma, factor in _BLURS:
        soft = cv2.GaussianBlur(_reduce(off, factor), (0, 0), sigma / factor)
        steep = None
        if sigma <= 4:
            dx, dy = (cv2.Sobel(soft, cv2.CV_32F, *d, ksize=3) for d in ((1, 0), (0, 1)))
            steep = np.sqrt(dx * dx + dy * dy) / (8 * factor)
        add(f"light {sigma}", _restore(soft[..., 0], shape))
        add(f"light against texture {sigma}", _restore(_squeeze(soft[..., 0] / spread[0]), shape))
        add(f"colour {sigma}", _restore(cv2.magnitude(soft[..., 1], soft[..., 2]), shape))
        for k in (1, 2):
            # how far along each chroma axis of the ground's own scatter, whichever way
            add(f"colour against texture {k} {sigma}", _restore(_squeeze(np.abs(soft[..., k]) / spread[k]), shape))
        if steep is not None:
            add(f"step in light {sigma}", _restore(_squeeze(steep[..., 0] * 20), shape))
            add(f"step in colour {sigma}", _restore(_squeeze((steep[..., 1] + steep[..., 2]) * 40), shape))
    soft_lum = cv2.GaussianBlur(lum, (0, 0), 1.2)
    for reach, factor in _REACHES:
        disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach // factor | 1, reach // factor | 1))
        small = _reduce(soft_lum, factor)
        add(f"darkest {reach}", _restore(cv2.erode(small, disc), shape))
        add(f"lightest {reach}", _restore(cv2.dilate(small, disc), shape))
    add("roughness", rough - np.float32(usual))
    add("roughness around", cv2.blur(rough, (15, 15)) - np.float32(usual))
    add("ground roughness", np.full(shape, usual, np.float32))
    add("ground lightness", cv2.GaussianBlur(np.ascontiguousarray(lit[..., 0]), (0, 0), 3.0))
    add("ground spread", np.full(shape, np.log(spread[0]), np.float32))
    return Looks(np.dstack(planes), tuple(names))


def context(thought: Plane) -> Looks:
    """What the first network thought of the surroundings: `thought` (h, w, 3) probabilities."""
    shape = (thought.shape[0], thought.shape[1])
    planes: list[Plane] = [thought[..., SOLID], thought[..., WIRE]]
    names = ["solid here", "wire here"]
    other = np.ascontiguousarray(thought[..., 1:])
    for sigma, factor in _CONTEXT_BLURS:
        soft = cv2.GaussianBlur(_reduce(other, factor), (0, 0), sigma / factor)
        planes += [_restore(soft[..., k], shape) for k in range(2)]
        names += [f"solid {sigma}", f"wire {sigma}"]
    # around the pixel on rings, in order of size instead of direction, so that turning the picture changes nothing
    for radius, factor in _RINGS:
        soft = cv2.GaussianBlur(_reduce(np.ascontiguousarray(thought[..., SOLID]), factor), (0, 0), radius / 4 / factor)
        stack = np.dstack([_shifted(soft, radius / factor, k) for k in range(_DIRECTIONS)])
        half = _DIRECTIONS // 2
        opposite = np.minimum(stack[..., :half], stack[..., half:])
        ordered = np.dstack([np.sort(stack, axis=2), opposite.max(2), opposite.min(2)])
        planes += [_restore(ordered[..., k], shape) for k in range(ordered.shape[2])]
        names += [f"ring {radius} {k}" for k in range(_DIRECTIONS)]
        names += [f"ring {radius} opposite most", f"ring {radius} opposite least"]
    return Looks(np.dstack(planes).astype(np.float32), tuple(names))


def first_thought(linear: Plane, ground: Ground, lit: Plane) -> Plane:
    """Probabilities (h, w, 3) of CLASSES in a picture at COARSE_PX_PER_MM."""
    seen = looks(linear, ground, lit)
    return _apply("first", seen, np.ones(linear.shape[:2], bool))


def second_looks(linear: Plane, ground: Ground, lit: Plane, thought: Plane) -> Looks:
    """Inputs of the second network: a picture at FINE_PX_PER_MM and what the first thought, brought to that scale."""
    seen, around = looks(linear, ground, lit), context(thought)
    return Looks(np.concatenate([seen.planes, around.planes], 2), seen.names + around.names)


def second_thought(linear: Plane, ground: Ground, lit: Plane, thought: Plane) -> Plane:
    """Probabilities (h, w, 3) of CLASSES in a picture at FINE_PX_PER_MM."""
    return _apply("second", second_looks(linear, ground, lit, thought), open_question(thought))


def open_question(thought: Plane) -> Mask:
    """Where a second look may change something: not far from anything that is hardly plain ground."""
    doubt = (thought[..., GROUND] < 0.95).astype(np.uint8)
    near: Mask = cv2.dilate(doubt, np.ones((7, 7), np.uint8)) > 0
    return near


def _apply(name: str, seen: Looks, where: Mask) -> Plane:
    out = np.zeros((*where.shape, len(CLASSES)), np.float32)
    out[..., GROUND] = 1
    if where.any():
        out[where] = network.load("identify.separate", name).probabilities(seen.planes[where], seen.names)
    return out


def _reduce(plane: Any, factor: int) -> Plane:
    if factor == 1:
        return as_plane(plane)
    h, w = plane.shape[:2]
    return np.asarray(cv2.resize(plane, (-(-w // factor), -(-h // factor)), interpolation=cv2.INTER_AREA), np.float32)


def _restore(plane: Any, shape: tuple[int, int]) -> Plane:
    if plane.shape[:2] == shape:
        return as_plane(plane)
    whole = cv2.resize(np.ascontiguousarray(plane), (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.asarray(whole, np.float32)


def _shifted(plane: Any, radius: float, direction: int) -> Plane:
    """What lies `radius` pixels away in one of the directions."""
    a = 2 * np.pi * direction / _DIRECTIONS
    h, w = plane.shape[:2]
    move = np.array([[1, 0, radius * np.cos(a)], [0, 1, radius * np.sin(a)]], np.float32)
    return np.asarray(cv2.warpAffine(plane, move, (w, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP), np.float32)


def _squeeze(values: Plane | Array) -> Plane:
    """Large values count less: arcsinh keeps small ones as they are."""
    return np.arcsinh(np.asarray(values, np.float32))
