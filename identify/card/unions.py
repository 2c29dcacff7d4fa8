"""Where a card might lie that a shadow's edge runs across: two smooth patches of one hue that make up a quadrilateral
together."""

from __future__ import annotations

from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.card.propose import (
    CUTS,
    TEXTURE_CUTS,
    TEXTURE_PX,
    Part,
    distinct,
    gradient,
    grown,
    patches,
    plausible,
    quadrilateral,
)
from identify.geometry import Array

MOST = 14
"""So many patches, the largest, are paired at each strength of the gradient."""
SAME_HUE = 0.25
"""How far two patches may differ in the logarithm of red over green, and of blue over green: what lies in the shadow is
lit by the sky or by the room instead of the lamp."""
FILL = 0.72
"""Least share of the quadrilateral that both cover; between them lies the shadow's edge."""


def propose_unions(picture: NDArray[np.float32], aspect: float) -> list[Array]:
    """Candidate corners (4, 2) in pixels of the reduced picture (h, w, 3, see `propose.perceptual`)."""
    edges = gradient(picture)
    texture = np.asarray(cv2.blur(edges, (TEXTURE_PX, TEXTURE_PX)), np.float32)
    found: list[tuple[float, Array]] = []
    for rough, cut in [(edges, c) for c in CUTS] + [(texture, c) for c in TEXTURE_CUTS]:
        parts = sorted(patches((rough < cut).astype(np.uint8)), key=lambda p: -cv2.contourArea(p.outline))[:MOST]
        seen = [_seen(part, picture) for part in parts]
        for (one, hue, area), (other, hue2, area2) in combinations(seen, 2):
            if np.abs(hue - hue2).max() > SAME_HUE:
                continue
            both = np.concatenate([one, other])
            covered = area + area2
            if covered < FILL * cv2.contourArea(cv2.convexHull(both)):
                continue
            corners = quadrilateral(both, aspect)
            if corners is None or not plausible(corners, aspect):
                continue
            quad = cv2.contourArea(corners.astype(np.float32))
            if FILL < covered / quad < 1.06:
                found.append((covered / quad, grown(corners, 1.5)))
    return distinct(found)


def _seen(part: Part, picture: NDArray[np.float32]) -> tuple[NDArray[np.int32], Array, float]:
    """A patch's outer contour (n, 1, 2), its hue, and its area."""
    (x, y), mask = part.corner, part.mask
    h, w = mask.shape
    mean = np.array(cv2.mean(picture[y : y + h, x : x + w], mask=mask)[:3])
    r, g, b = 2 * np.log(np.maximum(mean, 1e-3))  # the picture holds square roots of light
    return part.outline, np.array([r - g, b - g]), float(cv2.contourArea(part.outline))
