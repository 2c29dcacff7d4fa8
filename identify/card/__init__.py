"""The grey card: finding it, and what it makes known about scale, camera and light.

`find` is the stage's one function.  What a person tells goes first: corners, or that there is no card.  Otherwise the
card is looked for, and "no card" is said rather than a doubtful one taken.  A line of known length gives the scale
where there is no card; beside a card it is a check: when both agree within 3 % the card's scale stays, which is the
better one, else the person is believed and the card's picture is scaled to the line, with a warning.
"""

from __future__ import annotations

import numpy as np

from identify.calibration import Calibration
from identify.card.calibrate import from_card, from_line, rescaled, without_card
from identify.card.judge import Candidate
from identify.card.search import look_for_card
from identify.card.told import told_card
from identify.errors import BadOption
from identify.photo import Photo
from identify.settings import Settings

__all__ = ["find"]

SMALLEST_MM, LARGEST_MM, NARROWEST = 10.0, 1000.0, 4.0
"""Sides that a card may have, and how much longer the one may be than the other."""


def find(photo: Photo, settings: Settings) -> Calibration:
    """What the card in the photo, or what a person told instead of it, makes known.

    A photo without a card raises nothing: the result has no scale and says why.  Raises BadOption for told corners or a
    told line that can't be, and for a card size or reflectance that makes no sense.
    """
    _check(photo, settings)
    card: Candidate | None = None
    why_not = "you said that there is no card"
    doubtful = False
    if settings.card_corners_px is not None:
        card = told_card(photo, settings, settings.card_corners_px)
    elif not settings.no_card:
        result = look_for_card(photo, settings)
        card, why_not, doubtful = result.found, result.why_not, len(result.accepted) > 1
    line = settings.scale_line
    if card is None:
        return from_line(photo, settings, line, why_not) if line else without_card(photo, settings, why_not, doubtful)
    calibration = from_card(photo, settings, card)
    return rescaled(calibration, line) if line else calibration


def _check(photo: Photo, settings: Settings) -> None:
    if not (min(settings.card_size_mm) >= SMALLEST_MM and max(settings.card_size_mm) <= LARGEST_MM):
        raise BadOption(f"A card of {settings.card_size_mm[0]:g} × {settings.card_size_mm[1]:g} mm is not possible.",
                        f"Give --card-size WxH in millimetres, each from {SMALLEST_MM:g} to {LARGEST_MM:g}, such as "
                        "85.60x53.98.")  # fmt: skip
    if max(settings.card_size_mm) > NARROWEST * min(settings.card_size_mm):
        raise BadOption(f"A card of {settings.card_size_mm[0]:g} × {settings.card_size_mm[1]:g} mm is too narrow to "
                        "tell tilt and scale from.", "Use one that is at most four times as long as wide.")  # fmt: skip
    if not 0 < settings.card_reflectance <= 1:
        raise BadOption(f"A reflectance of {settings.card_reflectance:g} can't be.",
                        "Give --card-reflectance as a share of 1, such as 0.18.")  # fmt: skip
    line = settings.scale_line
    if line is not None:
        length = float(np.hypot(line.end_px[0] - line.start_px[0], line.end_px[1] - line.start_px[1]))
        if not (line.length_mm > 0 and length >= 5):
            raise BadOption("The line told with --scale has no length.",
                            "Give two points some way apart and their distance: X1,Y1,X2,Y2,MM.")  # fmt: skip
