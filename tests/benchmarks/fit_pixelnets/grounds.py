"""More grounds than the renderer has: its textures in other colours, striped, checked, printed or blotched."""

from __future__ import annotations

import functools
import os
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.fit_pixelnets.renderer import Renderer

Texture = NDArray[np.float32]

FIRST = 1000
"""Numbers of grounds from here on are ours, those below are the renderer's own."""
SHARE = 0.6
"""Of the photos that lie on one of ours."""
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def choose_some(renderer: Renderer) -> None:
    """Let the renderer's plans choose grounds of ours too."""
    own_base = renderer.layout.base

    def base(rng: np.random.Generator, kind: str, name: str, k: int) -> dict[str, dict[str, int]]:
        photo: dict[str, dict[str, int]] = own_base(rng, kind, name, k)
        if rng.random() < SHARE:
            photo["bg"]["idx"] = int(rng.integers(FIRST, 1 << 30))
        return photo

    renderer.layout.base = base


def provide(renderer: Renderer, folder: Path) -> None:
    """Let the renderer make grounds of ours; its own are slow to make, and kept in `folder`."""
    own_background = renderer.paint.background
    folder.mkdir(parents=True, exist_ok=True)

    def own(kind: str, number: int) -> Texture:
        kept = folder / f"{kind}-{number}.npy"
        if not kept.exists():
            aside = kept.with_suffix(f".{os.getpid()}.npy")  # several processes may render at once
            np.save(aside, own_background(kind, number))
            aside.replace(kept)
        return np.asarray(np.load(kept), np.float32)

    weave = functools.lru_cache(8)(lambda kind: own(kind, 0))

    def background(kind: str, number: int) -> Texture:
        if number < FIRST:
            return own(kind, number)
        return another(weave(kind), np.random.default_rng(number), renderer.paint.TEX_MM)

    renderer.paint.background = background


def another(texture: Texture, rng: np.random.Generator, side_mm: float) -> Texture:
    """Another ground (n, n, 3) with the weave or grain of one, both linear sRGB reflectances; `side_mm`: its side."""
    n = len(texture)
    grain = texture.mean(2)
    grain = np.clip(grain / grain.mean(), 0.05, 4) ** rng.uniform(0.4, 2.2)
    grain = np.roll(grain, tuple(rng.integers(0, n, 2)), (0, 1))
    plain, other = _colour(rng), _colour(rng)
    px_per_mm = n / side_mm
    down, right = np.mgrid[0:n, 0:n].astype(np.float32) / px_per_mm
    kind, turn = rng.random(), rng.uniform(0, np.pi)
    along, across = np.cos(turn) * right + np.sin(turn) * down, -np.sin(turn) * right + np.cos(turn) * down
    mask = np.zeros((n, n), np.float32)
    if kind < 0.12:  # stripes
        period = np.exp(rng.uniform(np.log(3), np.log(60)))
        mask = (np.mod(along, period) < period * rng.uniform(0.1, 0.6)).astype(np.float32)
    elif kind < 0.2:  # checks
        period = np.exp(rng.uniform(np.log(4), np.log(50)))
        mask = 0.5 * sum((np.mod(v, period) < period * 0.5).astype(np.float32) for v in (along, across))
    elif kind < 0.34:
        mask = _print(n, px_per_mm, side_mm, rng)
        other = plain * rng.uniform(0.05, 0.4) if rng.random() < 0.7 else other
    elif kind < 0.5:  # blotches
        width = rng.uniform(2, 40) / 1.2 * 0.85
        noise = rng.standard_normal((256, 256)).astype(np.float32)
        blotch = cv2.resize(cv2.GaussianBlur(noise, (0, 0), width), (n, n), interpolation=cv2.INTER_CUBIC)
        mask = np.clip(blotch / blotch.std() * rng.uniform(0.3, 3) + 0.3, 0, 1)
    if kind < 0.5:
        mask = cv2.GaussianBlur(mask, (0, 0), rng.uniform(0.5, 4)) * rng.uniform(0.15, 1)
    coloured = plain + mask[..., None] * (other - plain)
    return np.asarray(np.clip(coloured * grain[..., None], 0.006, 0.9), np.float32)


def _colour(rng: np.random.Generator) -> NDArray[np.float64]:
    """A reflectance of linear sRGB, from nearly black to nearly white and from grey to vivid."""
    luminance = np.exp(rng.uniform(np.log(0.025), np.log(0.85)))
    hue = np.clip(np.ones(3) + rng.normal(0, 1, 3) * rng.choice([0.03, 0.15, 0.5]), 0.08, None)
    return np.asarray(np.clip(luminance * hue / (hue @ _LUMINANCE), 0.008, 0.88))


def _print(n: int, px_per_mm: float, side_mm: float, rng: np.random.Generator) -> Texture:
    """Rows of small marks like print, 0 to 1."""
    mask = np.zeros((n, n), np.float32)
    height = rng.uniform(2, 6)
    for top in np.arange(0, side_mm, height * rng.uniform(1.4, 2.2)):
        left = 0.0
        while left < side_mm:
            length = rng.uniform(0.5, 3) * height
            if rng.random() < 0.8:
                low = int((left + length) * px_per_mm), int((top + height * 0.6) * px_per_mm)
                cv2.rectangle(mask, (int(left * px_per_mm), int(top * px_per_mm)), low, 1, -1)
            left += length + height * 0.5
    letters = cv2.GaussianBlur(rng.standard_normal((n // 4, n // 4)).astype(np.float32), (0, 0), 0.8) > 0
    return np.asarray(mask * cv2.resize(letters.astype(np.float32), (n, n), interpolation=cv2.INTER_LINEAR), np.float32)
