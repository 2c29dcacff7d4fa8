"""The quick drawer: a photograph of one bait and a card from a form of a reference set, with its truth, in well under a
tenth of a second.

Geometry is exact: a pinhole camera, the bait's solid at its own height above the card, its limb as the camera sees it.
Light is a simple model of what a path tracer does: a bright dome and one lamp, a clear coat with highlights, soft and
contact shadows on the ground, no light from thing to thing but the ground's.  Then come a camera's colours, exposure,
white balance, tone curve, blur, noise and JPEG.

Not drawn: hooks that lie over the body, wear, other things on the table.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array, apply_homography
from identify.photo import Photo
from tests.scenes import ground, wire
from tests.scenes.develop import photographed
from tests.scenes.light import Light, card_shadow, coated, light_of, shadows
from tests.scenes.pinhole import Pinhole, pinhole
from tests.scenes.shot import Shot
from tests.scenes.solid import Piece, Solid, covered, lie, surface

CARD_MM, CARD_THICKNESS_MM, CARD_GREY = (85.60, 53.98), 0.76, 0.18
METAL = 0.62
CHROME_ROUGH = 0.2
LIP_WAY = (-0.5, -0.87)


@dataclass(frozen=True, eq=False)
class Drawn:
    """A photo with its truth: the piece's side outline in its middle plane, its rings and the card's corners in
    pixels, and the scale at the bait."""

    photo: Photo
    piece: Piece
    shot: Shot
    outline_px: Array
    ties_px: Array
    hangers_px: Array
    corners_px: Array
    px_per_mm: float


def _rods(solid: Solid, rng: np.random.Generator) -> list[tuple[str, list[wire.Rod]]]:
    """Line ties, hangers, a lip, hooks: what they are made of, and their rods."""
    piece = solid.piece
    across, along = solid.turn[:, 0], solid.turn[:, 1]
    size = float(np.clip(4.2 * (piece.length_mm / 62) ** 0.35, 3.0, 5.0))
    parts = [("metal", [wire.ring(_flat(solid, p), across, along, size, 0.95)]) for p in piece.ties_mm]
    parts += [("metal", [wire.ring(_flat(solid, p), across, along, 2.6, 0.8)]) for p in piece.hangers_mm]
    if piece.form.lip in ("metal", "plastic", "other"):
        start = np.array([0.05 * piece.length_mm, np.interp(0.05 * piece.length_mm, solid.x, solid.bottom) * 0.85])
        ends = [start - LIP_WAY, start + 0.17 * piece.length_mm * np.array(LIP_WAY)]
        parts.append((piece.form.lip, [wire.Rod(np.array([_flat(solid, end) for end in ends]), 0.5)]))
    gap = float(np.clip(0.13 * piece.length_mm + rng.uniform(-0.7, 0.7), 8.0, 11.0))
    for place in piece.hangers_mm[: piece.hooks]:
        middle = np.interp(place[0], solid.x, (solid.top + solid.bottom) / 2)
        at_tail = place[0] > 0.95 * piece.length_mm
        out = np.array([1.0, 0.0] if at_tail else [0.0, np.sign(place[1] - middle)])
        turn = rng.normal(0, 0.5)
        out = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ out
        way = solid.turn @ np.array([*out, 0.0])
        way[2] = min(way[2], 0.0) - 0.25
        way /= np.linalg.norm(way)
        base = _flat(solid, place + 0.6 * out)
        parts.append(("metal", wire.treble(base, way, gap, 1.0, 1.25 * gap, rng.uniform(0, 2))))
    return parts


def _flat(solid: Solid, place: Array) -> Array:
    return solid.on_table(np.array([*place, 0.0]))


def _window(points: Array, margin: int, picture: tuple[int, int]) -> tuple[tuple[int, int], tuple[int, int]]:
    low = np.maximum(np.floor(points.min(0)).astype(int) - margin, 0)
    high = np.minimum(np.ceil(points.max(0)).astype(int) + margin, picture)
    return (int(low[0]), int(low[1])), (int(high[0] - low[0]), int(high[1] - low[1]))


def _placed(piece: Piece, shot: Shot) -> tuple[Solid, Array, Pinhole]:
    """The bait, the card's middle (2,) and a camera that has both in its frame."""
    card = np.array(CARD_MM if not shot.bait_beside else CARD_MM[::-1])
    reach = np.array([piece.length_mm * (1.0 + 0.28 * (piece.hooks > 0)), piece.depth_mm + 14.0 * (1 + piece.hooks)])
    gap = 12.0
    if shot.bait_beside:
        need = np.array([card[0] + gap + reach[0], max(card[1], reach[1], 0.5 * reach[0])])
        card_at = np.array([-need[0] / 2 + card[0] / 2, 0.0])
        bait_at = np.array([need[0] / 2 - reach[0] / 2, 0.0])
    else:
        need = np.array([max(card[0], reach[0]), card[1] + gap + reach[1]])
        card_at = np.array([0.0, need[1] / 2 - card[1] / 2])
        bait_at = np.array([0.0, -need[1] / 2 + reach[1] / 2])
    px_per_mm = shot.fills * min(shot.picture[0] / need[0], shot.picture[1] / need[1])
    solid = lie(
        piece, (float(bait_at[0]), float(bait_at[1])), shot.bait_deg, shot.flip, shot.roll_deg, shot.pitch_deg,
        shot.lift_mm,
    )  # fmt: skip
    camera = pinhole(shot.picture, shot.f35, px_per_mm, shot.tilt_deg, shot.towards_deg, shot.turned_deg)
    return solid, card_at, camera


def _card_corners(shot: Shot, middle: Array) -> Array:
    turn = np.radians(shot.card_deg + (90.0 if shot.bait_beside else 0.0))
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    corners: Array = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(CARD_MM) / 2 @ spin.T + middle
    return corners


def _rounded(corners: Array, radius: float) -> Array:
    """A rectangle (4, 2) with round corners."""
    if radius == 0:
        return corners
    ends = []
    for k in range(4):
        here = corners[k]
        along = [(corners[(k + d) % 4] - here) / np.linalg.norm(corners[(k + d) % 4] - here) for d in (-1, 1)]
        middle = here + radius * (along[0] + along[1])
        for a in np.linspace(0, np.pi / 2, 9):
            ends.append(middle - radius * (np.cos(a) * along[1] + np.sin(a) * along[0]))
    return np.array(ends)


def draw(piece: Piece, shot: Shot) -> Drawn:
    """Draw one photo."""
    rng = np.random.default_rng(shot.seed)
    solid, card_at, camera = _placed(piece, shot)
    light = light_of(shot)
    groups = _rods(solid, rng)
    rods = [rod for _, group in groups for rod in group]
    lamp, dome = shadows(solid, rods, light, camera, shot)
    kept = 1 - light.lamp * lamp - light.dome * dome
    fallen = np.asarray(cv2.resize(kept, shot.picture, interpolation=cv2.INTER_LINEAR), np.float32)
    corners = _card_corners(shot, card_at)
    card_mm = _rounded(corners, shot.card_radius_mm)
    ground_light = fallen * card_shadow(
        np.column_stack([card_mm, np.full(len(card_mm), CARD_THICKNESS_MM)]), light, camera
    )
    linear = _table(camera, shot, rng) * ground_light[..., None]

    card_px = apply_homography(camera.plane(CARD_THICKNESS_MM), card_mm)
    _lay_card(linear, card_px, fallen, shot)
    _lay_bait(linear, solid, groups, light, camera, shot, rng)
    return Drawn(
        photographed(linear, shot, rng), piece, shot,
        camera.project(solid.on_table(solid.outline_mm())),
        camera.project(np.array([_flat(solid, p) for p in piece.ties_mm]).reshape(-1, 3)),
        camera.project(np.array([_flat(solid, p) for p in piece.hangers_mm]).reshape(-1, 3)),
        apply_homography(camera.plane(CARD_THICKNESS_MM), corners),
        camera.f_px / float(camera.axes[2] @ (solid.shift - camera.place_mm)),
    )  # fmt: skip


def _table(camera: Pinhole, shot: Shot, rng: np.random.Generator) -> NDArray[np.float32]:
    """The bare ground's reflectance (h, w, 3)."""
    texture = ground.texture(shot.ground, shot.seed % 2)
    turn = rng.uniform(0, 2 * np.pi)
    c, s = np.cos(turn) * ground.PX_PER_MM, np.sin(turn) * ground.PX_PER_MM
    lay = np.array([[c, -s, rng.uniform(0, ground.SIDE)], [s, c, rng.uniform(0, ground.SIDE)], [0, 0, 1]])
    to_picture = camera.plane(0.0) @ np.linalg.inv(lay)
    t = cv2.warpPerspective(texture, to_picture, shot.picture, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(cv2.LUT(cv2.merge([t, t, t]), ground.light_of(shot.ground)[None]), np.float32)


def _lay_card(linear: NDArray[np.float32], card_px: Array, fallen: NDArray[np.float32], shot: Shot) -> None:
    corner, size = _window(card_px, 4, shot.picture)
    mask = np.zeros((size[1] * 4, size[0] * 4), np.uint8)
    cv2.fillConvexPoly(mask, np.round(((card_px - corner + 0.5) * 4 - 0.5) * 16).astype(np.int32), 255, shift=4)
    share = cv2.resize(mask, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    soft = np.asarray(cv2.GaussianBlur(share, (0, 0), shot.blur_px), np.float32)[..., None]
    own = np.s_[corner[1] : corner[1] + size[1], corner[0] : corner[0] + size[0]]
    linear[own] += soft * (CARD_GREY * fallen[own][..., None] - linear[own])


def _lay_bait(
    linear: NDArray[np.float32], solid: Solid, groups: list[tuple[str, list[wire.Rod]]], light: Light,
    camera: Pinhole, shot: Shot, rng: np.random.Generator,
) -> None:  # fmt: skip
    """Hardware first, then the body over what of it is sunk in."""
    rings_px = camera.project(solid.on_table(solid.rings()))
    rods_px = [camera.project(rod.points) for _, rods in groups for rod in rods]
    corner, size = _window(np.vstack([rings_px.reshape(-1, 2), *rods_px]), 12, shot.picture)
    own = np.s_[corner[1] : corner[1] + size[1], corner[0] : corner[0] + size[0]]
    picture = linear[own].copy()
    to_eye = camera.place_mm - solid.shift
    to_eye /= np.linalg.norm(to_eye)

    def metal(normals: Array) -> Array:
        shown: Array = METAL * light.mirrored(normals, np.broadcast_to(to_eye, normals.shape), CHROME_ROUGH)
        return shown

    def plastic(normals: Array) -> Array:
        shown: Array = 0.5 * light.diffuse(normals)
        return shown

    for stuff, rods in groups:
        at_px = np.vstack([camera.project(rod.points) for rod in rods])
        near, span = _window(at_px, 8, shot.picture)
        colour, share = wire.draw(rods, camera, near, span, metal if stuff == "metal" else plastic)
        part = picture[near[1] - corner[1] :, near[0] - corner[0] :][: span[1], : span[0]]
        part += colour - share[..., None] * part
    body, window = _window(rings_px.reshape(-1, 2), 3, shot.picture)
    share = covered(rings_px, body, window, 4)
    rows, columns = np.nonzero(share)
    at, normals = surface(solid, camera, np.column_stack([columns + body[0], rows + body[1]]))
    shown = coated(solid, at, normals, to_eye, light, rng)
    inside = np.s_[rows + body[1] - corner[1], columns + body[0] - corner[0]]
    picture[inside] += share[rows, columns][:, None] * (shown - picture[inside])
    linear[own] = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), shot.blur_px)
