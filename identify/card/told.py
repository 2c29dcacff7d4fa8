"""A card whose corners a person told."""

from __future__ import annotations

import cv2
import numpy as np

from identify.card.judge import Candidate, judge, refine
from identify.card.light import read_patch
from identify.card.pose import fit_pose, in_order
from identify.card.strips import sample_photo
from identify.errors import BadOption
from identify.geometry import Array
from identify.photo import Photo
from identify.settings import Point, Settings

U_TOLD_PX = 2.0
"""How well a person points at a corner, in pixels of a picture of 1000 on its longer side."""
LONG_SIDE = 1000


def told_card(photo: Photo, settings: Settings, corners_px: tuple[Point, Point, Point, Point]) -> Candidate:
    """The card from told corners in any order: its sides to a fraction of a pixel where they are found nearby, the
    corners as told, with a larger uncertainty, where not.

    Raises BadOption when the points are no convex quadrilateral of a sensible size.
    """
    corners = in_order(corners_px)
    if len(np.unique(corners, axis=0)) < 4 or not _is_convex(corners):
        raise BadOption("The card's corners told with --card are no four-sided figure.",
                        "Give the four corners in pixels, in any order: X,Y,X,Y,X,Y,X,Y.")  # fmt: skip
    reduced, shrink = photo.reduced(LONG_SIDE)
    near = max(U_TOLD_PX * shrink, 2.0)
    fine = refine(photo, corners, settings, sample_photo(photo), 3 * near + 3)
    if fine is not None and np.hypot(*(fine[0] - corners).T).max() < 4 * near + 4:
        seen = judge(photo, reduced, shrink, *fine, settings)
        if seen is not None and seen.pose.misfit_px < 2 * near:
            return seen
    pose = fit_pose(corners, settings.card_size_mm, (photo.width, photo.height), photo.focal_35mm, near)
    patch = read_patch(reduced, (corners + 0.5) / shrink - 0.5, 2.0)
    if patch is None:
        raise BadOption("The card told with --card is too small to be read, or lies outside the photo.",
                        "Give its four corners in pixels of the photo as it is displayed.")  # fmt: skip
    return Candidate(corners, (), pose, patch, 0.0, "its sides were not found where the corners were told")


def _is_convex(corners: Array) -> bool:
    area = cv2.contourArea(corners.astype(np.float32))
    return bool(area > 100 and cv2.isContourConvex(corners.astype(np.float32).reshape(-1, 1, 2)))
