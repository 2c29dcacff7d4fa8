"""Rings of wire at the body's edge: line ties and hangers, with what hangs in them."""

from __future__ import annotations

import numpy as np

from identify.closeup import Closeup
from identify.geometry import Array
from identify.hardware.calibrated import likelihood
from identify.hardware.peaks import peaks
from identify.pixelnet import Plane
from identify.stages import Ring

APART_MM = 2.0
"""No two rings sit closer than this (common practice, no published source)."""
FURTHEST_MM = 3.0
"""A ring's middle lies no further from the outline than this (render: up to 1.8 mm; rings of wire are seldom more than
5 mm across)."""
LEAST = 0.03
"""Rings less probable than this are not worth handing on."""
LARGEST_MM = 3.4
"""Beyond this from its middle, wire is no part of a ring."""
USUAL_MM = 4.0
_HOOK_MM = (1.2, 4.5)
"""A hook's shank is looked for between these distances from a ring's middle."""
_HOOK_SHARE = 0.06
"""Share of that ring-shaped area that a hook covers at least."""


def find(seen: Closeup, outline: Array) -> tuple[Ring, ...]:
    """Rings, the surest first.  `outline` (n, 2): of the body, in pixels of the close-up."""
    mm = seen.mm
    found = peaks(np.maximum(seen.tie_at, seen.hanger_at), APART_MM * mm, LEAST)
    wire = np.maximum(seen.tie, seen.hanger)
    out = []
    for at, height in zip(found.at, found.height, strict=True):
        x, y = np.round(at).astype(int)
        tie, hanger = _most(seen.tie_at, x, y), _most(seen.hanger_at, x, y)
        gap = np.hypot(*(outline - at).T)
        if gap.min() > FURTHEST_MM * mm:
            continue  # a neighbour's, or the shadow of one
        root = outline[int(np.argmin(gap))]
        here, away = _around(seen.body.shape, at, max(LARGEST_MM, _HOOK_MM[1]) * mm)
        near = (away > _HOOK_MM[0] * mm) & (away < _HOOK_MM[1] * mm)
        covered = float((seen.hook[here][near] > 0.5).mean()) if near.any() else 0.0
        place, foot = seen.to_photo([at, root])
        out.append(
            Ring(
                (float(place[0]), float(place[1])),
                (float(foot[0]), float(foot[1])),
                _diameter(wire[here], away, mm) * seen.px_per_mm,
                likelihood("ring", height),
                covered > _HOOK_SHARE,
                tie / max(tie + hanger, 1e-6),
            )
        )
    return tuple(out)


def _most(plane: Plane, x: int, y: int) -> float:
    return float(plane[max(0, y - 1) : y + 2, max(0, x - 1) : x + 2].max())


def _around(shape: tuple[int, ...], at: Array, reach: float) -> tuple[tuple[slice, slice], Array]:
    """The part of a plane about a place, and how far each of its pixels is from that."""
    (x0, y0), (x1, y1) = np.maximum(np.floor(at - reach), 0).astype(int), np.ceil(at + reach).astype(int) + 1
    y, x = np.ogrid[y0 : min(y1, shape[0]), x0 : min(x1, shape[1])]
    return np.s_[y0:y1, x0:x1], np.asarray(np.hypot(x - at[0], y - at[1]), float)


def _diameter(wire: Plane, away: Array, mm: float) -> float:
    """Outer diameter (mm) of the ring around a place; a usual one where no wire is seen."""
    own = away[(wire > 0.5) & (away < LARGEST_MM * mm)]
    return float(2 * (np.quantile(own, 0.95) + 0.5) / mm) if len(own) > 6 else USUAL_MM
