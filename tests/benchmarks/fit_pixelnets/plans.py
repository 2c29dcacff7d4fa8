"""What is in each photo of a set to train on: the renderer's plan of a set of its own make, with more rings lost, some
turned, and some baits side by side so that they touch."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from tests.benchmarks.fit_pixelnets import grounds
from tests.benchmarks.fit_pixelnets.renderer import Renderer
from tests.benchmarks.fit_pixelnets.rings import TURNED

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
TURN, LEAST_TURN = 0.2, math.radians(20)
"""Share of the rings that are turned, and by how much at least."""
PUSHED = 0.6
"""Share of the baits among others that are pushed against one, where nothing is in the way."""
CLOSE_MM = 90.0
"""Between the middles of baits that may be pushed together."""
BARE = 0.5
"""Share of the baits among others whose hooks are taken off, so that flank comes to flank."""


def write(path: Path, renderer: Renderer, name: str, seed: int) -> int:
    """Write the plan of a set; the number of its photos.  RuntimeError where the renderer finds no layout."""
    if name == TRAIN:
        renderer.plan.SETS[TRAIN] = PHOTOS
        grounds.choose_some(renderer)
    photos: list[dict[str, Any]] = renderer.plan.plan(name, seed)
    if name == TRAIN:
        lose_and_paint(photos, renderer)
        turn(photos, renderer)
        push_together(photos, renderer)
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


def turn(photos: list[dict[str, Any]], renderer: Renderer) -> None:
    """Turn some rings about the wire that they stand on, by any angle up to edge-on."""
    rng = np.random.default_rng(8)
    for bait in (b for photo in photos for b in photo["baits"]):
        piece = renderer.frame.Piece(renderer.world.MODELS[bait["model"]], bait["size"])
        n = len(piece.where) + len(piece.hangers())
        angles = rng.choice([-1, 1], n) * rng.uniform(LEAST_TURN, math.pi / 2, n)
        bait[TURNED] = np.where(rng.random(n) < TURN, angles, 0.0).tolist()


def push_together(photos: list[dict[str, Any]], renderer: Renderer) -> None:
    """Push some baits on trays and among other things against a neighbour, flank to flank or end to flank."""
    rng = np.random.default_rng(9)
    for photo in photos:
        if photo["subset"] in ("tray", "clutter") and len(photo["baits"]) > 1:
            _push_in(photo, renderer, rng)


def _push_in(photo: dict[str, Any], renderer: Renderer, rng: np.random.Generator) -> None:
    layout, baits = renderer.layout, photo["baits"]
    for bait in baits:
        if rng.random() < BARE:
            bait["hooks"] = [False] * len(bait["hooks"])
    feet = [layout.Foot(bait) for bait in baits]
    places = np.array([bait["t"] for bait in baits])
    half = float(np.abs(places).max()) + 100
    masks = [foot.masks(bait["theta"], bait["t"], half) for foot, bait in zip(feet, baits, strict=True)]
    fixed = np.zeros_like(masks[0][0])
    if photo["card"] is not None:
        fixed |= layout.Foot().masks(photo["card"][2], photo["card"][:2], half)[0]
    for thing in photo.get("things", []):
        outline = np.round((renderer.things.footprint(thing) + half) / layout.MM).astype(np.int32)
        cv2.fillConvexPoly(fixed, outline, 1)
    for i in rng.permutation(len(baits)):
        distances = np.hypot(*(places - places[i]).T)
        near = np.flatnonzero((distances > 0) & (distances < CLOSE_MM))
        if rng.random() > PUSHED or not len(near):
            continue
        j = int(rng.choice(near))
        others = fixed.copy()
        for k, (body, hooks) in enumerate(masks):
            others |= hooks if k == j else body | hooks if k != i else 0
        along = (places[j] - places[i]) / distances[j]
        for far in np.arange(0.0, distances[j], layout.MM):
            place = places[i] + far * along
            body, hooks = feet[i].masks(baits[i]["theta"], place, half)
            if ((body | hooks) & others).any() or (hooks & masks[j][0]).any():
                break
            if (body & masks[j][0]).any():  # one step back they touch
                places[i] = place - layout.MM * along
                baits[i]["t"] = [float(v) for v in places[i]]
                masks[i] = feet[i].masks(baits[i]["theta"], places[i], half)
                break
