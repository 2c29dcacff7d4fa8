"""The eye: concentric rings or a dot of paint, or a bead, on the flank near one end of the body."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.closeup import Closeup
from identify.geometry import Array
from identify.hardware.calibrated import likelihood
from identify.hardware.peaks import peaks
from identify.photo import Photo
from identify.stages import EyeSeen

LEAST = 0.03
APART_MM = 2.5
_STEP_MM = 0.08
_LEAST_MM, _MOST_MM = 1.5, 8.0
"""The eye's radius is looked for up to the body's edge and a little beyond, where a bead stands out; at least and at
most so far."""
_BEYOND_MM = 0.5
_ANGLES = np.arange(32) * 11.25
_RING = (4.9, 2.3, 1.6, -2.8)
"""Log odds that an edge about the eye is a ring of it and not a border of paint or the body beyond: constant; for the
logarithm of its contrast over the strongest one's, for how much it is the same all round, and for its radius over the
distance to the body's edge (render: logistic fit to the edges about 403 eyes, none of them of a report split)."""
_LIKELY = -0.6
"""From these log odds on the outermost one counts."""
_MOVES_MM = (0.15, 0.075)

Floats = NDArray[np.float32]


def find(photo: Photo, seen: Closeup) -> tuple[EyeSeen, ...]:
    """Places that may be an eye, the surest first, measured over the outermost painted ring."""
    mm = seen.mm
    found = peaks(seen.eye_at, APART_MM * mm, LEAST)
    inside = cv2.distanceTransform((seen.body > 0.5).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    out = []
    for at, height in zip(found.at, found.height, strict=True):
        p = likelihood("eye", height)
        if p >= LEAST:
            column, row = (int(v) for v in np.clip(np.round(at), 0, np.array(inside.shape[::-1]) - 1))
            to_edge = float(inside[row, column]) / mm
            centre, diameter = _measured(photo, seen.to_photo(at)[0], seen.px_per_mm, to_edge)
            out.append(EyeSeen((float(centre[0]), float(centre[1])), diameter * seen.px_per_mm, p))
    return tuple(out)


def _measured(photo: Photo, at_px: Array, px_per_mm: float, to_edge_mm: float) -> tuple[Array, float]:
    """Centre (pixels of the photo) and diameter (mm) over the outermost ring edge that goes all round; `to_edge_mm`:
    from the place to the body's edge."""
    most = min(max(to_edge_mm + _BEYOND_MM, _LEAST_MM), _MOST_MM)
    radii_mm = np.arange(1, int(most / _STEP_MM) + 2).astype(float) * _STEP_MM
    reach = (most + 1.0) * px_per_mm
    x0, y0 = (max(0, int(v)) for v in at_px - reach)
    x1, y1 = min(photo.width, int(at_px[0] + reach) + 2), min(photo.height, int(at_px[1] + reach) + 2)
    part = np.divide(photo.pixels[y0:y1, x0:x1], np.iinfo(photo.pixels.dtype).max, dtype=np.float32)
    fine = 0.03 * px_per_mm  # samples closer than pixels show nothing more
    part = np.asarray(cv2.GaussianBlur(part, (0, 0), fine), np.float32) if fine > 0.4 else part
    corner = np.array([x0, y0], float)
    centre = at_px - corner
    edge: Floats = np.zeros((1, 1, 1), np.float32)
    for step in _MOVES_MM:
        moves = np.array([(x, y) for x in (-step, 0, step) for y in (-step, 0, step)]) * px_per_mm
        every = np.stack([np.diff(_polar(part, centre + m, radii_mm * px_per_mm), axis=1) for m in moves])
        strength = (np.linalg.norm(every.mean(1), axis=-1) ** 2).sum(1)
        k = int(np.argmax(strength))
        centre, edge = centre + moves[k], every[k]
    return centre + corner, 2 * _outermost(edge, max(to_edge_mm, _BEYOND_MM))


def _polar(part: Floats, centre: Array, radii_px: Array) -> Floats:
    """The picture about a place: (angles, radii, channels)."""
    turn = np.deg2rad(_ANGLES)[:, None]
    x, y = ((at + of(turn) * radii_px).astype(np.float32) for at, of in zip(centre, (np.cos, np.sin), strict=True))
    return np.asarray(cv2.remap(part, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)


def _outermost(edge: Floats, to_edge_mm: float) -> float:
    """Radius (mm) of the outermost edge that is a ring of the eye, from radial steps (angles, radii, channels)."""
    eighths = edge.reshape(8, -1, *edge.shape[1:]).mean(1)
    mean = eighths.mean(0)
    size = np.linalg.norm(mean, axis=-1)
    finer = edge.reshape(16, -1, *edge.shape[1:]).mean(1)
    alike = size**2 / np.maximum((np.linalg.norm(finer, axis=-1) ** 2).mean(0), 1e-12)
    radii = (np.arange(len(size)) + 1.5) * _STEP_MM
    tops = [i for i in range(2, len(size) - 1) if size[i] >= size[i - 1] and size[i] > size[i + 1]]
    if not tops:
        return float(radii[int(np.argmax(size))])
    constant, contrast, round_it, far = _RING
    shares = np.log(np.maximum(size[tops] / max(size[tops].max(), 1e-9), 1e-9))
    odds = constant + contrast * shares + round_it * alike[tops] + far * radii[tops] / to_edge_mm
    likely = np.flatnonzero(odds > _LIKELY)
    outer = tops[int(likely[-1]) if len(likely) else int(np.argmax(odds))]
    left, mid, right = size[outer - 1], size[outer], size[outer + 1]
    shift = 0.5 * (left - right) / min(left - 2 * mid + right, -1e-9)
    return float(radii[outer] + shift * _STEP_MM)
