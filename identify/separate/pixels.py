"""What each pixel of a picture is: ground (lit or in shadow), something solid, or wire.

A small network looks at how each pixel and its surroundings stand off the bare ground, at a fixed scale (3 px/mm), and
a second one looks again, knowing what the first one thought of the surroundings (auto-context: Tu & Bai, IEEE TPAMI 32
(2010) 1744).  Their inputs are relative to the ground's own light, colour and texture and know no direction, so that
they hold on other grounds, for other paints and however the bait lies.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify import network
from identify.geometry import Array
from identify.separate.ground import Ground, Plane

PX_PER_MM = 3.0
"""Scale at which the networks look."""
GROUND, SOLID, WIRE = 0, 1, 2
CLASSES = ("ground", "solid", "wire")

_BLURS = (0.7, 1.6, 4.0, 10.0, 24.0)
_REACHES = (5, 13, 31)
_CONTEXT_BLURS = (1.5, 4.0, 10.0, 24.0)
_RINGS = (6.0, 14.0, 28.0)
_DIRECTIONS = 8
_NEAR_GROUND = 0.8
"""Pixels whose first-look stand-off stays below this everywhere around are ground without a closer look."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Looks:
    """The inputs of the first network for every pixel: `planes` (h, w, k) float32, named by `names`."""

    planes: Plane
    names: tuple[str, ...]


def looks(linear: Plane, ground: Ground, lit: Plane) -> Looks:
    """How each pixel and its surroundings stand off the ground.

    `linear` (h, w, 3): the picture at PX_PER_MM; `lit` (h, w, 3): the ground's traits there.
    """
    off = ground.stand_off(linear, lit)
    off[..., 1:] = cv2.transform(off[..., 1:], np.asarray(ground.turn, np.float32))
    lum = off[..., 0]
    fine = lum - cv2.blur(lum, (5, 5))
    rough = np.log(cv2.sqrt(cv2.blur(fine * fine, (7, 7))) + np.float32(0.003))
    usual = float(np.median(rough))
    planes: list[Plane] = []
    names: list[str] = []

    def add(name: str, plane: Plane) -> None:
        names.append(name)
        planes.append(np.asarray(plane, np.float32))

    spread = np.asarray(ground.spread, np.float32)
    for sigma in _BLURS:
        soft = cv2.GaussianBlur(off, (0, 0), sigma)
        add(f"light {sigma}", soft[..., 0])
        add(f"light against texture {sigma}", _squeeze(soft[..., 0] / spread[0]))
        add(f"colour {sigma}", cv2.magnitude(soft[..., 1], soft[..., 2]))
        for k in (1, 2):
            # which way, up to sign: the chroma axes are those of the ground's own scatter
            add(f"colour against texture {k} {sigma}", _squeeze(np.abs(soft[..., k]) / spread[k]))
        if sigma <= 4:
            dx, dy = (cv2.Sobel(soft, cv2.CV_32F, *d, ksize=3) for d in ((1, 0), (0, 1)))
            steep = np.sqrt(dx * dx + dy * dy) / 8
            add(f"step in light {sigma}", _squeeze(steep[..., 0] * 20))
            add(f"step in colour {sigma}", _squeeze((steep[..., 1] + steep[..., 2]) * 40))
    soft_lum = cv2.GaussianBlur(lum, (0, 0), 1.2)
    for reach in _REACHES:
        disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
        add(f"darkest {reach}", cv2.erode(soft_lum, disc))
        add(f"lightest {reach}", cv2.dilate(soft_lum, disc))
    add("roughness", rough - np.float32(usual))
    add("roughness around", cv2.blur(rough, (15, 15)) - np.float32(usual))
    shape = lum.shape
    add("ground roughness", np.full(shape, usual, np.float32))
    add("ground lightness", cv2.GaussianBlur(np.ascontiguousarray(lit[..., 0]), (0, 0), 3.0))
    add("ground spread", np.full(shape, np.log(spread[0]), np.float32))
    return Looks(np.dstack(planes), tuple(names))


def context(thought: Plane) -> Looks:
    """What the first network thought of the surroundings: `thought` (h, w, 3) probabilities."""
    planes: list[Plane] = [thought[..., SOLID], thought[..., WIRE]]
    names = ["solid here", "wire here"]
    softs = []
    for sigma in _CONTEXT_BLURS:
        soft = cv2.GaussianBlur(thought[..., 1:], (0, 0), sigma)
        softs.append(soft)
        planes += [soft[..., 0], soft[..., 1]]
        names += [f"solid {sigma}", f"wire {sigma}"]
    # around the pixel on rings, in order of size instead of direction, so that turning the picture changes nothing
    for radius, soft in zip(_RINGS, softs, strict=False):
        around = []
        for k in range(_DIRECTIONS):
            a = 2 * np.pi * k / _DIRECTIONS
            move = np.array([[1, 0, radius * np.cos(a)], [0, 1, radius * np.sin(a)]], np.float32)
            h, w = thought.shape[:2]
            around.append(
                cv2.warpAffine(
                    np.ascontiguousarray(soft[..., 0]), move, (w, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                    borderMode=cv2.BORDER_CONSTANT,
                )  # fmt: skip
            )
        stack = np.dstack(around)
        opposite = np.minimum(stack[..., :4], stack[..., 4:])
        ordered = np.sort(stack, axis=2)
        planes += [ordered[..., k] for k in range(_DIRECTIONS)] + [opposite.max(2), opposite.min(2)]
        names += [f"ring {radius} {k}" for k in range(_DIRECTIONS)]
        names += [f"ring {radius} opposite most", f"ring {radius} opposite least"]
    return Looks(np.dstack(planes).astype(np.float32), tuple(names))


def worth_a_look(seen: Looks) -> Mask:
    """Pixels that may be other than plain ground: all that stand off somewhat, and what is near them."""
    get = seen.names.index
    off = np.maximum.reduce(
        [
            np.abs(seen.planes[..., get("light against texture 1.6")]),
            seen.planes[..., get("colour against texture 1 1.6")],
            seen.planes[..., get("colour against texture 2 1.6")],
        ]
    )
    mask = (off > _NEAR_GROUND).astype(np.uint8)
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    grown: Mask = cv2.dilate(mask, np.ones((9, 9), np.uint8)) > 0
    return grown


def classify(linear: Plane, ground: Ground, lit: Plane) -> Plane:
    """Probabilities (h, w, 3) of CLASSES for every pixel of a picture at PX_PER_MM."""
    seen = looks(linear, ground, lit)
    worth = worth_a_look(seen)
    around = context(first_thought(seen, worth))
    inputs = np.concatenate([seen.planes[worth], around.planes[worth]], 1)
    return _apply("second", inputs, seen.names + around.names, worth)


def first_thought(seen: Looks, worth: Mask) -> Plane:
    """Probabilities (h, w, 3) by the first network alone."""
    return _apply("first", seen.planes[worth], seen.names, worth)


def _apply(name: str, inputs: Plane, names: tuple[str, ...], where: Mask) -> Plane:
    out = np.zeros((*where.shape, len(CLASSES)), np.float32)
    out[..., GROUND] = 1
    if len(inputs):
        out[where] = network.load("identify.separate", name).probabilities(inputs, names)
    return out


def _squeeze(values: Plane | Array) -> Plane:
    """Large values count less: arcsinh keeps small ones as they are."""
    return np.arcsinh(np.asarray(values, np.float32))
