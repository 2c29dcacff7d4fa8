"""A lip: a plate that stands out of the body near one end, seen edge-on as a straight bar that begins at the outline
and ends after a few millimetres in open ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from identify.hardware.polar import Whitened, across, maps, sample, sample_at, sure
from identify.hardware.view import PX_PER_MM, STEP_MM, View
from identify.stages import PlateSeen, Ring

NAMES = (
    "bar",
    "weakest",
    "beyond",
    "length",
    "from end",
    "off a twentieth",
    "steepness",
    "ring near",
    "seen share",
    "second",
)
_SHARE_OF_LENGTH = 0.2
_ANGLES = np.arange(-60.0, 61.0, 12.0)
_RADII_MM = np.arange(0.0, 13.1, 0.5)
_BESIDE_MM = 1.4
_RING_MM = 2.8
_LENGTHS = range(7, 22, 2)
"""Numbers of radii that a plate may span: 3 to 11 mm."""


@dataclass(frozen=True, eq=False)
class Bar:
    """The best bar at one end: root and tip in view pixels, and what the classifier wants to know (NAMES)."""

    root: Array
    tip: Array
    looks: Array


def bars(view: View, white: Whitened, found: tuple[Ring, ...]) -> list[Bar]:
    """The best bar at each end of the body."""
    xs = view.outline[:, 0]
    x0, x1 = float(xs.min()), float(xs.max())
    reach = (x1 - x0) * _SHARE_OF_LENGTH
    ring_places = [(view.from_photo(r.at_px)[0], r.probability) for r in found]
    out = []
    for near in (xs < x0 + reach, xs > x1 - reach):
        free = np.ones(len(xs), bool)
        for place, p in ring_places:  # a ring's wire, and the shank of a hook in it, are bars too
            if p > 0.3:
                free &= np.hypot(*(view.outline - place).T) > _RING_MM * PX_PER_MM
        roots = np.flatnonzero(near & free)[:: max(1, round(1.0 / STEP_MM))]
        if not len(roots):
            continue
        out.append(_best(view, white, roots, ring_places, (x0, x1)))
    return out


def _best(
    view: View, white: Whitened, roots: NDArray[np.intp], rings: list[tuple[Array, float]], ends: tuple[float, float]
) -> Bar:
    points, normals = view.outline[roots], view.normals[roots]
    places = maps(points, normals, _ANGLES, _RADII_MM)
    patch, clear = sample_at(white.image, places), sample_at(view.depth, places) < -0.3
    # beside the bar, on either hand, at right angles to its direction
    turn = np.deg2rad(_ANGLES)
    dx = normals[:, :1] * np.cos(turn) - normals[:, 1:] * np.sin(turn)
    dy = normals[:, :1] * np.sin(turn) + normals[:, 1:] * np.cos(turn)
    ways, hand = (np.stack(v, -1) for v in ((dx, dy), (-dy, dx)))
    contrast = np.full(clear.shape, np.inf)
    for sign in (1, -1):
        centres = points[:, None] + sign * hand * _BESIDE_MM * PX_PER_MM
        beside = sample(white.image, centres.reshape(-1, 2), ways.reshape(-1, 2), np.zeros(1), _RADII_MM)
        contrast = np.minimum(contrast, sure(across(patch, beside.reshape(patch.shape)), 5))
    contrast = np.where(clear, contrast, 0)
    total, count = np.cumsum(contrast, 2), np.cumsum(clear, 2)
    best, at = -1.0, (0, 0, _LENGTHS[0])
    for n in _LENGTHS:
        mean = total[..., n - 1] / np.maximum(count[..., n - 1], 1)
        after = contrast[..., n + 1 : n + 4].mean(2)
        score = np.where(count[..., n - 1] >= 5, mean - 0.7 * after + 0.012 * n, -1)
        top = int(score.argmax())
        if score.flat[top] > best:
            best, at = float(score.flat[top]), (top // len(_ANGLES), top % len(_ANGLES), n)
    i, j, n = at
    along, inside = contrast[i, j, :n], clear[i, j, :n]
    values = np.sort(along[inside]) if inside.any() else np.zeros(1)
    direction = np.array([dx[i, j], dy[i, j]])
    tip = points[i] + direction * _RADII_MM[n - 1] * PX_PER_MM
    middle = points[i] + direction * 1.5 * PX_PER_MM
    ring_near = sum(p for c, p in rings if np.hypot(*(c - middle)) < 3.0 * PX_PER_MM)
    from_end = min(points[i, 0] - ends[0], ends[1] - points[i, 0]) / (ends[1] - ends[0])
    looks = np.array(
        [
            float(values.mean()),
            float(values[len(values) // 5]),
            float(contrast[i, j, n + 1 : n + 4].mean()),
            float(_RADII_MM[n - 1]),
            float(from_end),
            float(abs(from_end - 0.05)),
            float(abs(direction[1])),
            float(min(ring_near, 1.0)),
            float(inside.mean()),
            float(np.median(values)),
        ]
    )
    return Bar(points[i], tip, looks)


def plates(view: View, found: list[Bar], probabilities: Array, least: float) -> tuple[PlateSeen, ...]:
    """Bars as what the stage hands on, in pixels of the photo."""
    out = []
    for bar, p in zip(found, probabilities, strict=True):
        if p >= least:
            (rx, ry), (tx, ty) = view.to_photo([bar.root, bar.tip])
            out.append(PlateSeen((float(rx), float(ry)), (float(tx), float(ty)), float(p)))
    return tuple(out)
