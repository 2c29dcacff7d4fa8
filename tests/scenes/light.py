"""Light in drawn scenes: a bright dome, one lamp of some size, what the ground throws back, and their shadows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from identify.rank.rings import Single
from tests.scenes import ground
from tests.scenes.pinhole import Pinhole
from tests.scenes.shot import Shot
from tests.scenes.solid import Solid, bands, paint
from tests.scenes.wire import Rod

COAT = 0.04
"""Fresnel reflection of a clear coat, index 1.5, seen straight on."""
SHADOW_FINER = 0.25
SPREAD = np.array([[0, 0], [9, 0], [-9, 0], [0, 9], [0, -9], [6, 6], [-6, -6], [6, -6], [-6, 6]]) / 10
"""Points of the lamp's disc."""


@dataclass(frozen=True, eq=False)
class Light:
    """Light on the table, 1 falling on its bare plane: `dome` from all round, the rest from the lamp; `bounce` is the
    ground's reflectance (3,)."""

    dome: float
    lamp: float
    to_lamp: Array
    size: float
    bounce: Array

    def diffuse(self, normals: Array | Single) -> Array:
        """Light (k, 3) that falls on a surface with normals (k, 3)."""
        up = normals[:, 2]
        lamp = self.lamp * np.maximum(normals @ self.to_lamp, 0) / self.to_lamp[2]
        fallen: Array = (self.dome * (1 + up) / 2 + lamp)[:, None] + (1 - up[:, None]) / 2 * self.bounce * 0.6
        return fallen

    def mirrored(self, normals: Array | Single, to_eye: Array | Single, rough: float) -> Array:
        """What a mirror of this roughness shows (k, 3), 1 being a white surface on the table."""
        back = 2 * (normals * to_eye).sum(1, keepdims=True) * normals - to_eye
        spread = self.size**2 + rough**2
        angle = np.arccos(np.clip(back @ self.to_lamp, -1, 1))
        lamp = self.lamp / (2 * spread * self.to_lamp[2]) * np.exp(-(angle**2) / (2 * spread))
        above = np.clip(back[:, 2] / 0.3 + 0.5, 0, 1)
        seen: Array = (self.dome * above + lamp)[:, None] + (1 - above)[:, None] * self.bounce * 0.5
        return seen


def light_of(shot: Shot) -> Light:
    """The light of a shot."""
    share, height, side = shot.lamp[0], *np.radians(shot.lamp[1:3])
    to_lamp = np.array([np.cos(height) * np.cos(side), np.cos(height) * np.sin(side), np.sin(height)])
    return Light(1 - share, share, to_lamp, shot.lamp[3], ground.light_of(shot.ground)[128].astype(float))


def coated(solid: Solid, at: Array, normals: Array, to_eye: Array, light: Light, rng: np.random.Generator) -> Array:
    """The light (k, 3) of paint under a clear coat."""
    colour, leaf = paint(solid, at, rng)
    eyes = np.broadcast_to(to_eye.astype(np.float32), normals.shape)
    facing = np.clip((normals * eyes).sum(1), 0, 1)
    fresnel = (COAT + (1 - COAT) * (1 - facing) ** 5)[:, None]
    if solid.piece.colourway.finish == "clear":
        colour = 0.5 * colour + 0.5 * light.bounce
    diffuse = colour * (1 - fresnel) * light.diffuse(normals)
    gloss = light.mirrored(normals, eyes, solid.piece.gloss)
    shown: Array = diffuse + fresnel * gloss
    if leaf.any():
        shown = shown + leaf[:, None] * (0.7 * light.mirrored(normals, eyes, 0.4) - shown)
    return shown


def shadows(solid: Solid, rods: Sequence[Rod], light: Light, camera: Pinhole, shot: Shot) -> tuple[Array, Array]:
    """How much of the lamp and of the dome bait and wires keep from the ground: two pictures (h, w) from 0 to 1, a
    quarter of the photo's width."""
    small = tuple(int(v * SHADOW_FINER) for v in shot.picture)
    ring = solid.on_table(solid.rings(40, 20))
    beside = np.cross(light.to_lamp, [0.0, 0.0, 1.0])
    beside /= max(float(np.linalg.norm(beside)), 1e-9)
    over = np.cross(beside, light.to_lamp)
    px = camera.f_px / float(np.linalg.norm(camera.place_mm)) * SHADOW_FINER
    total = np.zeros(small[::-1], np.float32)
    directions = [light.to_lamp + light.size * (a * beside + b * over) for a, b in SPREAD]
    for way in directions:
        mask = np.zeros(small[::-1], np.uint8)

        def fallen(points: Array, way: Array = way) -> Array:
            on = points - points[..., 2:] / way[2] * way
            px: Array = np.round((camera.project(on) * SHADOW_FINER) * 16).astype(np.int32)
            return px

        for band in bands(fallen(ring) / 16):
            cv2.fillConvexPoly(mask, np.round(band * 16).astype(np.int32), 255, shift=4)
        for rod in rods:
            wide = max(1, round(2 * rod.radius_mm * px))
            cv2.polylines(mask, [fallen(rod.points)], False, 255, wide, cv2.LINE_AA, shift=4)
        total += mask
    lamp = cv2.GaussianBlur(total / (255 * len(directions)), (0, 0), 0.7)
    foot = np.zeros(small[::-1], np.uint8)
    for band in bands(camera.project(ring * (1, 1, 0)) * SHADOW_FINER):
        cv2.fillConvexPoly(foot, np.round(band * 16).astype(np.int32), 255, shift=4)
    near = 0.35 * solid.piece.thickness_mm * px
    dome = 0.85 * cv2.GaussianBlur(foot.astype(np.float32) / 255, (0, 0), max(near, 0.5))
    return np.asarray(lamp), np.asarray(dome)


def card_shadow(card_mm: Array, light: Light, camera: Pinhole) -> NDArray[np.float32]:
    """What is left (h, w) of the light on the ground around a card (k, 3)."""
    small = tuple(v // 2 for v in camera.picture)
    ways = (light.to_lamp, np.array([0.0, 0.0, 1.0]))
    lost = np.zeros(small[::-1], np.float32)
    for way, share in zip(ways, (light.lamp, 0.5 * light.dome), strict=True):
        mask = np.zeros(small[::-1], np.uint8)
        on = camera.project(card_mm - card_mm[:, 2:] / way[2] * way) / 2
        cv2.fillConvexPoly(mask, np.round(on * 16).astype(np.int32), 255, cv2.LINE_AA, shift=4)
        lost += share / 255 * mask
    lost = np.asarray(cv2.GaussianBlur(lost, (5, 5), 0.8), np.float32)
    return np.asarray(cv2.resize(1 - lost, camera.picture, interpolation=cv2.INTER_LINEAR), np.float32)
