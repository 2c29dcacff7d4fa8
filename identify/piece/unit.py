"""One measurement in units of its own length, so that photos of one piece can be laid over each other."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from identify.geometry import Array
from identify.outline import descriptors, frame_of, profile, to_frame
from identify.records import Measurement, Polygon

SIDES = ("side", "unsure")
"""Views that are taken for a side."""


@dataclass(frozen=True, eq=False)
class Shot:
    """One bait of one photo.  Places (m, 2) are in its frame as fractions of its length, +y towards the back as
    read."""

    photo: str
    m: Measurement

    @property
    def is_side(self) -> bool:
        return self.m.view.kind in SIDES

    @cached_property
    def framed(self) -> Array:
        """The outline (n, 2), of length 1."""
        nose, tail = frame_of(self.m.outline_px, self.m.nose_px)
        if self.m.outline_mm is not None:
            at = np.asarray(self.m.outline_mm, float)
            of_length_1: Array = at / np.ptp(at[:, 0])
            return of_length_1
        return to_frame(self.m.outline_px, nose, tail, self.m.shows == "left") / float(np.hypot(*(tail - nose)))

    @cached_property
    def shape(self) -> Array:
        """Descriptors of the outline."""
        return descriptors(profile(self.framed))

    @property
    def depth_px(self) -> float:
        """Depth of the body in pixels: how well its outline is resolved."""
        nose, tail = frame_of(self.m.outline_px, self.m.nose_px)
        return float(np.ptp(self.framed[:, 1]) * np.hypot(*(tail - nose)))

    @cached_property
    def ties(self) -> Array | None:
        ties = self.m.line_ties
        return None if ties is None else self._places(ties.at_px, ties.at_mm)

    @cached_property
    def hangers(self) -> Array | None:
        hangers = self.m.hangers
        return None if hangers is None else self._places(hangers.at_px, hangers.at_mm)

    @cached_property
    def eye(self) -> Array | None:
        eye = self.m.eye
        return None if eye is None else self._places((eye.at_px,), None if eye.at_mm is None else (eye.at_mm,))

    @property
    def rings(self) -> Array:
        """Ties and hangers, whichever is which."""
        return np.vstack([p for p in (self.ties, self.hangers, np.zeros((0, 2))) if p is not None])

    def _places(self, at_px: Polygon, at_mm: Polygon | None) -> Array:
        if at_mm is not None and self.m.length_mm is not None:
            return np.reshape(at_mm, (-1, 2)).astype(float) / self.m.length_mm.value
        nose, tail = frame_of(self.m.outline_px, self.m.nose_px)
        length = float(np.hypot(*(tail - nose)))
        return to_frame(np.reshape(at_px, (-1, 2)), nose, tail, self.m.shows == "left") / length


def turned(places: Array, way: int) -> Array:
    """Places (m, 2) turned round: 1 back and belly, 2 nose and tail, 3 both."""
    x = 1 - places[:, 0] if way & 2 else places[:, 0]
    return np.column_stack([x, -places[:, 1] if way & 1 else places[:, 1]])
