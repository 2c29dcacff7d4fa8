"""Where along the body's edge a ring of wire may sit: a bank of ring templates, outer diameter 2.4 to 5.2 mm, tried in
a band outside the outline, the best places then refined in position and size.

Holes of a thresholded mask do not do: bright wire on a bright ground has no hole.  So nothing is thresholded: a place
scores by how surely the wire differs, at each angle, from what is outside and from what is in the hole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from identify.hardware.polar import Whitened, across, maps, sample_at, sure
from identify.hardware.view import PX_PER_MM, STEP_MM, Floats, View

MOST = 18
"""Places that are looked at closely."""
LEAST_TEMPLATE = 0.5
"""A place that scores less looks no more like a ring than noise does: no ring of the tune split scores below 0.53."""
_OFFSETS_MM = np.array([0.3, 0.8, 1.25, 1.7, 2.3])
_COARSE_ANGLES = np.linspace(-110, 110, 11)
_COARSE_STEP = 0.2
_COARSE_RADII = np.arange(15) * _COARSE_STEP
_TEMPLATES_MM = ((1.2, 0.8), (1.4, 0.8), (1.6, 0.8), (1.8, 1.0), (2.0, 1.0), (2.2, 1.0), (2.5, 1.0))
"""Outer radius and wire."""
FINE_ANGLES = np.arange(24) * 15.0
FINE_STEP = 0.1
FINE_RADII = np.arange(36) * FINE_STEP
_RADII_MM = np.arange(1.1, 2.65, 0.1)
_WIRES_MM = np.array([0.7, 0.8, 0.9, 1.0, 1.1])
_NO_WIRE = (0.4 * _RADII_MM[:, None] > _WIRES_MM) | (0.68 * _RADII_MM[:, None] + 0.05 < _WIRES_MM)
"""(radii, wires): wires that no ring of that radius is bent from."""
_WIRES_AT = tuple(
    np.round(mm / FINE_STEP).astype(int)
    for mm in (
        _RADII_MM,
        np.maximum(_RADII_MM[:, None] - _WIRES_MM, 0),
        _RADII_MM[:, None] - _WIRES_MM / 2,
        _RADII_MM + 4 * FINE_STEP,
    )
)
"""Indices into FINE_RADII: of each ring's outer edge, of its wire's inner edge and middle, and of the ground beyond."""


@dataclass(frozen=True, eq=False)
class Places:
    """Places that may be rings: arrays of n.  `centre` (n, 2) in view pixels, `outward` (n, 2) the body's normal there,
    radii and wire in mm, `template` and `edges` the scores of search and refinement."""

    centre: Array
    outward: Array
    radius: Array
    wire: Array
    template: Array
    edges: Array

    def take(self, which: NDArray[np.intp] | list[int]) -> Places:
        """Some of them, in that order."""
        i = np.asarray(which, int)
        return Places(*(a[i] for a in self.__dict__.values()))

    def __len__(self) -> int:
        return len(self.centre)


def find(view: View, white: Whitened) -> Places:
    """The places most like a ring, best first."""
    step = round(0.5 / STEP_MM)
    points, normals = view.outline[::step], view.normals[::step]
    centre = (points[:, None] + normals[:, None] * (_OFFSETS_MM * PX_PER_MM)[:, None]).reshape(-1, 2)
    outward = np.repeat(normals, len(_OFFSETS_MM), 0)
    score = _template_score(view, white, centre, outward)
    best = apart(centre, np.where(score >= LEAST_TEMPLATE, score, 0), 1.2, MOST)
    if not best:
        none = np.zeros(0)
        return Places(np.zeros((0, 2)), np.zeros((0, 2)), none, none, none, none)
    refined = _refine(view, white, centre[best], outward[best], score[best])
    return refined.take(apart(refined.centre, refined.edges + 10, 1.0, MOST))


def apart(centre: Array, score: Array, gap_mm: float, most: int) -> list[int]:
    """Indices by falling positive score, none within `gap_mm` of a better one (non-maximum suppression)."""
    kept: list[int] = []
    gap = (gap_mm * PX_PER_MM) ** 2
    left = np.argsort(-score)
    left = left[score[left] > 0]
    while len(left) and len(kept) < most:
        kept.append(int(left[0]))
        away = centre[left] - centre[left[0]]
        left = left[np.einsum("nk,nk->n", away, away) > gap]
    return kept


def _template_score(view: View, white: Whitened, centre: Array, outward: Array) -> Array:
    # radii first, so that each template compares whole blocks of memory
    x, y = (np.ascontiguousarray(m.transpose(2, 0, 1)) for m in maps(centre, outward, _COARSE_ANGLES, _COARSE_RADII))
    patch, outside = sample_at(white.image, (x, y)), sample_at(view.depth, (x, y)) < 0
    best = np.zeros(len(centre))

    def at(radius: float) -> int:
        return max(0, round(radius / _COARSE_STEP))

    for radius, wire in _TEMPLATES_MM:
        ring, out, hole = at(radius - wire / 2), at(radius + 0.4), at(radius - wire - 0.3)
        seen, seen_in = outside[at(radius)], outside[hole]
        around = _share(sure(across(patch[ring], patch[out])), seen)
        within = _share(sure(across(patch[ring], patch[hole])), seen & seen_in)
        enough = (seen.sum(1) >= 5) & ((seen & seen_in).sum(1) >= 4)
        best = np.maximum(best, np.where(enough, np.sqrt(around * within), 0))
    return best


def _share(value: Floats, seen: NDArray[np.bool_]) -> Array:
    return np.asarray((value * seen).sum(1) / np.maximum(seen.sum(1), 1), float)


def _refine(view: View, white: Whitened, centre: Array, outward: Array, template: Array) -> Places:
    n = len(centre)
    radius = wire = edges = np.zeros(n)
    for reach, steps in ((0.5, 5), (0.12, 3)):
        line = np.linspace(-reach, reach, steps) * PX_PER_MM
        moves = np.stack(np.meshgrid(line, line), -1).reshape(-1, 2)
        tried = (centre[:, None] + moves).reshape(-1, 2)
        score, wires = _edge_score(view, white, tried, np.repeat(outward, len(moves), 0))
        flat = score.reshape(n, -1)
        top = flat.argmax(1)
        rows = np.arange(n)
        centre = tried.reshape(n, -1, 2)[rows, top // len(_RADII_MM)]
        radius = _RADII_MM[top % len(_RADII_MM)]
        wire, edges = wires.reshape(n, -1)[rows, top], flat.max(1)
    return Places(centre, outward, radius, wire, template, edges)


def _edge_score(view: View, white: Whitened, centre: Array, outward: Array) -> tuple[Array, Array]:
    """For each centre and radius: how strong the two edges of a wire are against its middle and the ground beyond, all
    round where it stands clear of the body; and the wire that does best."""
    places = maps(centre, outward, FINE_ANGLES[::2], FINE_RADII)
    patch, clear = sample_at(white.image, places), sample_at(view.depth, places) < -0.05
    edge = np.log(1 + across(patch[:, :, 2:], patch[:, :, :-2]))
    edge = np.pad(edge, ((0, 0), (0, 0), (1, 1)))
    count = clear.sum(1)
    mean = (edge * clear).sum(1) / np.maximum(count, 1)
    rings, inner, middle, beyond = _WIRES_AT
    outer = mean[:, rings]
    score = outer[:, :, None] + mean[:, inner] - 0.7 * mean[:, middle] - 0.3 * mean[:, beyond][:, :, None]
    score[:, _NO_WIRE] = -9.0
    score[count[:, rings] < 4] = -9.0
    best = score.argmax(2)
    top = np.take_along_axis(score, best[:, :, None], 2)[:, :, 0]
    return top, np.where(top > -9.0, _WIRES_MM[best], 0.0)
