"""Is this quadrilateral the card?  Shape after pose, clear sides, an even and grey light: each can say no, with words
that a person understands."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from identify.card.light import Patch, read_patch
from identify.card.pose import Pose, fit_pose, in_order
from identify.card.sides import Side, corners_of, fit_sides, rough_sides, strips
from identify.card.strips import LUMINANCE, Sampler, sampler
from identify.card.walls import is_walled
from identify.geometry import Array
from identify.photo import Photo
from identify.settings import Settings

TIP_MM = 4.5
"""Left out of each end of a side: rounded tips reach to 3.5 mm (ISO/IEC 7810)."""
REACH_OF_FIT_PX = 10.0
"""Nearer than this the fit of the sides finds them by itself."""
FAR_PX = 3.0
"""Sides that were moved further than this are looked for once more from where they are."""
MAX_TILT_DEG = 32.0
U_EDGE_PX = 0.15
"""What no single side can know of its edge: tone curve, sharpening, colour at half resolution."""
U_SHADOW_PX = 0.9
"""The same on a ground much brighter than the card, where a shadow may have just the card's brightness."""
TINT_SPREAD = (0.20, 0.35)
"""How far the light's colour and a half-right white balance pull a grey card: magenta to green, amber to blue."""
CORNER_MM = (3.5, 4.5, 5.5)
"""From both sides, where a corner is looked at."""
OTHER_HUE, OTHER_LIGHT = 0.35, (0.45, 0.9)
"""How far (logarithm) its colour may differ from the card's, and how much brighter or darker it may be: the shadow of a
bait that lies near changes the latter."""
MOSTLY_LIT = 0.30
"""Share of a card that may differ from the rest for any reason."""
FOLLOWS = (0.5, 1.7)
"""How far the ground's step from light to shadow may differ from the card's."""
EXPOSURE_SPREAD = 0.9
"""In stops, of the card's luminance about its reflectance."""
WHITE = 0.5
"""From this reflectance on a card may well be overexposed, which leaves its colour unread, not its size."""
LIMIT = 9.0
"""Largest sum of squared deviations of tint, and of exposure, at which a patch may be grey."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """A quadrilateral with what was read of it.  `refusal`: why it is not the card, None when it may be."""

    corners: Array
    sides: tuple[Side, ...]
    pose: Pose
    patch: Patch
    cost: float
    refusal: str | None
    covered: int = 0
    """How many of its corners something lies over."""


def tint_cost(patch: Patch) -> float:
    """Squared deviations of the patch's tint from neutral."""
    return sum((t / s) ** 2 for t, s in zip(patch.tint, TINT_SPREAD, strict=True))


def could_be_grey(mean: Array, reflectance: float) -> bool:
    """Whether linear RGB (3,) may be that of a matt grey of that reflectance, by its tint and brightness alone."""
    return light_refusal(Patch(mean, 0.0, 0.0, 0.0, 0.0, 10.0, 100), reflectance) is None


def light_refusal(patch: Patch, reflectance: float) -> str | None:
    """Why this patch can't be a matt grey of that reflectance, if so."""
    if patch.rough > 0.12 or patch.odd > 0.30 or patch.range > 1.2:
        return "it is not evenly grey"
    if patch.clipped > 0.5 and reflectance < WHITE:
        return "it is too bright or too dark to read"
    if tint_cost(patch) > LIMIT:
        return "it is coloured, not grey"
    stops = math.log2(max(patch.luminance, 1e-5) / reflectance)
    if abs(stops + 0.2) > math.sqrt(LIMIT) * EXPOSURE_SPREAD:
        return "it is too bright for a grey card" if stops > 0 else "it is too dark for a grey card"
    if patch.brighter * reflectance < 0.22 and stops > 1.0:
        return "it is the brightest thing in the photo, so it is white rather than grey"
    return None


def light_cost(patch: Patch, reflectance: float) -> float:
    """How far the patch's light is from what a card's usually is; small is good."""
    stops = math.log2(max(patch.luminance, 1e-5) / reflectance) + 0.2
    white = max(0.0, 0.35 - patch.brighter * reflectance) / 0.1
    return tint_cost(patch) + (stops / EXPOSURE_SPREAD) ** 2 + white**2


def rough_candidate(
    photo: Photo, reduced: np.ndarray, sample: Sampler, quad: Array, settings: Settings
) -> tuple[Array, Pose | None, str | None] | None:
    """Ordered corners in pixels of the reduced picture, their pose, and why it can't be the card; None when no sides
    were found."""
    moved = rough_sides(sample, in_order(quad), 6.0)
    if moved is None:
        return None
    corners, support, _ = moved
    if np.hypot(*(corners - in_order(quad)).T).max() > FAR_PX:  # the strips lay aslant
        corners, support, _ = rough_sides(sample, in_order(corners), 3.5) or moved
    corners = in_order(corners)
    if min(support) < 0.4:
        return corners, None, "its sides are not clear"
    h, w = reduced.shape[:2]
    pose = fit_pose(corners, settings.card_size_mm, (w, h), photo.focal_35mm, 0.5, free_aspect=True)
    patch = read_patch(reduced, corners, 2.5)
    if patch is None:
        return None
    return corners, pose, shape_refusal(pose, 0.035) or light_refusal(patch, settings.card_reflectance)


def shape_refusal(pose: Pose, tolerance: float) -> str | None:
    """Why a rectangle of this pose can't be the card, if so."""
    if abs(pose.aspect_error) > tolerance + 3 * min(pose.u_aspect, 0.02):
        return "its sides are not in the card's proportion"
    if pose.misfit_px > 3.0 or pose.tilt_deg > MAX_TILT_DEG:
        return "it does not lie flat, or is no rectangle"
    return None


def face_width_px(pose: Pose, index: int, thickness_mm: float, px_per_mm: float) -> float:
    """Width of the card's side face that the camera sees below side `index`, 0 when the top hides it."""
    plane = pose.plane_mm
    a, b = plane[index], plane[(index + 1) % 4]
    middle = (a + b) / 2
    out = middle / np.hypot(*middle)
    x, y, z = pose.camera_mm
    share = thickness_mm / z
    foot = (middle + np.array([x, y]) * share) / (1 + share)
    return max(0.0, float((foot - middle) @ out)) * px_per_mm


def refine(
    photo: Photo, corners: Array, settings: Settings, sample: Sampler, reach: float, pose: Pose | None = None
) -> tuple[Array, tuple[Side, ...]] | None:
    """Corners and sides in pixels of the photo, from ordered ones within `reach` pixels; None where a side is lost.

    `pose`: of these corners, where it is known already, at any scale of the picture.
    """
    if reach <= REACH_OF_FIT_PX:
        met = _fitted(photo, corners, settings, sample, pose)
        if met is not None:
            return met
    moved = rough_sides(sample, corners, reach)
    return None if moved is None else _fitted(photo, in_order(moved[0]), settings, sample)


def _fitted(
    photo: Photo, corners: Array, settings: Settings, sample: Sampler, pose: Pose | None = None
) -> tuple[Array, tuple[Side, ...]] | None:
    pose = pose or fit_pose(corners, settings.card_size_mm, (photo.width, photo.height), photo.focal_35mm, 0.5)
    lengths = np.hypot(*(np.roll(corners, -1, 0) - corners).T)
    scales = lengths / np.hypot(*(np.roll(pose.plane_mm, -1, 0) - pose.plane_mm).T)
    bands = [face_width_px(pose, i, settings.card_thickness_mm, float(scales[i])) for i in range(4)]
    four = strips(sample, corners, float(min(TIP_MM * scales.mean(), 0.3 * lengths.min())))
    sides = None if four is None else fit_sides(four, corners, bands)
    if sides is None:
        return None
    met = corners_of(sides)
    return None if met is None else (met, tuple(sides))


def judge(photo: Photo, reduced: np.ndarray, shrink: int, corners: Array, sides: tuple[Side, ...], settings: Settings
) -> Candidate | None:  # fmt: skip
    """The final word on a quadrilateral whose sides were found at full resolution."""
    u_side = np.array([math.hypot(U_SHADOW_PX if s.bright_ground else U_EDGE_PX, 2 * s.u_px) for s in sides])
    outward = np.array([s.bright_ground for s in sides])
    picture = (photo.width, photo.height)
    size, focal = settings.card_size_mm, photo.focal_35mm
    free = fit_pose(corners, size, picture, focal, np.maximum(u_side, 0.25), free_aspect=True)
    u_turn = np.array([math.hypot(U_EDGE_PX, 2 * s.u_px) for s in sides])
    pose = fit_pose(corners, size, picture, focal, u_side, outward=outward, u_turn_px=u_turn)
    scale = float(np.sqrt(_area(corners) / (settings.card_size_mm[0] * settings.card_size_mm[1])))
    patch = read_patch(reduced, (corners + 0.5) / shrink - 0.5, max(1.5 * scale / shrink, 1.5))
    if patch is None:
        return None
    refusal = shape_refusal(free, 0.013)
    supports = [s.support for s in sides]
    if refusal is None and (min(supports) < 0.4 or np.mean(supports) < 0.65):
        refusal = "its sides are not clear all along"
    if refusal is None and max(s.residual_px for s in sides) > max(1.0, 0.15 * scale):
        refusal = "its sides are not straight"
    if refusal is None and _off_frame(corners, photo):
        refusal = "one of its corners lies outside the photo"
    refusal = refusal or light_refusal(patch, settings.card_reflectance)
    if refusal is None and patch.shade > 0 and not _ground_is_shaded_too(reduced, shrink, corners, patch):
        refusal = "it is not evenly grey"
    if refusal is None and is_walled(reduced, (corners + 0.5) / shrink - 0.5, scale / shrink):
        refusal = "it is the floor of a compartment"
    cost = light_cost(patch, settings.card_reflectance) + (free.aspect_error / max(0.006, free.u_aspect)) ** 2
    return Candidate(
        pose.corners_px, sides, pose, patch, cost, refusal, _covered(reduced, shrink, corners, scale, patch)
    )


def _covered(reduced: np.ndarray, shrink: int, corners: Array, px_per_mm: float, patch: Patch) -> int:
    """How many corners look otherwise than the card does, on the card by its sides and beyond the roundness of tips."""
    own = (corners + 0.5) / shrink - 0.5
    to = [(np.roll(own, k, 0) - own) for k in (1, -1)]
    inwards = sum(d / np.hypot(*d.T)[:, None] for d in to)
    seen = np.mean([sampler(reduced)(own + r * px_per_mm / shrink * inwards) for r in CORNER_MM], 0)
    card = np.log(np.maximum(patch.mean, 1e-4))
    off = np.log(np.maximum(seen, 1e-4)) - card
    hue = np.abs(off - off[:, [1]]).max(1)
    light, slack = off @ LUMINANCE, patch.range + patch.shade
    return int(((hue > OTHER_HUE) | (light > OTHER_LIGHT[0] + slack) | (light < -OTHER_LIGHT[1] - slack)).sum())


def _ground_is_shaded_too(reduced: np.ndarray, shrink: int, corners: Array, patch: Patch) -> bool:
    """Whether the ground beside the card's sides steps from light to shadow where the card does; a small part that
    reaches no side is taken for something on the card."""
    sample = sampler(reduced)
    inside: list[Array] = []
    outside: list[Array] = []
    own = (corners + 0.5) / shrink - 0.5
    t = np.linspace(0.08, 0.92, 15)[:, None]
    for a, b in zip(own, np.roll(own, -1, 0), strict=True):
        along = (b - a) / np.hypot(*(b - a))
        out = np.array([along[1], -along[0]])
        for found, places in ((inside, (-6.0, -5.0, -4.0)), (outside, (5.0, 6.0, 7.0, 8.0))):
            light = np.mean([sample(a + t * (b - a) + p * out) @ LUMINANCE for p in places], 0)
            found.append(np.log(np.maximum(light, 1e-4)))
    card, ground = np.concatenate(inside), np.concatenate(outside)
    seen = np.isfinite(card) & np.isfinite(ground)
    middle = (float(np.quantile(card[seen], 0.02)) + float(np.quantile(card[seen], 0.98))) / 2
    dark = card < middle
    if float(np.ptp(card[seen])) < patch.shade / 2 or min((seen & dark).sum(), (seen & ~dark).sum()) < 4:
        return patch.shaded < MOSTLY_LIT
    step = float(np.median(ground[seen & ~dark]) - np.median(ground[seen & dark]))
    return FOLLOWS[0] * patch.shade < step < FOLLOWS[1] * patch.shade


def _area(corners: Array) -> float:
    x, y = corners.T
    return float(abs((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()) / 2)


def _off_frame(corners: Array, photo: Photo) -> bool:
    x, y = corners.T
    return bool(x.min() < 0 or y.min() < 0 or x.max() > photo.width - 1 or y.max() > photo.height - 1)
