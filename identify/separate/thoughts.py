"""Both looks at a photo together: what every pixel of the places worth a second look is."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from identify.photo import Photo
from identify.separate.ground import Plane
from identify.separate.look import Scene, brought_to, closer
from identify.separate.morphology import Mask
from identify.separate.pixels import GROUND, first_thought, second_thought
from identify.stages import Window

NOT_GROUND = 0.35
"""First-look probability from which on something may lie there."""
LEAST_MM2 = 12.0
MARGIN_MM = 9.0


@dataclass(frozen=True, eq=False)
class Place:
    """A part of the picture looked at twice: the scene there, what it was thought to be first (at its scale), and what
    the second look says: probabilities (h, w, 3) of `pixels.CLASSES`."""

    scene: Scene
    first: Plane

    def second(self) -> Plane:
        """What the second look says: probabilities (h, w, 3) of `pixels.CLASSES`."""
        s = self.scene
        thought = second_thought(s.linear, s.ground, s.lit, self.first)
        thought[~s.usable] = (1, 0, 0)
        return thought


def places(photo: Photo, scene: Scene) -> list[Place]:
    """Where a second look is worth it: boxes around what stands off the ground, joined where they overlap."""
    first = first_thought(scene.linear, scene.ground, scene.lit)
    first[~scene.usable] = (1, 0, 0)
    found = _boxes((first[..., GROUND] < 1 - NOT_GROUND) & scene.usable, scene.px_per_mm)
    out = []
    for x0, y0, x1, y1 in found:
        fine = closer(photo, scene, (x0, y0, x1, y1))
        h, w = fine.linear.shape[:2]
        out.append(Place(fine, brought_to(first[y0:y1, x0:x1], (w, h), scene.step / fine.step)))
    return out


def _boxes(mask: Mask, px_per_mm: float) -> list[Window]:
    h, w = mask.shape
    joined = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    area = np.bincount(labels[mask], minlength=len(stats))
    m = int(MARGIN_MM * px_per_mm)
    boxes = [
        (max(0, int(x) - m), max(0, int(y) - m), min(w, int(x + bw) + m), min(h, int(y + bh) + m))
        for k, (x, y, bw, bh, _) in enumerate(stats)
        if k and area[k] >= LEAST_MM2 * px_per_mm**2
    ]
    return _joined(boxes)


def _joined(boxes: list[Window]) -> list[Window]:
    """Boxes that overlap made one, until none do: a bait and its hooks belong together."""
    boxes = list(boxes)
    again = True
    while again:
        again = False
        for i in range(len(boxes)):
            for j in range(i + 1, len(boxes)):
                a, b = boxes[i], boxes[j]
                if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]:
                    boxes[i] = (min(a[0], b[0]), min(a[1], b[1]), max(a[2], b[2]), max(a[3], b[3]))
                    del boxes[j]
                    again = True
                    break
            if again:
                break
    return boxes
