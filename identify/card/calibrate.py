"""From an accepted card, or without one, to the photo's Calibration."""

from __future__ import annotations

import numpy as np

from identify.calibration import Calibration, Camera, Matrix3
from identify.card.judge import Candidate
from identify.geometry import Array
from identify.photo import Photo
from identify.records import Card, Notice, Scale
from identify.settings import Settings
from identify.stages import as_polygon


def without_card(photo: Photo, settings: Settings, why_not: str) -> Calibration:
    """No card: no scale and no true colour."""
    card = Card(False, None, None, None, None, None, None, why_not)
    notice = Notice("no-card", why_not)
    return Calibration(
        card, Scale("none", None, None), None, None, 0.0, settings.card_thickness_mm, (1.0, 1.0, 1.0), 1.0, False, 1.0,
        (notice,),
    )  # fmt: skip


def as_matrix(matrix: Array) -> Matrix3:
    """A 3 × 3 array as tuples."""
    a, b, c = ((float(r[0]), float(r[1]), float(r[2])) for r in matrix)
    return (a, b, c)


def from_card(photo: Photo, settings: Settings, found: Candidate) -> Calibration:
    """Everything that the card makes known."""
    pose, patch = found.pose, found.patch
    mean = np.maximum(patch.mean, 1e-4)
    gains = (float(mean[1] / mean[0]), 1.0, float(mean[1] / mean[2]))
    exposure = float(settings.card_reflectance / mean[1])
    u_scale = scale_u(found, settings)
    at = tuple(float(v) for v in pose.camera_mm)
    u_at = tuple(float(v) for v in pose.u_camera_mm)
    middle = found.corners.mean(0)
    u_exposure = float(np.hypot(patch.rough / np.sqrt(max(patch.pixels, 1)), max(0.01, patch.range / 4)))
    draft = Calibration(
        card=Card(True, as_polygon(found.corners), None, pose.tilt_deg, at[2], None, gains, None),
        scale=Scale("card", None, None),
        to_plane=as_matrix(pose.to_plane),
        camera=Camera(at, u_at),  # type: ignore[arg-type]
        scale_u=u_scale,
        card_thickness_mm=settings.card_thickness_mm,
        gains=gains,
        exposure=exposure,
        colour_from_card=True,
        u_exposure=u_exposure,
    )
    centre = draft.to_px([[0.0, 0.0]])[0]
    px_per_mm = draft.px_per_mm_at(centre)
    ev = float(np.log2(patch.luminance / settings.card_reflectance))
    card = Card(True, as_polygon(found.corners), px_per_mm, pose.tilt_deg, at[2], ev, gains, None)
    return Calibration(**{
        **draft.__dict__, "card": card, "scale": Scale("card", px_per_mm, px_per_mm * u_scale),
    })  # fmt: skip


def scale_u(found: Candidate, settings: Settings) -> float:
    """Relative standard uncertainty of lengths."""
    return 0.001
