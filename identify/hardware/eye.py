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
_RADII_MM = np.arange(1, 42) * 0.08
_ANGLES = np.arange(32) * 11.25
_WEAKEST = 0.1
"""Share of the strongest ring's contrast below which a ring does not count."""
_MOVES_MM = (0.15, 0.075)

Floats = NDArray[np.float32]


def find(photo: Photo, seen: Closeup) -> tuple[EyeSeen, ...]:
    """Places that may be an eye, the surest first, measured over the outermost painted ring."""
    mm = seen.mm
    found = peaks(seen.eye_at, APART_MM * mm, LEAST)
    out = []
    for at, height in zip(found.at, found.height, strict=True):
        p = likelihood("eye", height)
        if p >= LEAST:
            centre, diameter = _measured(photo, seen.to_photo(at)[0], seen.px_per_mm)
            out.append(EyeSeen((float(centre[0]), float(centre[1])), diameter * seen.px_per_mm, p))
    return tuple(out)


def _measured(photo: Photo, at_px: Array, px_per_mm: float) -> tuple[Array, float]:
    """Centre (pixels of the photo) and diameter (mm) over the outermost ring edge that goes all round."""
    reach = (float(_RADII_MM[-1]) + 1.0) * px_per_mm
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
        every = np.stack([np.diff(_polar(part, centre + m, px_per_mm), axis=1) for m in moves])
        strength = (np.linalg.norm(every.mean(1), axis=-1) ** 2).sum(1)
        k = int(np.argmax(strength))
        centre, edge = centre + moves[k], every[k]
    return centre + corner, 2 * _outermost(edge)


def _polar(part: Floats, centre: Array, px_per_mm: float) -> Floats:
    """The picture about a place: (angles, radii, channels)."""
    turn = np.deg2rad(_ANGLES)[:, None]
    r = _RADII_MM[None] * px_per_mm
    x, y = (centre[0] + np.cos(turn) * r).astype(np.float32), (centre[1] + np.sin(turn) * r).astype(np.float32)
    return np.asarray(cv2.remap(part, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)


def _outermost(edge: Floats) -> float:
    """Radius (mm) of the outermost edge that goes all round, from radial steps (angles, radii, channels)."""
    eighths = edge.reshape(8, -1, *edge.shape[1:]).mean(1)
    mean = eighths.mean(0)
    size = np.linalg.norm(mean, axis=-1)
    # an edge that goes all round is there, the same way, in most eighths: paint may hide it in the others
    along = (eighths * (mean / np.maximum(size, 1e-6)[:, None])).sum(-1)
    weak = np.sort(along, 0)[3]
    radii = (_RADII_MM[:-1] + _RADII_MM[1:]) / 2
    peaks_at = [
        i
        for i in range(2, len(size) - 1)
        if size[i] >= size[i - 1] and size[i] > size[i + 1] and weak[i] > 0.15 * size[i]
    ]
    if not peaks_at:
        return float(radii[int(np.argmax(size))])
    strong = max(size[i] for i in peaks_at)
    outer = [i for i in peaks_at if size[i] > _WEAKEST * strong][-1]
    left, mid, right = size[outer - 1], size[outer], size[outer + 1]
    shift = 0.5 * (left - right) / min(left - 2 * mid + right, -1e-9)
    return float(radii[outer] + shift * (radii[1] - radii[0]))
