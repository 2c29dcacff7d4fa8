"""Exact labels of a rendered photo: every mesh that was rendered is projected and painted, far to near."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from enum import IntEnum
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from tests.benchmarks.fit_pixelnets.renderer import Renderer

Plane = NDArray[np.uint8]
Mesh = tuple[Array, NDArray[np.int64]]
"""Vertices (n, 3) in mm on the table, and triangles (m, 3) of them."""


class Kind(IntEnum):
    """What the camera sees at a place."""

    GROUND = 0
    BODY = 1
    TIE = 2
    HANGER = 3
    HOOK = 4
    LIP = 5
    THING = 6
    WALL = 7
    CARD = 8


ON_BODY = 16
"""Added to a label where a body lies, also behind what hides it for the camera."""
VOID = 255
"""The label of what is beyond the photo's frame."""
FINER = 2
"""Labels along one pixel of their picture, so that they can be averaged."""
_NEARER_MM = 0.3
"""Wire is painted as if so much nearer: whole triangles are put in order, by their middle."""
_SUBPIXELS = 4


def label(
    photo: dict[str, Any],
    size: tuple[int, int],
    to_picture: Callable[[Array], Array],
    renderer: Renderer,
    seam_px: int,
) -> Plane:
    """A Kind for each place of a picture of `size` (w, h), FINER times finer; ON_BODY added where any body lies, but
    not within `seam_px` of the picture's pixels of another, so that bodies that touch are told apart.

    `photo`: its plan, `to_picture`: takes pixels (n, 2) of the photo to pixels of the picture.
    """
    kinds, _, bodies = _painted(photo, size, to_picture, renderer, None)
    reach = 2 * FINER * seam_px + 1
    wider = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    near = np.zeros_like(bodies)
    if len(photo["baits"]) > 1:
        for number in range(len(photo["baits"])):
            alone = {**photo, "baits": [photo["baits"][number]], "things": [], "box": None, "card": None}
            near += np.asarray(cv2.dilate(_painted(alone, size, to_picture, renderer, None)[2], wider), np.uint8)
    return (kinds + ON_BODY * (bodies & (near < 2))).astype(np.uint8)


def label_one(
    photo: dict[str, Any],
    number: int,
    size: tuple[int, int],
    to_picture: Callable[[Array], Array],
    renderer: Renderer,
) -> Plane:
    """As `label` for the bait `number` of a photo: bodies of other baits are things there, their wire is wire."""
    kinds, baits, body = _painted(photo, size, to_picture, renderer, number)
    others = (baits != number + 1) & (baits != 0)
    return (np.where(others & (kinds == Kind.BODY), Kind.THING, kinds) + ON_BODY * body).astype(np.uint8)


def bait_meshes(bait: dict[str, Any], renderer: Renderer) -> Iterator[tuple[Kind, Mesh]]:
    """The meshes of one bait as it lies.  A lost ring's stub counts as ground."""
    built = renderer.geom.build_bait(bait, np.random.default_rng(bait["seed"]))
    place = renderer.geom.place(built, bait["theta"], bait["t"])
    vertices, triangles, _ = built["body"]
    yield Kind.BODY, (place(vertices), triangles)
    parts = {"tie": Kind.TIE, "painted_tie": Kind.TIE, "hanger": Kind.HANGER, "lip": Kind.LIP}
    for part, kind in parts.items():
        if built.get(f"{part}_mesh") is not None:
            vertices, triangles = built[f"{part}_mesh"]
            yield kind, (place(vertices), triangles)
    if built["hooks"]:
        vertices, triangles = renderer.geom.join([hook["mesh"] for hook in built["hooks"]])
        yield Kind.HOOK, (place(vertices), triangles)


def _meshes(photo: dict[str, Any], renderer: Renderer) -> Iterator[tuple[Kind, int, Mesh]]:
    """All meshes of a photo: kind, bait (from 1; 0 for none), mesh."""
    things, geom, scene = renderer.things, renderer.geom, renderer.scene
    for i, bait in enumerate(photo["baits"]):
        for kind, mesh in bait_meshes(bait, renderer):
            yield kind, i + 1, mesh
    for thing in photo.get("things", []):
        for part in things.parts(thing):
            yield Kind.HOOK if thing["kind"] == "loose_hook" else Kind.THING, 0, (part["V"], part["F"])
    if photo.get("box"):
        for part, kind in zip(things.box_parts(photo["box"]), (Kind.WALL, Kind.GROUND), strict=True):
            yield kind, 0, (part["V"], part["F"])
    if photo["card"] is not None:
        x, y, angle = photo["card"]
        vertices, triangles = geom.slab(*scene.CARD, corner=photo.get("card_round_mm", 0.0))
        yield Kind.CARD, 0, (vertices @ geom.rot([0, 0, 1], angle).T + [x, y, 0], triangles)


def _painted(
    photo: dict[str, Any],
    size: tuple[int, int],
    to_picture: Callable[[Array], Array],
    renderer: Renderer,
    only: int | None,
) -> tuple[NDArray[np.int32], NDArray[np.int32], Plane]:
    """Kinds, baits (from 1; 0 for none), and where a body lies, any or `only` one: (FINER h, FINER w) each."""
    camera = renderer.scene.Camera(photo["cam"])
    w, h = FINER * size[0], FINER * size[1]
    corners, values, distances = [], [], []
    for kind, bait, (vertices, triangles) in _meshes(photo, renderer):
        at = (to_picture(camera.project(vertices)) + 0.5) * FINER - 0.5
        nearer = _NEARER_MM if kind in (Kind.TIE, Kind.HOOK, Kind.HANGER) else 0.0
        corners.append(at[triangles])
        values.append(np.full(len(triangles), kind + ON_BODY * bait))
        distances.append(np.linalg.norm(vertices - camera.C, axis=1)[triangles].mean(1) - nearer)
    shapes, value, distance = np.concatenate(corners), np.concatenate(values), np.concatenate(distances)
    low, high = shapes.min(1), shapes.max(1)
    seen = (high > 0).all(1) & (low < [w, h]).all(1)
    order = np.flatnonzero(seen)[np.argsort(-distance[seen])]
    points = np.round(shapes[order] * (1 << _SUBPIXELS)).astype(np.int32)
    picture, body = np.zeros((h, w), np.int32), np.zeros((h, w), np.uint8)
    for triangle, v in zip(points, value[order].tolist(), strict=True):
        cv2.fillConvexPoly(picture, triangle, v, shift=_SUBPIXELS)
        if v % ON_BODY == Kind.BODY and (only is None or v // ON_BODY == only + 1):
            cv2.fillConvexPoly(body, triangle, 1, shift=_SUBPIXELS)
    return picture % ON_BODY, picture // ON_BODY, body
