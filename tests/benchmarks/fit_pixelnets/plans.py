"""What is in each photo of a set to train on: the renderer's plan of a set of its own make, and more rings lost."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.fit_pixelnets import grounds
from tests.benchmarks.fit_pixelnets.renderer import Renderer

TRAIN = "train"
"""The name of the set below; the renderer's other sets are planned as they are."""
PHOTOS: dict[str, Any] = {
    "enrol": False,
    "listed": 14,
    "unlisted": 5,
    "unknown": 5,
    "twice": (0, 2),
    "lost": 3,
    "painted": 6,
    "propped": 4,
    "yellowed": 4,
    "clutter": (10, 4),
    "boxed": [(2, 3, "plastic", 1), (3, 4, "wood", 1), (2, 4, "grey", 0)],
    "tray": [(10, 2, 1), (14, 2, 1)],
    "listing": (5, 2),
    "split": False,
}
"""How many photos of each kind: an entry of the renderer's SETS."""
LOST, PAINTED = 0.14, 0.16
"""Shares of the baits that lose a ring, or have rings painted over, beside those of PHOTOS."""


def write(path: Path, renderer: Renderer, name: str, seed: int) -> int:
    """Write the plan of a set; the number of its photos.  RuntimeError where the renderer finds no layout."""
    if name == TRAIN:
        renderer.plan.SETS[TRAIN] = PHOTOS
        grounds.choose_some(renderer)
    photos: list[dict[str, Any]] = renderer.plan.plan(name, seed)
    if name == TRAIN:
        lose_and_paint(photos, renderer)
    path.write_text(json.dumps(photos, separators=(",", ":")), "utf-8")
    return len(photos)


def lose_and_paint(photos: list[dict[str, Any]], renderer: Renderer) -> None:
    """Change some whole baits of a plan: one ring lost, with or without its stub, or rings painted over."""
    rng = np.random.default_rng(7)
    for bait in (b for photo in photos for b in photo["baits"]):
        if bait.get("lost") or bait.get("painted"):
            continue
        rings = len(renderer.frame.Piece(renderer.world.MODELS[bait["model"]], bait["size"]).where)
        fate = rng.random()
        if fate < LOST:
            bait.update(lost=[int(rng.integers(rings))], stub=bool(rng.random() < 0.5))
        elif fate < LOST + PAINTED:
            bait["painted"] = list(range(rings)) if rng.random() < 0.6 else [int(rng.integers(rings))]
