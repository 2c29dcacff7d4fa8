"""From an accepted card, a told line, or neither, to the photo's Calibration."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from identify.calibration import SHEET_MM, Calibration, Camera, Lens, Matrix3
from identify.card.judge import Candidate
from identify.card.lens import lens_of
from identify.card.light import Patch
from identify.card.pose import TYPICAL_F35, U_STATED_FOCAL, U_TYPICAL_FOCAL, focal_px
from identify.geometry import Array
from identify.photo import Photo
from identify.records import WARNINGS, Card, Notice, Scale
from identify.settings import ScaleLine, Settings
from identify.stages import as_polygon

STEEP_DEG = 15.0
UNEVEN = 0.18
"""Logarithm of luminance by which light may run over the card before it is worth saying."""
THINGS = 0.05
"""Share of a card that differs from the rest, from which it is worth saying; on a large one baits lie."""
CLIPPED = 0.3
"""Relative: how much brighter a card at the end of the camera's range may have been."""
SMALL_PX = 250.0
U_CARD_SIZE = 0.0006
"""Relative: ISO/IEC 7810 lets an ID-1 card differ by 0.14 % in width and 0.1 % in height from its middle values."""
U_LINE_PX = 1.5
U_UNTILTED = 0.02
"""A line tells no tilt: 10° of it, unseen, changes a length by up to 1.5 %, and scale over the picture by more."""
AGREE = 0.03


def as_matrix(matrix: Array) -> Matrix3:
    """A 3 × 3 array as tuples."""
    a, b, c = ((float(r[0]), float(r[1]), float(r[2])) for r in matrix)
    return (a, b, c)


def without_card(photo: Photo, settings: Settings, why_not: str, doubtful: bool = False) -> Calibration:
    """No scale and no true colour, and why."""
    card = Card(False, None, None, None, None, None, None, why_not)
    notices = [Notice("no-card", f"No grey card: {why_not}.")]
    if doubtful:
        notices.append(Notice("card-doubtful", "More than one thing in the photo could be the grey card."))
    return Calibration(
        card, Scale("none", None, None), None, None, 0.0, settings.card_thickness_mm, (1.0, 1.0, 1.0), 1.0, False, 1.0,
        tuple(notices),
    )  # fmt: skip


def from_card(photo: Photo, settings: Settings, found: Candidate) -> Calibration:
    """Everything that the card makes known."""
    pose, patch = found.pose, found.patch
    mean = np.maximum(patch.mean, 1e-4)
    gains = (float(mean[1] / mean[0]), 1.0, float(mean[1] / mean[2]))
    u_scale = scale_u(found)
    x, y, z = (float(v) for v in pose.camera_mm)
    ux, uy, uz = (float(v) for v in pose.u_camera_mm)
    corners = as_polygon(found.corners)
    lens = lens_of(photo, found.sides, list(zip(corners, corners[1:] + corners[:1], strict=True)))
    draft = Calibration(
        card=Card(False, None, None, None, None, None, None, None),
        scale=Scale("card", None, None),
        to_plane=as_matrix(pose.to_plane),
        camera=Camera((x, y, z), (ux, uy, uz)),
        scale_u=u_scale,
        card_thickness_mm=settings.card_thickness_mm,
        gains=gains,
        exposure=float(settings.card_reflectance / mean[1]),
        colour_from_card=True,
        u_exposure=_u_exposure(patch),
        warnings=_warnings(photo, found, lens),
        lens=lens,
    )
    centre = draft.to_px([[0.0, 0.0]])[0]
    scale = draft.px_per_mm_at(centre)
    ev = math.log2(max(patch.luminance, 1e-5) / settings.card_reflectance)
    card = Card(True, corners, scale, pose.tilt_deg, z, ev, gains, None)
    return replace(draft, card=card, scale=Scale("card", scale, scale * u_scale))


def _u_exposure(patch: Patch) -> float:
    """Noise of the mean, what clipping hides, and a quarter of what the light changes over the card: the bait lies
    beside it; half of what changes where part of the card lies in shadow, since the bait may lie in either light."""
    noise = patch.rough / math.sqrt(max(patch.pixels, 1))
    return math.hypot(noise, max(0.01, patch.range / 4), 0.1 * patch.odd, patch.shade / 2, CLIPPED * patch.clipped)


def scale_u(found: Candidate) -> float:
    """Relative standard uncertainty of lengths in the card's plane.

    Sides and pose (see `pose`), what the pose leaves unexplained of the corners, and the card's own tolerance.  What
    the lens does stands apart (see `lens`).
    """
    size = float(np.sqrt(abs(np.prod(np.hypot(*(np.roll(found.corners, -1, 0) - found.corners).T)[:2]))))
    misfit = found.pose.misfit_px / size
    return math.sqrt(found.pose.u_scale**2 + misfit**2 + U_CARD_SIZE**2)


def _warnings(photo: Photo, found: Candidate, lens: Lens) -> tuple[Notice, ...]:
    pose, patch = found.pose, found.patch
    notices = []
    if found.refusal is not None:
        notices.append(Notice("card-doubtful", f"The card was taken as told, though {found.refusal}."))
    if pose.tilt_deg > STEEP_DEG:
        notices.append(
            Notice("card-tilted", f"The card is seen at {pose.tilt_deg:.0f}°; hold the camera more nearly above it.")
        )
    things_on_it = patch.odd > THINGS and np.ptp(pose.plane_mm, axis=0).min() < SHEET_MM
    if patch.range > UNEVEN or things_on_it or patch.shade > 0:
        notices.append(
            Notice("card-uneven", "Light falls unevenly on the card, so colours and brightness are less sure.")
        )
    if patch.clipped > 0.01:
        notices.append(Notice("card-clipped", "Part of the card is too bright or too dark to set colours by."))
    side = float(np.hypot(*(np.roll(found.corners, -1, 0) - found.corners).T).max())
    if side < SMALL_PX:
        notices.append(Notice("card-small", f"The card is only {side:.0f} pixels long; go nearer or crop less."))
    if found.covered:
        notices.append(Notice("card-covered", WARNINGS["card-covered"]))
    if lens.seen:
        notices.append(Notice("lens-distortion", WARNINGS["lens-distortion"]))
    return (*notices, *focal_warnings(photo))


def focal_warnings(photo: Photo) -> tuple[Notice, ...]:
    """What the photo does not say of its lens."""
    if photo.focal_35mm is not None:
        return ()
    if photo.cropped:
        return (
            Notice("cropped", "The photo was cut after it was taken, so how far the camera stood is only guessed."),
        )
    return (
        Notice("no-focal-length", "The photo does not say its focal length, so how far the camera stood is guessed."),
    )


def from_line(photo: Photo, settings: Settings, line: ScaleLine, why_not: str) -> Calibration:
    """A similarity from a line lying on the table: the camera is taken to look straight down at the picture's centre.

    The frame's origin is the line's middle; x and y run as in the picture.  Its plane is the table itself, so
    `card_thickness_mm` is 0.
    """
    start, end = np.asarray(line.start_px, float), np.asarray(line.end_px, float)
    length = float(np.hypot(*(end - start)))
    scale = length / line.length_mm
    middle = (start + end) / 2
    to_plane = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, scale]]) / scale
    u = math.hypot(U_LINE_PX * math.sqrt(2) * max(1.0, max(photo.width, photo.height) / 2000) / length, U_UNTILTED)
    z = focal_px(photo.focal_35mm or TYPICAL_F35, photo.width, photo.height) / scale
    u_z = z * math.hypot(U_STATED_FOCAL if photo.focal_35mm else U_TYPICAL_FOCAL, u)
    foot = (np.array([photo.width - 1, photo.height - 1]) / 2 - middle) / scale
    camera = Camera((float(foot[0]), float(foot[1]), z), (0.1 * z, 0.1 * z, u_z))
    card = Card(False, None, None, None, None, None, None, why_not)
    notices = (
        Notice("no-card", f"No grey card: {why_not}."),
        Notice("scale-line", "The scale is from a line on the table; a tilt of the camera can't be seen from it."),
        *focal_warnings(photo),
    )
    return Calibration(
        card,
        Scale("line", scale, scale * u),
        as_matrix(to_plane),
        camera,
        u,
        0.0,
        (1.0, 1.0, 1.0),
        1.0,
        False,
        1.0,
        notices,
        lens_of(photo, (), [(line.start_px, line.end_px)]),
    )


def rescaled(calibration: Calibration, line: ScaleLine) -> Calibration:
    """A card's calibration beside a told line: kept where they agree within 3 %, else scaled to the line.

    They disagree when the thing taken for the card has another size.  Its plane and its grey still hold.
    """
    ends = calibration.to_mm([line.start_px, line.end_px], -calibration.card_thickness_mm)
    factor = line.length_mm / max(float(np.hypot(*(ends[1] - ends[0]))), 1e-6)
    if abs(math.log(factor)) < AGREE or calibration.to_plane is None or calibration.camera is None:
        return calibration
    length = math.hypot(line.end_px[0] - line.start_px[0], line.end_px[1] - line.start_px[1])
    u = math.hypot(calibration.scale_u, U_LINE_PX * math.sqrt(2) / length)
    x, y, z = (v * factor for v in calibration.camera.at_mm)
    ux, uy, uz = (v * factor for v in calibration.camera.u_mm)
    scale = (calibration.scale.px_per_mm or 0.0) / factor
    notices = (
        Notice("card-doubtful", f"By the line told the card is {factor:.2f} times too large; the line counts."),
        Notice("scale-line", "The scale is from a line on the table, not from the card."),
    )  # fmt: skip
    return replace(
        calibration,
        card=replace(calibration.card, px_per_mm=scale, camera_distance_mm=z),
        scale=Scale("line", scale, scale * u),
        to_plane=as_matrix(np.diag([factor, factor, 1.0]) @ np.asarray(calibration.to_plane)),
        camera=Camera((x, y, z), (ux, uy, uz)),
        scale_u=u,
        warnings=(*calibration.warnings, *notices),
    )
