"""Rings turned about their own wire, seen from the side or edge-on: in old baits they are, in the renderer's never."""

from __future__ import annotations

import importlib
from typing import Any

import numpy as np

TURNED = "turned"
"""What a bait's plan tells of it: angles in radians, of all line ties (lost ones too), then of the hangers."""
_SAME = 6
"""Decimals of a mm to which the middles of two rings agree."""


def provide(renderer: Any) -> None:
    """Let the renderer build turned rings, here and in the processes that it starts."""
    turn_rings(renderer.geom)
    renderer.make_set._prep = prepare


def prepare(job: Any) -> Any:
    """The renderer's own preparation of a photo, with turned rings: runs in a process that it starts."""
    make_set = importlib.import_module("make_set")  # its folder is on the path already
    turn_rings(importlib.import_module("geom"))
    return make_set._prep(job)


def turn_rings(geom: Any) -> None:
    """Let the renderer's module of meshes turn the rings of baits whose plan says so."""
    own_build, own_ring = geom.build_bait, geom.ring
    if own_build.__module__ == __name__:
        return

    def build_bait(bait: dict[str, Any], rng: np.random.Generator) -> Any:
        piece = geom.frame.piece(geom.W.MODELS, bait)
        rings = [*piece.all_ties(), *piece.hangers()]
        turns = {
            tuple(np.round(ring["centre"], _SAME)): geom.rot([*ring["normal"], 0], angle)
            for ring, angle in zip(rings, bait.get(TURNED, []), strict=False)
        }

        def ring(centre: Any, axis: Any, *more: Any) -> Any:
            turn = turns.get(tuple(np.round(np.asarray(centre)[:2], _SAME)), np.eye(3))
            return own_ring(centre, turn @ axis, *more)

        geom.ring = ring
        try:
            return own_build(bait, rng)
        finally:
            geom.ring = own_ring

    geom.build_bait = build_bait
