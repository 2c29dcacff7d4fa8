"""The card's pose: corners in order, the camera's place, and the homography to millimetres.

The camera is a pinhole with its principal point at the picture's centre (Hartley and Zisserman, Multiple View Geometry,
chapter 8).  Four corners give eight figures; pose and focal length are seven unknowns.  They are found together by
Gauss-Newton with a prior on the focal length: narrow when the photo states it, broad when it does not, so that a tilted
card then tells the focal length itself as far as it can.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

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

    `plane_mm` (4, 2): its corners in the card frame, in the order of the corners given.  `corners_px` (4, 2): where the
    pose puts them.  `to_plane` (3, 3): pixels to the card frame.  `camera_mm` (3,): z at right angles to the plane,
    towards the camera.  `u_camera_mm`, `u_focal` (relative) and `u_aspect` are standard uncertainties; `u_scale`
    (relative) is that of lengths one card away from the card.  `aspect_error`: natural logarithm of the aspect seen
    over the aspect told.  `misfit_px`: root mean square of what the pose leaves of the sides.
    """

    plane_mm: Array
    corners_px: Array
    to_plane: Array
    camera_mm: Array
    u_camera_mm: Array
    u_scale: float
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


_CROSS = np.array([[0, 0, 0, 0, 0, -1, 0, 1, 0], [0, 0, 1, 0, 0, 0, -1, 0, 0], [0, -1, 0, 1, 0, 0, 0, 0, 0]], float)
"""Rows: the matrix of the cross product with each axis, written in one line."""
_UNIT = np.eye(3)


def _rotations(rvec: Array) -> Array:
    """Rotation matrices (m, 3, 3) of rotation vectors (m, 3), by Rodrigues' formula."""
    angle = np.sqrt((rvec * rvec).sum(1, keepdims=True)) + 1e-12
    axis = rvec / angle
    c = np.cos(angle)[:, :, None]
    rotations: Array = (1 - c) * (axis[:, :, None] * axis[:, None])
    rotations += (np.sin(angle) * axis @ _CROSS).reshape(-1, 3, 3)
    rotations += c * _UNIT
    return rotations


def _homographies(params: Array, centre: Array) -> Array:
    """Homographies (m, 3, 3) from plane to pixels for parameters (m, 8): rvec, t, ln f, ln aspect."""
    h = _rotations(params[:, :3])
    h[:, :, 2] = params[:, 3:6]
    h[:, :2] *= np.exp(params[:, 6])[:, None, None]
    h[:, :2] += centre[:, None] * h[:, 2:]
    return h


def _project(params: Array, plane: Array, centre: Array) -> Array:
    """Where corners of the plane (4, 2) are seen (m, 4, 2)."""
    h = _homographies(params, centre)
    stretch = np.exp(params[:, 7, None] / 2)
    x, y = plane[:, 0] * stretch, plane[:, 1] / stretch
    q = h[:, :, 0, None] * x[:, None] + h[:, :, 1, None] * y[:, None] + h[:, :, 2, None]
    flat: Array = (q[:, :2] / q[:, 2:]).transpose(0, 2, 1)
    return flat


def _start(corners: Array, plane: Array, centre: Array, f: float) -> Array:
    """Pose straight from the homography for a given focal length."""
    h = np.asarray(cv2.getPerspectiveTransform(plane.astype(np.float32), (corners - centre).astype(np.float32)), float)
    m = np.diag([1 / f, 1 / f, 1.0]) @ h
    m *= 2 / (np.linalg.norm(m[:, 0]) + np.linalg.norm(m[:, 1])) * (1 if m[2, 2] > 0 else -1)
    u, _, vt = np.linalg.svd(np.column_stack([m[:, 0], m[:, 1], np.cross(m[:, 0], m[:, 1])]))
    rvec, _ = cv2.Rodrigues(u @ vt)
    return np.concatenate([rvec.ravel(), m[:, 2], [np.log(f), 0.0]])


def _cameras(params: Array) -> Array:
    """Where the camera stands (m, 3) in the card frame."""
    c: Array = -np.einsum("mij,mi->mj", _rotations(params[:, :3]), params[:, 3:6])
    c[:, 2] = -c[:, 2]  # the rotation's frame has z away from the camera
    return c


def _jacobian(f: Callable[[Array], Array], params: Array) -> Array:
    """Of a function of parameters (m, 8) that gives (m, n), by central differences: (n, 8)."""
    steps = 1e-5 * np.maximum(1.0, np.abs(params))
    values = f(params + np.concatenate([np.diag(steps), -np.diag(steps)]))
    n = len(params)
    slopes: Array = ((values[:n] - values[n:]) / (2 * steps[:, None])).T
    return slopes


def fit_pose(
    corners_px: ArrayLike,
    size_mm: tuple[float, float],
    picture: tuple[int, int],
    focal_35mm: float | None,
    u_px: float | ArrayLike,
    free_aspect: bool = False,
    outward: NDArray[np.bool_] | None = None,
    u_turn_px: float | ArrayLike | None = None,
) -> Pose:
    """Pose of a rectangle from its ordered corners (4, 2).

    `u_px`: how well the sides' places are known, one figure or one for each of the four (side i runs from corner i to
    i + 1); `u_turn_px`: how well their two ends against each other, as `u_px` if not given.
    `picture`: width and height.  With `free_aspect` the rectangle's aspect is estimated too, to be judged.
    `outward` (4,): sides that may have been seen too far out, where a shadow beside them looks like the card; they
    yield to the others when they are found to stick out (iteratively reweighted least squares).
    """
    corners = np.asarray(corners_px, float)
    plane = plane_corners(corners, size_mm)
    centre = np.array([(picture[0] - 1) / 2, (picture[1] - 1) / 2])
    u_lnf = U_STATED_FOCAL if focal_35mm else U_TYPICAL_FOCAL
    u_prior = np.array([u_lnf, U_ASPECT if free_aspect else 1e-6])
    prior = np.array([np.log(focal_px(focal_35mm or TYPICAL_F35, *picture)), 0.0])
    along = np.roll(corners, -1, 0) - corners
    along /= np.hypot(*along.T)[:, None]
    half_out = np.column_stack([along[:, 1], -along[:, 0]]) / 2
    u_side = np.broadcast_to(np.asarray(u_px, float), (4,)).copy()

    def misfit(p: Array) -> Array:
        """Of each side (m, 4, 2): how far the model lies outside the side seen, and half of what its ends differ in."""
        d = _project(p, plane, centre) - corners
        ends = (np.stack([d, d[:, [1, 2, 3, 0]]]) * half_out).sum(-1)
        return np.stack([ends[0] + ends[1], ends[0] - ends[1]], 2)

    u_turn = u_side if u_turn_px is None else np.broadcast_to(np.asarray(u_turn_px, float), (4,))
    params = _start(corners, plane, centre, float(np.exp(prior[0])))
    weights = np.ones(4)
    jacobian = np.empty((0, 0))
    for _ in range(1 if outward is None or not outward.any() else 5):
        stiff = np.column_stack([np.sqrt(weights) / u_side, 1 / u_turn])

        def residual(p: Array, stiff: Array = stiff) -> Array:
            return np.concatenate([(misfit(p) * stiff).reshape(len(p), 8), (p[:, 6:] - prior) / u_prior], 1)

        params, jacobian = _least_squares(residual, params)
        if outward is not None:
            inside = np.minimum(misfit(params[None])[0, :, 0], 0)
            weights = np.where(outward, 1 / (1 + (inside / (1.5 * u_side)) ** 2) ** 2, 1.0)
    cov = _covariance(jacobian)
    jc = _jacobian(_cameras, params)
    one = params[None]
    to_plane = np.linalg.inv(_homographies(one, centre)[0])
    upright = abs(float(_rotations(one[:, :3])[0, 2, 2]))
    return Pose(
        plane_mm=plane,
        corners_px=_project(one, plane, centre)[0],
        to_plane=to_plane / to_plane[2, 2],
        camera_mm=_cameras(one)[0],
        u_camera_mm=np.sqrt(np.maximum(np.diag(jc @ cov @ jc.T), 0)),
        u_scale=_u_scale(params, cov, plane, centre),
        tilt_deg=float(np.degrees(np.arccos(min(upright, 1.0)))),
        focal_px=float(np.exp(params[6])),
        u_focal=float(np.sqrt(cov[6, 6])),
        aspect_error=float(-params[7] if plane[1, 0] < plane[2, 1] else params[7]),
        u_aspect=float(np.sqrt(cov[7, 7])),
        misfit_px=float(np.sqrt(np.mean(misfit(one) ** 2))),
    )


def _covariance(jacobian: Array) -> Array:
    """Of the parameters; scaled first, since they differ by many powers of ten in what they are known to."""
    size = np.sqrt((jacobian**2).sum(0))
    scaled = jacobian / size
    return np.asarray(np.linalg.inv(scaled.T @ scaled) / np.outer(size, size), float)


def _u_scale(params: Array, cov: Array, plane: Array, centre: Array) -> float:
    """Relative standard uncertainty of lengths in the plane, one card's length away from its centre."""
    length = float(np.ptp(plane[:, 0]) + np.ptp(plane[:, 1])) / 2
    places = np.array([[length, 0, 1], [-length, 0, 1], [0, length, 1], [0, -length, 1]])

    def scale(p: Array) -> Array:
        h = _homographies(p, centre)
        # the area of a small patch goes as the determinant over the cube of the depth
        return np.asarray(0.5 * np.log(np.abs(np.linalg.det(h))[:, None] / np.abs(h[:, 2] @ places.T) ** 3))

    j = _jacobian(scale, params)
    return float(np.sqrt(np.mean(np.diag(j @ cov @ j.T))))


def _least_squares(residual: Callable[[Array], Array], params: Array) -> tuple[Array, Array]:
    """Levenberg-Marquardt from a good start; the solution and its Jacobian."""
    damping, r = 1e-6, residual(params[None])[0]
    j = _jacobian(residual, params)
    for _ in range(25):
        normal = j.T @ j
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -j.T @ r)
        new = residual((params + step)[None])[0]
        if new @ new <= r @ r:
            done = r @ r - new @ new < 1e-5 * (1 + r @ r)
            params, r, damping = params + step, new, max(damping / 10, 1e-9)
            if done:
                break
            j = _jacobian(residual, params)
        else:
            damping = max(damping * 20, 1e-6)
            if damping > 1e6:
                break
    return params, j
