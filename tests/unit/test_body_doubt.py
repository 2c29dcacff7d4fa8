"""What ends softly is said to be doubtful, where it does and no further."""

from __future__ import annotations

import numpy as np

from identify.body.doubt import ENDS, extents

T = np.linspace(0, 2 * np.pi, 360, endpoint=False)
OUTLINE = np.column_stack([200 * np.cos(T), 50 * np.sin(T)])
SHARP = np.full(360, 1.0)


def test_a_soft_end_makes_the_length_doubtful_and_leaves_the_depth() -> None:
    plain = extents(OUTLINE, SHARP)
    soft = np.where(OUTLINE[:, 0] > 150, 5.0, 1.0)
    ends, flanks = extents(OUTLINE, soft)
    assert ends > 2 * plain[0]
    assert flanks == plain[1]


def test_a_soft_flank_makes_the_depth_doubtful_and_leaves_the_length() -> None:
    plain = extents(OUTLINE, SHARP)
    soft = np.where(np.abs(OUTLINE[:, 0]) < 140, 5.0, 1.0)
    ends, flanks = extents(OUTLINE, soft)
    assert ends == plain[0]
    assert flanks > 2 * plain[1]


def test_no_edge_is_known_to_less_than_a_part_of_a_pixel() -> None:
    assert extents(OUTLINE, np.zeros(360))[0] == ENDS.least
