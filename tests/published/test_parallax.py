"""Parallax against pinhole geometry worked by hand (similar triangles; no published source).

A camera 400 mm above the card sees a bait's mid plane, 8 mm above the card, at 392 mm: what lies there looks 400 / 392
times as large as the card's scale says, 2.04 % too long.
"""

from __future__ import annotations

import numpy as np
import pytest

from identify.calibration import Calibration, Camera
from identify.card.pose import fit_pose, focal_px
from identify.records import Card, Scale

F35, PICTURE, DISTANCE, HEIGHT = 26.0, (2000, 1500), 400.0, 8.0


def calibration(to_plane: np.ndarray, camera: tuple[float, float, float]) -> Calibration:  # type: ignore[type-arg]
    a, b, c = (tuple(float(v) for v in row) for row in to_plane)
    card = Card(True, None, None, None, camera[2], None, None, None)
    return Calibration(
        card, Scale("card", None, None), (a, b, c), Camera(camera, (1, 1, 1)), 0.001, 0.76, (1, 1, 1), 1, True, 0.02  # type: ignore[arg-type]
    )  # fmt: skip


def test_focal_length_in_pixels() -> None:
    # 2000 × 1500 has a diagonal of 2500 pixels, which 43.27 mm stand for
    assert focal_px(F35, *PICTURE) == pytest.approx(26 * 2500 / 43.27)


def test_raised_length_straight_below_the_camera() -> None:
    f = focal_px(F35, *PICTURE)
    middle = np.array([999.5, 749.5])
    # 70 mm long, 8 mm above the card: similar triangles
    half = 35 * f / (DISTANCE - HEIGHT)
    ends = middle + np.array([[-half, 0], [half, 0]])
    scale = f / DISTANCE
    flat = np.array([[1 / scale, 0, -middle[0] / scale], [0, 1 / scale, -middle[1] / scale], [0, 0, 1]])
    cal = calibration(flat, (0, 0, DISTANCE))
    assert np.ptp(cal.to_mm(ends)[:, 0]) == pytest.approx(70 * 400 / 392)
    assert np.ptp(cal.to_mm(ends, HEIGHT)[:, 0]) == pytest.approx(70)
    assert cal.px_per_mm_at(middle, HEIGHT) == pytest.approx(f / 392)


@pytest.mark.parametrize("tilt", [0.0, 12.0, 20.0])
@pytest.mark.parametrize("at", [(0.0, 0.0), (90.0, 40.0)])
def test_off_the_axis_and_tilted_the_same_factor_holds(tilt: float, at: tuple[float, float]) -> None:
    """The factor is 1 - h / Z with Z the perpendicular height of the camera, wherever the bait lies."""
    f = focal_px(F35, *PICTURE)
    t = np.radians(tilt)
    rotation = np.array([[1, 0, 0], [0, np.cos(t), -np.sin(t)], [0, np.sin(t), np.cos(t)]])  # z away from the camera
    shift = np.array([10.0, -5.0, DISTANCE])
    k = np.array([[f, 0, 999.5], [0, f, 749.5], [0, 0, 1]])

    def seen(points: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
        q = (points @ rotation.T + shift) @ k.T
        return np.asarray(q[:, :2] / q[:, 2:])

    corners = seen(np.array([[-42.8, -26.99, 0], [42.8, -26.99, 0], [42.8, 26.99, 0], [-42.8, 26.99, 0]]))
    pose = fit_pose(corners, (85.60, 53.98), PICTURE, F35, 0.2)
    camera = -rotation.T @ shift
    assert pose.camera_mm == pytest.approx([camera[0], camera[1], -camera[2]], rel=1e-4, abs=0.02)
    assert pose.tilt_deg == pytest.approx(tilt, abs=0.01)
    cal = calibration(pose.to_plane, tuple(pose.camera_mm))  # type: ignore[arg-type]
    ends = np.array([[at[0] - 30, at[1], -HEIGHT], [at[0] + 30, at[1] + 20, -HEIGHT]])  # above: nearer, so z < 0
    raised = cal.to_mm(seen(ends), HEIGHT)
    assert raised == pytest.approx(ends[:, :2], abs=0.02)
    flat = cal.to_mm(seen(ends))
    factor = 1 - HEIGHT / pose.camera_mm[2]
    assert np.hypot(*(flat[1] - flat[0])) * factor == pytest.approx(np.hypot(60, 20), rel=1e-4)
    assert cal.to_px(raised, HEIGHT) == pytest.approx(seen(ends), abs=0.05)
