"""Looking at places along the body's edge in polar coordinates, in units of the ground's own variation."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from identify.hardware.view import PX_PER_MM, Floats, View


@dataclass(frozen=True, eq=False)
class Whitened:
    """Picture and ground (h, w, 3) in units in which neighbouring pieces of ground, a wire's width apart, differ by 1:
    a Euclidean distance then says how surely two colours are not the same ground."""

    image: Floats
    ground: Floats


def whiten(view: View) -> Whitened:
    """Measure how the ground around the bait varies, and express the picture in that."""
    image = cv2.GaussianBlur(view.image, (0, 0), 0.8)
    k = round(0.6 * PX_PER_MM)
    h, w = view.depth.shape
    open_ground = (view.depth < -2.0) & (view.depth > -8.0)
    steps = []
    for dy, dx in ((0, k), (k, 0)):
        y, x = np.nonzero((open_ground[: h - dy, : w - dx] & open_ground[dy:, dx:])[::2, ::3])
        y, x = 2 * y, 3 * x
        steps.append(image[y, x] - image[y + dy, x + dx])
    diff = np.concatenate(steps)
    size = np.abs(diff).sum(1)
    calm = diff[size <= np.quantile(size, 0.7)] if len(diff) else diff  # the rest is hooks, shadows and other things
    cov = 2 * calm.T @ calm / max(len(calm), 1) + np.eye(3) * 0.004**2
    values, vectors = np.linalg.eigh(cov)
    matrix = (vectors / np.sqrt(values)).astype(np.float32)
    return Whitened(_transform(np.asarray(image), matrix), _transform(view.ground, matrix))


def _transform(picture: Floats, matrix: Floats) -> Floats:
    return np.asarray(cv2.transform(picture, np.ascontiguousarray(matrix.T)), np.float32)


MOST_ROWS = 32000


def maps(centres: Floats, start: Floats, angles_deg: Floats, radii_mm: Floats) -> tuple[Floats, Floats]:
    """x and y in view pixels (n, angles, radii) of polar patches about centres (n, 2).  Angles run clockwise as seen
    from the direction `start` (n, 2)."""
    turn = np.deg2rad(angles_deg)
    c, s = np.cos(turn), np.sin(turn)
    dx = start[:, :1] * c - start[:, 1:] * s
    dy = start[:, :1] * s + start[:, 1:] * c
    r = (radii_mm * PX_PER_MM).astype(np.float32)
    x, y = (np.empty((*dx.shape, len(r)), np.float32) for _ in range(2))
    np.add(centres[:, 0, None, None], dx[:, :, None] * r, out=x, casting="same_kind")
    np.add(centres[:, 1, None, None], dy[:, :, None] * r, out=y, casting="same_kind")
    return x, y


def sample_at(picture: Floats, places: tuple[Floats, Floats]) -> Floats:
    """The picture at `maps`: of their shape, with a last axis for channels where there are any."""
    x, y = places
    flat = (-1, x.shape[-1])
    rows = [
        cv2.remap(picture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for u, v in zip(_strips(x.reshape(flat)), _strips(y.reshape(flat)), strict=True)
    ]
    out = rows[0] if len(rows) == 1 else np.concatenate(rows)
    return np.asarray(out.reshape(*x.shape, -1) if picture.ndim == 3 else out.reshape(x.shape), np.float32)


def _strips(plane: Floats) -> list[Floats]:
    """At most so many rows at a time as OpenCV's remap takes."""
    return [plane[i : i + MOST_ROWS] for i in range(0, max(1, len(plane)), MOST_ROWS)]


def sample(picture: Floats, centres: Floats, start: Floats, angles_deg: Floats, radii_mm: Floats) -> Floats:
    """Polar patches (n, angles, radii[, channels]) about centres, see `maps`."""
    return sample_at(picture, maps(centres, start, angles_deg, radii_mm))


def across(a: Floats, b: Floats) -> Floats:
    """Euclidean distance over channels."""
    d = a - b
    d *= d
    square = d[..., 0] + d[..., 1]  # three sums beat a reduction over so short an axis
    square += d[..., 2]
    return np.asarray(np.sqrt(square, out=square))


def sure(distance: Floats, scale: float = 4.0) -> Floats:
    """A distance in units of the ground's variation as a number from 0 (the same) to 1 (surely another thing), so that
    a bright edge counts no more than a plain one."""
    return np.asarray(1 - np.exp(distance / np.float32(-scale)), np.float32)
