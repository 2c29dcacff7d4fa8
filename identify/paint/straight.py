"""The bait straightened: a grid that runs from nose to tail and from belly to back, with the surface's normals."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.calibration import Calibration
from identify.geometry import Array, resample_closed
from identify.outline import to_frame
from identify.photo import Photo
from identify.stages import Body, Pose, Sizing

ACROSS, ALONG = 64, 160
SECTION_POWER = 2.1
"""Sections of turned and moulded bodies lie between an ellipse (2) and a slightly squarer superellipse (2.2)."""
USUAL_THICKNESS = 0.65
"""Thickness ÷ depth where the thickness is not known."""


@dataclass(frozen=True, eq=False)
class Straight:
    """A bait's flank on a grid of (ACROSS, ALONG) cells; row 0 lies at the belly, column 0 at the nose.

    `rgb` (h, w, 3): reflectance as the card says, linear sRGB.  `level` (h, w): the brightest channel in the photo,
    1 = clipped.  `u` (h,): 0 belly .. 1 back; `s` (w,): 0 nose .. 1 tail.  `edge_mm` (h, w): distance to the outline
    (with no scale as if the bait were 60 mm long).  `normal` (h, w, 3): the surface's normal in the bait's frame
    (towards the tail, the back, the camera).  `up` (3,): the normal of the card and the table in that frame.
    `px` (h, w, 2): where each cell lies in the photo.
    """

    rgb: NDArray[np.float32]
    level: NDArray[np.float32]
    u: Array
    s: Array
    edge_mm: Array
    normal: Array
    up: Array
    px: Array
    px_per_mm: float


def straighten(
    photo: Photo, body: Body, sizing: Sizing, pose: Pose, calibration: Calibration, supersample: float = 2.0
) -> Straight:
    """Resample the body's flank.

    The body is taken as lenticular: each section an ellipse of power SECTION_POWER, as thick in proportion to the
    deepest one as it is deep there, which is how turned and moulded bodies are made.
    """
    nose, tail = np.asarray(pose.nose_px, float), np.asarray(pose.tail_px, float)
    framed = to_frame(resample_closed(body.outline_px, 2400), nose, tail, pose.back_is_left)
    x0, x1 = framed[:, 0].min(), framed[:, 0].max()
    length = x1 - x0
    s = (np.arange(ALONG) + 0.5) / ALONG
    u = (np.arange(ACROSS) + 0.5) / ACROSS
    top, bottom = _profiles(framed, x0 + s * length, length / ALONG)
    half = np.maximum((top - bottom) / 2, 1e-3)
    y = bottom + u[:, None] * (top - bottom)
    x = np.broadcast_to(x0 + s * length, y.shape)

    ex = (tail - nose) / np.hypot(*(tail - nose))
    left = np.array([ex[1], -ex[0]])
    ey = left if pose.back_is_left else -left
    px = nose + x[..., None] * ex + y[..., None] * ey

    ppm = sizing.px_per_mm or float(length) / 60.0
    rgb, level = _sample(photo, px, length / ALONG / supersample)
    return Straight(
        rgb=calibration.reflectance(rgb),
        level=level,
        u=u,
        s=s,
        edge_mm=_edge_distance(framed, x, y) / ppm,
        normal=_normals(2 * u - 1, length / ALONG, (top + bottom) / 2, half, _thickness_ratio(sizing)),
        up=_table_normal(px[ACROSS // 2, ALONG // 2], ex, ey, sizing, calibration),
        px=px,
        px_per_mm=ppm,
    )


def _profiles(framed: Array, stations: Array, step: float) -> tuple[Array, Array]:
    """Highest and lowest y of the outline at each station."""
    bins = np.clip(((framed[:, 0] - stations[0]) / step + 0.5).astype(int), 0, len(stations) - 1)
    top, bottom = np.full(len(stations), -np.inf), np.full(len(stations), np.inf)
    np.maximum.at(top, bins, framed[:, 1])
    np.minimum.at(bottom, bins, framed[:, 1])
    known = np.isfinite(top) & np.isfinite(bottom)
    index = np.arange(len(stations))
    return np.interp(index, index[known], top[known]), np.interp(index, index[known], bottom[known])


def _sample(photo: Photo, px: Array, cell_px: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Linear light and the brightest channel at the cells, averaged over about a cell so that noise goes down."""
    lo, hi = ([float(extreme(px[..., k])) for k in range(2)] for extreme in (np.min, np.max))
    shrink = max(1, int(cell_px))
    x0, y0 = (max(math.floor(v) - 2 * shrink, 0) for v in lo)
    x1, y1 = (min(math.ceil(v) + 2 * shrink + 1, n) for v, n in zip(hi, (photo.width, photo.height), strict=True))
    linear = photo.linear((x0, y0, x1, y1), shrink)
    at = ((px - [x0, y0] + 0.5) / shrink - 0.5).astype(np.float32)
    taken = cv2.remap(linear, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    rgb: NDArray[np.float32] = np.asarray(taken, np.float32)
    r, g, b = cv2.split(rgb)  # a reduction over three channels is ten times slower
    level: NDArray[np.float32] = np.asarray(cv2.max(cv2.max(r, g), b), np.float32)
    return rgb, level


def _edge_distance(framed: Array, x: Array, y: Array) -> Array:
    """Distance (px) of each cell to the outline, from a distance transform of the drawn outline."""
    lo = framed.min(0)
    k = 256 / float(np.ptp(framed[:, 0]))
    size = np.ceil(np.ptp(framed, axis=0) * k).astype(int) + 3
    canvas = np.zeros((int(size[1]), int(size[0])), np.uint8)
    cv2.fillPoly(canvas, [np.round(((framed - lo) * k + 1) * 16).astype(np.int32)], 1, shift=4)
    far = cv2.distanceTransform(canvas, cv2.DIST_L2, 5)
    at = np.stack([(x - lo[0]) * k + 1, (y - lo[1]) * k + 1]).astype(np.float32)
    return cv2.remap(far, at[0], at[1], cv2.INTER_LINEAR).astype(float) / k


def _thickness_ratio(sizing: Sizing) -> float:
    if sizing.thickness_mm is not None and sizing.depth_mm is not None and sizing.depth_mm.value > 0:
        return float(np.clip(sizing.thickness_mm.value / sizing.depth_mm.value, 0.3, 1.2))
    return USUAL_THICKNESS


def _normals(r: Array, step: float, centre: Array, half: Array, ratio: float) -> Array:
    """Unit normals of z = w (1 - |r|^p)^(1/p), w = ratio × half, at r (h,) half depths from the centre of sections
    (w,) that lie `step` apart."""
    p = SECTION_POWER
    smooth = np.ones(7) / 7
    d_centre, d_half = (np.gradient(np.convolve(np.pad(v, 3, "edge"), smooth, "valid"), step) for v in (centre, half))
    r = np.clip(r, -0.985, 0.985)[:, None]
    a = np.abs(r)
    z = (1 - a**p) ** (1 / p)
    slope = -ratio * np.sign(r) * a ** (p - 1) * z ** (1 - p)  # dz/dy, z in units of half × ratio
    along = ratio * d_half * z + slope * (-d_centre - r * d_half)
    size = np.sqrt(along * along + slope * slope + 1)
    unit: Array = np.stack([-along, np.broadcast_to(-slope, along.shape), np.ones_like(along)], -1) / size[..., None]
    return unit


def _table_normal(middle_px: Array, ex: Array, ey: Array, sizing: Sizing, calibration: Calibration) -> Array:
    """The table's normal in the bait's frame, whose third axis points at the camera."""
    if calibration.camera is None or not calibration.has_scale:
        return np.array([0.0, 0.0, 1.0])
    mid, along, across = calibration.to_mm([middle_px, middle_px + 20 * ex, middle_px + 20 * ey], sizing.height_mm)
    view = np.array(calibration.camera.at_mm) - [*mid, sizing.height_mm]
    view /= np.linalg.norm(view)
    axes = [view]
    for point in (along, across):
        v = np.array([*(point - mid), 0.0])
        for known in axes:
            v -= (v @ known) * known
        axes.append(v / np.linalg.norm(v))
    return np.array([axes[1][2], axes[2][2], axes[0][2]])
