"""ISO/IEC 7810:2019, ID-1: 85.60 mm × 53.98 mm (85.47 to 85.72 by 53.92 to 54.03), corner radius 2.88 mm to 3.48 mm.
Figures from memory of the standard."""

from __future__ import annotations

import numpy as np
import pytest

from identify.card import find
from identify.card.calibrate import U_CARD_SIZE
from identify.card.judge import TIP_MM
from identify.settings import ID1_MM, Settings
from tests.unit.card_scenes import corner_error, scene


def test_default_size_is_that_of_the_standard() -> None:
    assert ID1_MM == (85.60, 53.98)
    assert Settings().card_size_mm == (85.60, 53.98)


def test_uncertainty_covers_the_tolerances() -> None:
    # a rectangular distribution over the tolerance has a standard deviation of its half width over the root of three
    width = (85.72 - 85.47) / 2 / np.sqrt(3) / 85.60
    height = (54.03 - 53.92) / 2 / np.sqrt(3) / 53.98
    assert min(width, height) * 0.95 < U_CARD_SIZE < max(width, height) * 1.05


def test_sides_are_read_beyond_the_rounded_tips() -> None:
    assert TIP_MM > 3.48


@pytest.mark.parametrize("radius", [0.0, 2.88, 3.18, 3.48])
def test_rounded_corners_do_not_shift_the_corners(radius: float) -> None:
    made = scene(radius_mm=radius, px_per_mm=5.0)
    found = find(made.photo, Settings())
    assert corner_error(np.array(found.card.corners_px), made.corners_px) < 0.3
