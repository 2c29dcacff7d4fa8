"""What sticks out of a rough mask is cut off, the body's own ends are not."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from identify.body.lobes import looks_like_ground, without_lobes
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
    assert without_lobes(points, np.zeros(SHAPE, bool)) is points


def test_ring_at_the_end_is_cut_off() -> None:
    mask = body()
    cv2.circle(mask, (368, 140), 10, 1, -1)
    a, b = max_feret(without_lobes(contour_of(mask), np.zeros(SHAPE, bool)))
    assert np.hypot(*(b - a)) == pytest.approx(300, abs=4)


@pytest.mark.parametrize(("like_ground", "cut"), [(True, True), (False, False)])
def test_large_lobe_goes_only_where_it_looks_like_ground(like_ground: bool, cut: bool) -> None:
    mask = body()
    cv2.ellipse(mask, (210, 85), (26, 34), 0, 0, 360, 1, -1)
    area = polygon_area(without_lobes(contour_of(mask), np.full(SHAPE, like_ground)))
    assert (area < 1.02 * AREA) == cut


def test_head_beyond_two_rings_stays() -> None:
    mask = body()
    for y in (96, 184):
        cv2.circle(mask, (130, y + (8 if y < 140 else -8)), 10, 1, -1)
    a, b = max_feret(without_lobes(contour_of(mask), np.ones(SHAPE, bool)))
    assert np.hypot(*(b - a)) > 296


def test_shadow_looks_like_ground_and_paint_does_not() -> None:
    ground = np.full((1, 3, 3), (0.5, 0.4, 0.3), np.float32)
    shown = ground * np.array([[[1.0, 1, 1], [0.4, 0.4, 0.4], [0.4, 0.6, 0.9]]], np.float32)
    assert looks_like_ground(shown, ground).tolist() == [[True, True, False]]
