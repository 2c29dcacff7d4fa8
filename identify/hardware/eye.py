"""The eye: concentric rings or a dot of paint, or a bead, on the flank near one end of the body.

Found by radial symmetry (Loy and Zelinsky 2003, in the form of a correlation of the unit gradient field with radial
vectors), because an eye's rings share a centre while paint's other edges do not.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from identify.geometry import Array
from identify.hardware.polar import sample
from identify.hardware.view import PX_PER_MM, Floats, View

_COARSE = 0.45
"""Of the view's resolution, at which eyes are looked for."""
_RADII_MM = (0.6, 0.8, 1.0, 1.2, 1.4, 1.7, 2.0, 2.3, 2.6)
_FINE_MM = np.arange(1, 42) * 0.08
_ANGLES = np.arange(32) * 11.25
_WEAKEST = 0.1
"""Share of the strongest ring's contrast below which a ring does not count."""
_SHARE_OF_LENGTH = 0.36
"""An eye sits within this share of the length from an end."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """A place that may be an eye: centre in view pixels, and numbers that say how much its rings look like one."""

    centre: Array
    diameter_mm: float
    looks: Array
    score: float


def symmetry(picture: Floats, radii_px: tuple[float, ...]) -> list[Floats]:
    """How far the edges at each radius about each pixel of (h, w, channels) point at it: 1 when all do, outwards or
    inwards."""
    steps = [cv2.Scharr(picture, cv2.CV_32F, *d, scale=1 / 32) for d in ((1, 0), (0, 1))]
    size = np.sqrt(steps[0] ** 2 + steps[1] ** 2)
    strongest = size.argmax(2)[..., None]
    length = np.take_along_axis(size, strongest, 2)[..., 0] + np.float32(0.012)
    gx, gy = (np.take_along_axis(g, strongest, 2)[..., 0] / length for g in steps)
    out = []
    for r in radii_px:
        n = int(np.ceil(r + 1.5))
        y, x = np.mgrid[-n : n + 1, -n : n + 1].astype(np.float32)
        d = np.maximum(np.hypot(x, y), 1e-6)
        weight = np.exp(-0.5 * ((d - r) / 0.6) ** 2)
        weight /= weight.sum() * d
        out.append(np.abs(cv2.filter2D(gx, -1, weight * x) + cv2.filter2D(gy, -1, weight * y)))
    return out


def candidates(view: View, most: int = 6) -> list[Candidate]:
    """Places that may be an eye, at most so many near each end, the most symmetric first."""
    low, high = np.floor(view.outline.min(0)).astype(int), np.ceil(view.outline.max(0)).astype(int)
    reach = int((high[0] - low[0]) * _SHARE_OF_LENGTH)
    found: list[Candidate] = []
    for x0 in (low[0], high[0] - reach):
        found += _at_end(view, (int(x0), int(low[1]), int(x0) + reach, int(high[1])), most)
    return sorted(found, key=lambda f: -f.score)


def _at_end(view: View, window: tuple[int, int, int, int], most: int) -> list[Candidate]:
    x0, y0, x1, y1 = window
    size = (round((x1 - x0) * _COARSE), round((y1 - y0) * _COARSE))
    small = np.asarray(cv2.resize(view.image[y0:y1, x0:x1], size, interpolation=cv2.INTER_AREA), np.float32)
    depth = cv2.resize(view.depth[y0:y1, x0:x1], size, interpolation=cv2.INTER_AREA)
    rings = np.stack(symmetry(small, tuple(r * PX_PER_MM * _COARSE for r in _RADII_MM)))
    for r, s in zip(_RADII_MM, rings, strict=True):
        s *= min(r**0.25, 1.15)  # the more edge there is, the less it is chance
        s[depth < r * 0.9] = 0  # a ring that would reach past the outline is the outline
    first, second, third = np.zeros((3, *depth.shape), np.float32)  # the strongest three, by insertion
    for s in rings:
        third = np.maximum(third, np.minimum(second, s))
        second = np.maximum(second, np.minimum(first, s))
        first = np.maximum(first, s)
    total = first + 0.7 * second + 0.5 * third
    total[depth < 0.8] = 0
    found: list[Candidate] = []
    for _ in range(most):
        _, best, _, at = cv2.minMaxLoc(total)
        if best <= 0:
            break
        centre = (np.array(at, float) + 0.5) / _COARSE - 0.5 + [x0, y0]
        found.append(Candidate(*_refine(view, centre), float(best)))
        cv2.circle(total, at, round(1.5 * PX_PER_MM * _COARSE), 0.0, -1)
    return found


def _refine(view: View, centre: Array) -> tuple[Array, float, Array]:
    """Centre, diameter (mm) over the outermost ring edge that goes all round, and how the rings look."""
    edge = np.zeros((1, 1, 1, 1), np.float32)
    for step in (1.5, 0.75):
        moves = np.array([(x, y) for x in (-step, 0, step) for y in (-step, 0, step)], float)
        radial = sample(view.image, centre + moves, np.tile([[1.0, 0.0]], (9, 1)), _ANGLES, _FINE_MM)
        edge = np.diff(radial, axis=2)
        strength = (np.linalg.norm(edge.mean(1), axis=-1) ** 2).sum(1)
        k = int(np.argmax(strength))
        centre, edge = centre + moves[k], edge[k]
    radius, looks = _rings_of(edge)
    return centre, 2 * radius, looks


def _rings_of(edge: Floats) -> tuple[float, Array]:
    """From radial steps (angles, radii, channels): the radius of the outermost edge that goes all round, and numbers
    that say how much this looks like an eye."""
    eighths = edge.reshape(8, -1, *edge.shape[1:]).mean(1)
    mean = eighths.mean(0)
    size = np.linalg.norm(mean, axis=-1)
    # an edge that goes all round is there, the same way, in most eighths: paint may hide it in the others
    along = (eighths * (mean / np.maximum(size, 1e-6)[:, None])).sum(-1)
    weak = np.sort(along, 0)[3]
    radii = (_FINE_MM[:-1] + _FINE_MM[1:]) / 2
    every = np.linalg.norm(edge, axis=-1).mean(0) + 0.003
    whole = np.clip(weak, 0, None) / every
    peaks = [
        i
        for i in range(2, len(size) - 1)
        if size[i] >= size[i - 1] and size[i] > size[i + 1] and weak[i] > 0.15 * size[i]
    ]
    if not peaks:
        i = int(np.argmax(size))
        return float(radii[i]), np.array([0.0, 0.0, np.log(every[i]), 0.0, 0.0, radii[i]])
    strong = max(size[i] for i in peaks)
    kept = [i for i in peaks if size[i] > _WEAKEST * strong]
    outer = kept[-1]
    left, mid, right = size[outer - 1], size[outer], size[outer + 1]
    shift = 0.5 * (left - right) / min(left - 2 * mid + right, -1e-9)
    by_whole = [*sorted((float(whole[i]) for i in kept), reverse=True), 0.0, 0.0]
    main = max(kept, key=lambda i: size[i])
    looks = np.array(
        [by_whole[0], by_whole[1], np.log(strong), float(len(kept)), float(whole[main]), float(radii[main])]
    )
    return float(radii[outer] + shift * (radii[1] - radii[0])), looks


NAMES = (
    "roundest", "second roundest", "contrast", "rings", "strongest round", "strongest radius", "symmetry", "diameter",
    "from end", "across", "room", "over next",
)  # fmt: skip


def traits(view: View, found: list[Candidate]) -> Array:
    """Numbers (n, len(NAMES)) for the classifier.  Nothing in them says which end or side is which."""
    if not found:
        return np.zeros((0, len(NAMES)))
    xs = view.outline[:, 0]
    x0, x1 = xs.min(), xs.max()
    best = sorted(f.score for f in found)
    rows = []
    for f in found:
        x, y = f.centre
        near = view.outline[np.abs(xs - x) < 0.6 * PX_PER_MM, 1]
        top, bottom = (near.min(), near.max()) if len(near) else (y - 1, y + 1)
        across = abs((y - top) / max(bottom - top, 1) - 0.5)
        from_end = min(x - x0, x1 - x) / (x1 - x0)
        room = float(
            view.depth[int(np.clip(y, 0, view.depth.shape[0] - 1)), int(np.clip(x, 0, view.depth.shape[1] - 1))]
        )
        other = best[-1] if f.score < best[-1] else best[-2] if len(best) > 1 else 0.0
        rows.append(
            [*f.looks, f.score, f.diameter_mm, from_end, across, room / max(f.diameter_mm, 0.3), f.score - other]
        )
    return np.array(rows)
