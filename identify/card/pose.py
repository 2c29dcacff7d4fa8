"""The card's pose: corners in order, the camera's place, and the homography to millimetres.

The camera is a pinhole with its principal point at the picture's centre (Hartley and Zisserman, Multiple View Geometry,
chapter 8).  Four corners give eight figures; pose and focal length are seven unknowns.  They are found together by
Gauss-Newton with a prior on the focal length: narrow when the photo states it, broad when it does not, so that a tilted
card then tells the focal length itself as far as it can.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike

from identify.geometry import Array, polygon_area

DIAGONAL_35MM = 43.27
"""Diagonal of a 36 × 24 mm frame: focal lengths "35 mm equivalent" refer to it."""
U_STATED_FOCAL = 0.02
"""Relative: EXIF rounds to whole millimetres and phones breathe while focusing."""
TYPICAL_F35 = 32.0
U_TYPICAL_FOCAL = 0.40
"""Without a stated focal length: phones run from 23 mm (main camera) to 77 mm (telephoto)."""
U_ASPECT = 0.3


@dataclass(frozen=True, eq=False)
class Pose:
    """A rectangle of known size seen by a camera.

    `plane_mm` (4, 2): its corners in the card frame, in the order of the corners given.  `to_plane` (3, 3): pixels to
    the card frame.  `camera_mm` (3,): z at right angles to the plane, towards the camera.  `u_camera_mm`, `u_focal`
    (relative) and `u_aspect` are standard uncertainties.  `aspect_error`: natural logarithm of the aspect seen over the
    aspect told.  `misfit_px`: root mean square of what the pose leaves of the corners.
    """

    plane_mm: Array
    to_plane: Array
    camera_mm: Array
    u_camera_mm: Array
    tilt_deg: float
    focal_px: float
    u_focal: float
    aspect_error: float
    u_aspect: float
    misfit_px: float


def focal_px(focal_35mm: float, width: int, height: int) -> float:
    """Focal length in pixels from a 35 mm equivalent one."""
    return focal_35mm * float(np.hypot(width, height)) / DIAGONAL_35MM


def in_order(corners_px: ArrayLike) -> Array:
    """Four corners clockwise as seen (y down), the first nearest the picture's top left."""
    pts = np.asarray(corners_px, float)
    middle = pts.mean(0)
    pts = pts[np.argsort(np.arctan2(*(pts - middle).T[::-1]))]
    if polygon_area(pts) < 0:  # y points down, so clockwise as seen is positive
        pts = pts[::-1]
    return np.roll(pts, -int(np.argmin((pts**2).sum(1))), axis=0)


def plane_corners(corners_px: ArrayLike, size_mm: tuple[float, float]) -> Array:
    """The card frame's coordinates of four ordered corners: the longer pair of sides is the card's longer side."""
    pts = np.asarray(corners_px, float)
    side = np.hypot(*(np.roll(pts, -1, 0) - pts).T)
    long, short = max(size_mm), min(size_mm)
    w, h = (long, short) if side[0] + side[2] >= side[1] + side[3] else (short, long)
    return np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2


def _model(params: Array, plane: Array, centre: Array) -> tuple[Array, Array]:
    """Homography (3, 3) plane to pixels and rotation for params rvec, t, ln f, ln aspect."""
    rotation, _ = cv2.Rodrigues(params[:3])
    f = np.exp(params[6])
    k = np.array([[f, 0, centre[0]], [0, f, centre[1]], [0, 0, 1.0]])
    h = k @ np.column_stack([rotation[:, 0], rotation[:, 1], params[3:6]])
    return h, np.asarray(rotation, float)


def _project(params: Array, plane: Array, centre: Array) -> Array:
    h, _ = _model(params, plane, centre)
    stretch = np.exp(params[7] / 2)
    q = np.column_stack([plane[:, 0] * stretch, plane[:, 1] / stretch, np.ones(len(plane))]) @ h.T
    flat: Array = q[:, :2] / q[:, 2:]
    return flat


def _start(corners: Array, plane: Array, centre: Array, f: float) -> Array:
    """Pose straight from the homography for a given focal length."""
    h = np.asarray(cv2.getPerspectiveTransform(plane.astype(np.float32), (corners - centre).astype(np.float32)), float)
    m = np.diag([1 / f, 1 / f, 1.0]) @ h
    m *= 2 / (np.linalg.norm(m[:, 0]) + np.linalg.norm(m[:, 1])) * (1 if m[2, 2] > 0 else -1)
    u, _, vt = np.linalg.svd(np.column_stack([m[:, 0], m[:, 1], np.cross(m[:, 0], m[:, 1])]))
    rvec, _ = cv2.Rodrigues(u @ vt)
    return np.concatenate([rvec.ravel(), m[:, 2], [np.log(f), 0.0]])


def _camera(params: Array) -> Array:
    rotation, _ = cv2.Rodrigues(params[:3])
    c: Array = -np.asarray(rotation, float).T @ params[3:6]
    c[2] = -c[2]  # the rotation's frame has z away from the camera
    return c


def _jacobian(f: object, params: Array) -> Array:
    columns = []
    for i, p in enumerate(params):
        step = np.zeros_like(params)
        step[i] = 1e-5 * max(1.0, abs(p))
        columns.append((f(params + step) - f(params - step)) / (2 * step[i]))  # type: ignore[operator]
    return np.column_stack(columns)


def fit_pose(
    corners_px: ArrayLike,
    size_mm: tuple[float, float],
    picture: tuple[int, int],
    focal_35mm: float | None,
    u_px: float,
    free_aspect: bool = False,
) -> Pose:
    """Pose of a rectangle from its ordered corners (4, 2), each known to `u_px` in x and y.

    `picture`: width and height.  With `free_aspect` the rectangle's aspect is estimated too, to be judged.
    """
    corners = np.asarray(corners_px, float)
    plane = plane_corners(corners, size_mm)
    centre = np.array([(picture[0] - 1) / 2, (picture[1] - 1) / 2])
    f0 = focal_px(focal_35mm or TYPICAL_F35, *picture)
    u_lnf = U_STATED_FOCAL if focal_35mm else U_TYPICAL_FOCAL
    u_prior = np.array([u_lnf, U_ASPECT if free_aspect else 1e-6])
    prior = np.array([np.log(f0), 0.0])

    def residual(p: Array) -> Array:
        return np.concatenate([(_project(p, plane, centre) - corners).ravel() / u_px, (p[6:] - prior) / u_prior])

    params = _start(corners, plane, centre, f0)
    damping, r = 1e-6, residual(params)
    for _ in range(25):
        j = _jacobian(residual, params)
        normal = j.T @ j
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -j.T @ r)
        new = residual(params + step)
        if new @ new <= r @ r:
            small = r @ r - new @ new < 1e-6 * (1 + r @ r)
            params, r, damping = params + step, new, max(damping / 10, 1e-9)
            if small:
                break
        else:
            damping = max(damping * 20, 1e-6)
            if damping > 1e6:
                break
    j = _jacobian(residual, params)
    cov = np.linalg.pinv(j.T @ j)
    jc = _jacobian(_camera, params)
    h, rotation = _model(params, plane, centre)
    to_plane = np.linalg.inv(h)
    tilt = float(np.degrees(np.arccos(np.clip(abs(rotation[2, 2]), 0, 1))))
    return Pose(
        plane_mm=plane,
        to_plane=to_plane / to_plane[2, 2],
        camera_mm=_camera(params),
        u_camera_mm=np.sqrt(np.maximum(np.diag(jc @ cov @ jc.T), 0)),
        tilt_deg=tilt,
        focal_px=float(np.exp(params[6])),
        u_focal=float(np.sqrt(cov[6, 6])),
        aspect_error=float(-params[7] if plane[1, 0] < plane[2, 1] else params[7]),
        u_aspect=float(np.sqrt(cov[7, 7])),
        misfit_px=float(np.sqrt(np.mean((r[:8] * u_px) ** 2))),
    )
