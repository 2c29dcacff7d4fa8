"""What sticks out of a rough mask is cut off, the body's own ends are not."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from identify.body.lobes import ground_share, without_lobes
from identify.geometry import Array, max_feret, polygon_area

SHAPE = (240, 420)
AREA = np.pi * 150 * 40


def contour_of(mask: NDArray[np.uint8]) -> Array:
    found, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    points = max(found, key=cv2.contourArea)[:, 0].astype(float)
    return points if polygon_area(points) > 0 else points[::-1]


def body() -> NDArray[np.uint8]:
    mask = np.zeros(SHAPE, np.uint8)
    cv2.ellipse(mask, (210, 140), (150, 40), 0, 0, 360, 1, -1)
    return mask


def test_plain_body_is_left_as_it_is() -> None:
    points = contour_of(body())
    assert without_lobes(points, lambda _: 0.0) is points


def test_ring_at_the_end_is_cut_off() -> None:
    mask = body()
    cv2.circle(mask, (368, 140), 10, 1, -1)
    a, b = max_feret(without_lobes(contour_of(mask), lambda _: 0.0))
    assert np.hypot(*(b - a)) == pytest.approx(300, abs=4)


@pytest.mark.parametrize(("share", "cut"), [(0.8, True), (0.2, False)])
def test_large_lobe_goes_only_where_it_looks_like_ground(share: float, cut: bool) -> None:
    mask = body()
    cv2.ellipse(mask, (210, 85), (26, 34), 0, 0, 360, 1, -1)
    area = polygon_area(without_lobes(contour_of(mask), lambda _: share))
    assert (area < 1.02 * AREA) == cut


def test_head_beyond_two_rings_stays() -> None:
    mask = body()
    for y in (96, 184):
        cv2.circle(mask, (130, y + (8 if y < 140 else -8)), 10, 1, -1)
    a, b = max_feret(without_lobes(contour_of(mask), lambda _: 1.0))
    assert np.hypot(*(b - a)) > 296


def test_shadow_looks_like_ground_and_paint_does_not() -> None:
    ground = np.full((30, 30, 3), (0.5, 0.4, 0.3), np.float32)
    shown = ground.copy()
    shown[:10] *= 0.4
    shown[20:] *= np.array([0.4, 0.6, 0.9], np.float32)
    for rows, share in ((0, 1.0), (10, 1.0), (20, 0.0)):
        square = np.array([[5, rows + 1], [25, rows + 1], [25, rows + 8], [5, rows + 8]], float)
        assert ground_share(square, shown, ground) == share


def test_ring_run_together_with_a_tail_is_cut_off_as_a_bulb() -> None:
    mask = np.zeros(SHAPE, np.uint8)
    cv2.fillPoly(mask, [np.array([[60, 80], [200, 60], [360, 118], [360, 122], [200, 180], [60, 160]])], 1)
    cv2.circle(mask, (366, 120), 13, 1, -1)
    soft = (cv2.GaussianBlur(mask * np.uint8(255), (0, 0), 5) > 127).astype(np.uint8)
    points = contour_of(soft)
    assert points[:, 0].max() > 376
    assert 330 < without_lobes(points, lambda _: 0.0)[:, 0].max() < 362
