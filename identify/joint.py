"""Whether a body shows a joint: a narrow gap right across it, through which the ground is seen.

A jointed bait's parts hang together by wire; between them the ground shows from back to belly, while on both sides of
the gap none of it does.  Paint of the ground's own colour shows no such gap, since it is not ground-like beside it
either; a bait that is ground-like all over tells nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array, resample_closed
from identify.outline import to_frame
from identify.photo import Photo
from identify.records import Bait, Measurement, Notice
from identify.settings import Point

ALONG, ACROSS = 320, 25
INNER = 0.8
"""Share of the depth that is looked at: edges are soft and in shadow."""
MIDDLE = (0.15, 0.85)
"""Where joints are, as shares of the length: nearer to the ends lips and hooks lie over ground."""
NARROWEST, WIDEST, BESIDE = 0.012, 0.09, 0.05
"""Of the length: the narrowest and the widest gap, and how much on each side must be body.  A hook's wire that lies
across the body is narrower."""
THROUGH, OPEN, SOLID = 0.7, 0.5, 0.3
"""Share of a section that is ground in a gap at its clearest and all through at least, and beside it at most."""
LIT, DARKEST, BRIGHTEST = 0.75, 0.12, 1.25
"""A gap is as light as the ground, or lies in the parts' shadow: so much of the ground's light."""
TOUCHING, BLUNT, IN_LINE_DEG = 0.08, 0.65, 15.0
"""Two parts of a jointed bait lie so near, as a share of both lengths, with ends so wide, as a share of the depth, and
so nearly in one line."""
AWAY, NEAR = (0.15, 0.25, 0.35, 0.45), 33
"""The ground is looked at so far beside the body, in units of its depth, over an odd number of the ALONG stations."""
TOLERANCE = 0.06
"""Least difference of ln chromaticity that counts as another colour."""


@dataclass(frozen=True)
class Joint:
    """A gap across the body: where along it, from 0 to 1 between the outline's ends, and how wide, as a share of the
    length."""

    at: float
    width: float


def find(photo: Photo, outline_px: Array, ends_px: tuple[Point, Point]) -> Joint | None:
    """The clearest gap across a body whose outline (n, 2) has these two ends, or None."""
    inside, outside = _grids(outline_px, ends_px)
    colour, brighter = _off_ground(photo, inside, outside)
    for darkest in (LIT, DARKEST):
        through = colour & (brighter > np.log(darkest)) & (brighter < np.log(BRIGHTEST))
        if (found := gap(through.mean(0))) is not None:
            return found
    return None


def gap(through: Array) -> Joint | None:
    """The clearest gap in the share (n,) of each section, from end to end, that is ground."""
    n = len(through)
    side = max(2, round(BESIDE * n))
    best, joint = 0.0, None
    open_ones = np.flatnonzero(np.diff(np.concatenate([[0], (through > OPEN).astype(int), [0]])))
    for start, end in open_ones.reshape(-1, 2):
        if through[start:end].max() < THROUGH or not NARROWEST * n <= end - start <= WIDEST * n:
            continue
        if not MIDDLE[0] <= (start + end) / 2 / n <= MIDDLE[1]:
            continue
        # a soft edge of two cells on each side
        left, right = through[max(0, start - 2 - side) : start - 2], through[end + 2 : end + 2 + side]
        beside = max(float(left.mean()), float(right.mean()))
        if beside < SOLID and (clear := float(through[start:end].max()) - beside) > best:
            best, joint = clear, Joint(float(start + end) / 2 / n, float(end - start) / n)
    return joint


def end_to_end(baits: Sequence[Bait]) -> tuple[Bait, ...]:
    """The baits of one photo, with a warning on two that lie in one line with blunt ends nearly touching: where a gap
    is wide, a jointed bait comes apart into two."""
    parts = [_Part.of(bait.measurement) for bait in baits]
    warned: dict[int, int] = {}
    for i, one in enumerate(parts):
        for j, other in enumerate(parts[:i]):
            if _in_line(one, other):
                warned |= {i: j, j: i}
    out = []
    for i, bait in enumerate(baits):
        m = bait.measurement
        if i in warned and not any(n.code == "joint-seen" for n in m.warnings):
            other_number = baits[warned[i]].measurement.number
            text = f"It lies end to end with bait {other_number}: both may be parts of one jointed bait."
            m = replace(m, warnings=(*m.warnings, Notice("joint-seen", text)))
        out.append(replace(bait, measurement=m))
    return tuple(out)


@dataclass(frozen=True, eq=False)
class _Part:
    """An outline (n, 2) about its middle, the direction of its long axis, and how far it reaches from the middle."""

    middle: Array
    around: Array
    long: Array
    reach: float

    @classmethod
    def of(cls, m: Measurement) -> _Part:
        outline = resample_closed(np.array(m.outline_px), 400)
        middle = outline.mean(0)
        around = outline - middle
        long = np.linalg.eigh(around.T @ around)[1][:, 1]
        return cls(middle, around, long, float(np.sqrt((around**2).sum(1).max())))


def _in_line(one: _Part, other: _Part) -> bool:
    """Two outlines meet with blunt ends, their long axes in one line."""
    between = other.middle - one.middle
    apart = float(np.hypot(*between))
    axis = between / max(apart, 1e-9)
    if apart > (one.reach + other.reach) * (1 + 2 * TOUCHING):
        return False
    if min(abs(part.long @ axis) for part in (one, other)) < np.cos(np.radians(IN_LINE_DEG)):
        return False
    turned = np.array([[axis[0], -axis[1]], [axis[1], axis[0]]])
    left, right = one.around @ turned, other.around @ turned + [apart, 0.0]
    lengths = float(np.ptp(left[:, 0]) + np.ptp(right[:, 0]))
    if not 0 <= right[:, 0].min() - left[:, 0].max() <= TOUCHING * lengths:
        return False
    for part, inner in ((left, left[:, 0].max()), (right, right[:, 0].min())):
        facing = part[np.abs(part[:, 0] - inner) < 0.08 * np.ptp(part[:, 0]), 1]
        if np.ptp(facing) < BLUNT * np.ptp(part[:, 1]):
            return False
    return True


def _grids(outline_px: Array, ends_px: tuple[Point, Point]) -> tuple[Array, Array]:
    """Points (k, ALONG, 2) of the photo from one end to the other: over the inner part of the body, and beside it."""
    start, end = (np.array(p, float) for p in ends_px)
    framed = to_frame(resample_closed(outline_px, 1600), start, end, True)
    length = float(np.hypot(*(end - start)))
    s = (np.arange(ALONG) + 0.5) / ALONG
    bins = np.clip((framed[:, 0] / length * ALONG).astype(int), 0, ALONG - 1)
    top, bottom = np.full(ALONG, -np.inf), np.full(ALONG, np.inf)
    np.maximum.at(top, bins, framed[:, 1])
    np.minimum.at(bottom, bins, framed[:, 1])
    known = np.isfinite(top)
    top, bottom = (np.interp(s, s[known], v[known]) for v in (top, bottom))
    along = (end - start) / length
    left = np.array([along[1], -along[0]])

    def at(y: Array) -> Array:
        points: Array = start + (s * length)[None, :, None] * along + y[..., None] * left
        return points

    share = INNER * ((np.arange(ACROSS) + 0.5) / ACROSS - 0.5)
    away = float((top - bottom).max()) * np.array(AWAY)[:, None]
    middle = (top + bottom) / 2
    return at(middle + share[:, None] * (top - bottom)), at(np.concatenate([top + away, bottom - away]))


def _off_ground(photo: Photo, inside: Array, outside: Array) -> tuple[NDArray[np.bool_], Array]:
    """Where points inside (k, n, 2) have the colour of the ground beside the body at the same place along it, lit or in
    shadow, and how much brighter than it they are (logarithm).  Rings and hooks over the ground are outvoted."""
    lights = (photo.at(p.reshape(-1, 2)).reshape(*p.shape[:2], 3) for p in (inside, outside))
    # three neighbours across together: in the shadow of a gap there is more noise than colour
    seen, ground = (np.log(cv2.blur(light, (1, 3)) + 1e-3) for light in lights)
    reach = NEAR // 2
    padded = np.pad(ground, ((0, 0), (reach, reach), (0, 0)), "edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, NEAR, axis=1)[:, ::reach]
    coarse = np.median(windows, axis=(0, 3))
    stations = np.arange(ground.shape[1])
    usual = np.stack([np.interp(stations, stations[::reach], coarse[:, c]) for c in range(3)], -1)

    def off(light: Array) -> tuple[Array, Array]:
        ratio = light - usual
        brighter = ratio.mean(-1)
        red, green, blue = np.moveaxis(np.abs(ratio - brighter[..., None]), -1, 0)
        return np.maximum(np.maximum(red, green), blue), brighter

    limit = max(TOLERANCE, 1.5 * float(np.quantile(off(ground)[0], 0.8)))
    colour, brighter = off(seen)
    limits = limit * np.clip(np.exp(-brighter / 2), 1, 2)
    return np.asarray(colour < limits), brighter
