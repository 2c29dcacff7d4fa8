"""The body within a thing: what is left when hooks, rings and wires are taken away."""

from __future__ import annotations

import cv2
import numpy as np

from identify.separate.morphology import Mask, closed, opened


def body_of(thing: Mask, wire: float) -> Mask:
    """The body within a thing: its largest piece, holes filled, without what is thin.

    Thin is what a disc does not fit into: a little wider than a wire (`wire` pixels), or nearly a third of the body's
    own thickness where that is more, so that rings vanish too.  A piece that falls away so is kept if it tapers off
    from a broad base, as a tail does.
    """
    whole = _largest(opened(thing, max(1.0, 0.6 * wire)))
    if not whole.any():
        return whole
    # holes as wide as a wire are glints on the body; wider ones may be the ground between hooks
    solid = closed(whole, 0.5 * wire)
    inner = float(cv2.distanceTransform(np.pad(solid.astype(np.uint8), 1), cv2.DIST_L2, 5).max())
    trunk = _filled(_largest(opened(solid, min(max(0.75 * wire, 0.3 * inner), 1.4 * wire))))
    if not trunk.any():
        return _filled(whole)
    count, labels, stats, _ = cv2.connectedComponentsWithStats((whole & ~trunk).astype(np.uint8), connectivity=4)
    rim = (cv2.dilate(trunk.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0) & ~trunk
    contact = np.bincount(labels[rim], minlength=count)
    kept = stats[:, cv2.CC_STAT_AREA] <= contact.astype(float) ** 2
    kept[0] = False
    body: Mask = trunk | kept[labels]
    return body


def _largest(mask: Mask) -> Mask:
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    if count < 2:
        return np.zeros_like(mask)
    best: Mask = labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    return best


def _filled(mask: Mask) -> Mask:
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros(mask.shape, np.uint8)
    cv2.drawContours(filled, contours, -1, 1, cv2.FILLED)
    return filled > 0
