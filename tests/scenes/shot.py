"""How photos of drawn scenes are taken."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.scenes.ground import KINDS


@dataclass(frozen=True)
class Shot:
    """How one photo is taken.  `lamp`: share of the light that comes from it, its height above the table (deg), the
    side it stands on (deg) and the size that it looks (rad).  `colours`: how far the camera's colours are off, in
    parts of the light (row sums 0); `gains`: of its white balance."""

    picture: tuple[int, int] = (1440, 1080)
    f35: float = 26.0
    fills: float = 0.8
    """How much of the picture's narrower way card and bait take up."""
    tilt_deg: float = 5.0
    towards_deg: float = 0.0
    turned_deg: float = 0.0
    bait_deg: float = 0.0
    bait_beside: bool = True
    """Beside the card's long side, else below its short one."""
    card_deg: float = 0.0
    card_radius_mm: float = 3.18
    flip: bool = False
    roll_deg: float = 0.0
    pitch_deg: float = 0.0
    lift_mm: float = 0.0
    ground: str = "paper"
    lamp: tuple[float, float, float, float] = (0.45, 55.0, 120.0, 0.15)
    gains: tuple[float, float, float] = (1.0, 1.0, 1.0)
    colours: tuple[float, ...] = (0.0,) * 6
    ev: float = 0.0
    curve: float = 0.0
    vignette: float = 0.1
    blur_px: float = 0.7
    noise: float = 1.5
    """Spread in 8-bit levels."""
    jpeg: int = 88
    exif: bool = True
    seed: int = 0


def any_shot(rng: np.random.Generator, picture: tuple[int, int] = (1440, 1080), tilt_deg: float = 12.0) -> Shot:
    """A shot as people take them who follow the advice more or less."""
    share = float(rng.uniform(0.3, 0.6))
    return Shot(
        picture=picture,
        f35=float(rng.choice([26, 35, 52, 77])),
        fills=float(rng.uniform(0.7, 0.85)),
        tilt_deg=float(rng.uniform(0, tilt_deg)),
        towards_deg=float(rng.uniform(0, 360)),
        turned_deg=float(rng.uniform(-8, 8)),
        bait_deg=float(rng.choice([0, 180]) + rng.uniform(-15, 15)),
        card_deg=float(rng.uniform(-10, 10)),
        card_radius_mm=float(rng.choice([0.0, 3.18])),
        flip=bool(rng.random() < 0.5),
        roll_deg=float(rng.normal(0, 2.5)),
        pitch_deg=float(rng.normal(0, 1.0)),
        lift_mm=float(rng.uniform(0, 0.8)),
        ground=str(rng.choice(KINDS)),
        lamp=(share, float(rng.uniform(40, 75)), float(rng.uniform(0, 360)), float(rng.uniform(0.1, 0.3))),
        gains=tuple(np.exp(rng.normal(0, [0.12, 0.0, 0.12])).tolist()),
        colours=tuple(rng.normal(0, 0.03, 6).tolist()),
        ev=float(rng.uniform(-0.4, 0.3)),
        curve=float(rng.choice([0.0, 0.3])),
        vignette=float(rng.uniform(0.05, 0.25)),
        blur_px=float(rng.uniform(0.5, 0.9)),
        noise=float(rng.uniform(0.8, 2.5)),
        jpeg=int(rng.integers(84, 93)),
        seed=int(rng.integers(1 << 31)),
    )
