"""What is seen badly at an end or a flank, or hardly at all, is said so."""

from __future__ import annotations

import numpy as np

from identify.body.doubt import extents

T = np.linspace(0, 2 * np.pi, 360, endpoint=False)
OUTLINE = np.column_stack([200 * np.cos(T), 50 * np.sin(T)])
ALL = np.ones(360, bool)
SHARP = np.full(360, 0.1)


def test_a_soft_end_makes_the_length_doubtful_and_leaves_the_depth() -> None:
    plain = extents(OUTLINE, OUTLINE, ALL, SHARP, 0.4)
    soft = np.where(OUTLINE[:, 0] > 180, 2.5, 0.1)
    ends, flanks = extents(OUTLINE, OUTLINE, ALL, soft, 0.4)
    assert ends > 5 * plain[0]
    assert flanks == plain[1]


def test_a_soft_flank_makes_the_depth_doubtful_and_leaves_the_length() -> None:
    plain = extents(OUTLINE, OUTLINE, ALL, SHARP, 0.4)
    soft = np.where(np.abs(OUTLINE[:, 0]) < 140, 2.5, 0.1)
    ends, flanks = extents(OUTLINE, OUTLINE, ALL, soft, 0.4)
    assert ends == plain[0]
    assert flanks > 2 * plain[1]


def test_an_end_that_lies_off_the_rough_contour_is_doubtful() -> None:
    longer = OUTLINE * np.where(OUTLINE[:, :1] > 0, [1.05, 1.0], [1.0, 1.0])
    assert extents(OUTLINE, longer, ALL, SHARP, 0.4)[0] > 10


def test_an_outline_of_which_most_was_bridged_is_doubtful_all_over() -> None:
    few = np.arange(360) % 10 < 2
    plain, bridged = (extents(OUTLINE, OUTLINE, clear, SHARP, 0.4) for clear in (ALL, few))
    assert bridged[0] > 5 * plain[0]
    assert bridged[1] > 20
