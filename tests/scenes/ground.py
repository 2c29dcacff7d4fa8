"""Grounds of drawn scenes: a grey texture between two colours, made once for each kind."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array

PX_PER_MM, SIDE = 7.0, 1536
KINDS = ("paper", "felt", "wood", "blue cloth", "black cloth", "tray")
COLOURS = {
    "paper": ((0.70, 0.69, 0.67), (0.88, 0.87, 0.85)), "felt": ((0.12, 0.12, 0.122), (0.34, 0.34, 0.347)),
    "wood": ((0.17, 0.078, 0.03), (0.34, 0.19, 0.085)), "blue cloth": ((0.008, 0.022, 0.07), (0.05, 0.12, 0.37)),
    "black cloth": ((0.008, 0.008, 0.009), (0.036, 0.036, 0.039)), "tray": ((0.53, 0.51, 0.465), (0.71, 0.69, 0.625)),
}  # fmt: skip
"""Reflectance, linear sRGB, where the texture is 0 and where it is 1."""


def _cloud(rng: np.random.Generator, sigma: float, stretch: float = 1.0, turn: float = 0.0) -> Array:
    """Smooth noise (SIDE, SIDE) of mean 0 and spread 1; `stretch`: so many times longer along `turn` radians."""
    shrink = max(1, int(sigma / 3))
    n = SIDE // shrink + 4
    along, across = (max(s / shrink, 0.3) for s in (sigma * stretch, sigma))
    noise = cv2.GaussianBlur(rng.standard_normal((n, n)).astype(np.float32), (0, 0), sigmaX=along, sigmaY=across)
    if turn:
        to = cv2.getRotationMatrix2D((n / 2, n / 2), float(np.degrees(turn)), 1.0)
        noise = cv2.warpAffine(noise, to, (n, n), borderMode=cv2.BORDER_REFLECT)
    large = cv2.resize(noise, (SIDE, SIDE), interpolation=cv2.INTER_CUBIC)
    return np.asarray((large - large.mean()) / large.std())


@lru_cache(maxsize=len(KINDS) * 2)
def texture(kind: str, seed: int) -> NDArray[np.uint8]:
    """(SIDE, SIDE), at PX_PER_MM."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    y, x = np.mgrid[:SIDE, :SIDE] / PX_PER_MM
    if kind == "paper":
        t = 0.55 + 0.035 * _cloud(rng, 2) + 0.03 * _cloud(rng, 9) + 0.04 * _cloud(rng, 150)
    elif kind == "felt":
        fibres = sum(_cloud(rng, 0.8, 11, a) for a in rng.uniform(0, np.pi, 5)) / 5**0.5
        t = 0.5 + 0.07 * fibres + 0.05 * _cloud(rng, 3) + 0.05 * _cloud(rng, 25) + 0.03 * _cloud(rng, 120)
    elif kind == "wood":
        across = y + 3.5 * _cloud(rng, 110, 2.5) + 3.4 * np.sin(2 * np.pi * y / 37 + rng.uniform(0, 6))
        late = (0.5 + 0.5 * np.sin(2 * np.pi * across / 7.5)) ** 2.2
        fine = 0.5 + 0.5 * np.sin(2 * np.pi * across / 2.1 + 2 * _cloud(rng, 60))
        t = 1 - np.clip(0.55 * late + 0.18 * fine + 0.1 * _cloud(rng, 0.7, 40), -0.3, 1.3)
    elif kind == "tray":
        bumps = np.clip(np.sin(2 * np.pi * x / 3.2) * np.sin(2 * np.pi * y / 3.2), -0.2, 1)
        t = 0.45 + 0.2 * bumps + 0.05 * _cloud(rng, 2) + 0.06 * _cloud(rng, 90)
    else:
        period, turn = rng.uniform(0.8, 1.2), rng.uniform(0, np.pi)
        u = np.cos(turn) * x + np.sin(turn) * y + 0.25 * _cloud(rng, 60)
        v = np.cos(turn) * y - np.sin(turn) * x + 0.25 * _cloud(rng, 60)
        warp, weft = np.sin(2 * np.pi * u / period), np.sin(2 * np.pi * v / period)
        weave = 0.25 * (warp * np.sign(np.sin(np.pi * v / period)) + weft * np.sign(np.sin(np.pi * u / period)))
        t = 0.5 + 0.55 * weave + 0.08 * _cloud(rng, 1.2) + 0.02 * _cloud(rng, 40)
    return np.asarray(np.clip(np.asarray(t) * 255, 0, 255), np.uint8)


def light_of(kind: str) -> NDArray[np.float32]:
    """Reflectance (256, 3) of each level of a texture."""
    low, high = (np.array(colour) for colour in COLOURS[kind])
    return np.asarray(low + np.linspace(0, 1, 256)[:, None] * (high - low), np.float32)
