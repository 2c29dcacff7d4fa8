"""The two networks: what each sees and says."""

from __future__ import annotations

from dataclasses import dataclass

from identify.closeup.look import PX_PER_MM as CLOSEUP_PX_PER_MM
from identify.separate.look import PX_PER_MM as SCENE_PX_PER_MM


@dataclass(frozen=True)
class Look:
    """One network.

    `px_per_mm`: the scale at which it sees; `stored_px_per_mm`: that of the pictures it is fitted to, finer so that
    they can be resized.  `planes`: what it says of each pixel, in order, with the weight of what is there against what
    is not.  `widths`: channels at each level; `size`: (h, w) of a training picture, multiples of 32.
    """

    name: str
    px_per_mm: float
    stored_px_per_mm: float
    planes: dict[str, float]
    widths: tuple[int, ...]
    size: tuple[int, int]

    @property
    def points(self) -> tuple[str, ...]:
        """Planes that peak at a point instead of covering an area, by the name of the point."""
        return tuple(plane.removesuffix("_at") for plane in self.planes if plane.endswith("_at"))


LOOKS = {
    look.name: look
    for look in (
        Look(
            "scene",
            SCENE_PX_PER_MM,
            3.4,
            {"body": 1.0, "wire": 2.0, "lip": 3.0, "thing": 1.0},
            (16, 32, 64, 96, 128),
            (352, 352),
        ),
        Look(
            "bait",
            CLOSEUP_PX_PER_MM,
            6.4,
            {
                "body": 1.0,
                "tie": 2.0,
                "hanger": 2.0,
                "hook": 1.0,
                "lip": 2.0,
                "tie_at": 12.0,
                "hanger_at": 12.0,
                "eye_at": 12.0,
                "trace_at": 12.0,
            },
            (16, 32, 64, 96, 128),
            (224, 448),
        ),
    )
}
