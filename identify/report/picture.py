"""Pictures for the report: parts of a photo, made small, in sRGB, as JPEG without anything the camera wrote."""

from __future__ import annotations

import base64
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.photo import Photo
from identify.records import PhotoRecord, Polygon
from identify.stages import Window

WHOLE_SIDE, BAIT_SIDE = 1400, 1100
"""Longest side in pixels of the whole photo's picture, and of one bait's."""
QUALITY = 82
MARGIN = 0.18
"""Round a bait, as a share of its longer extent."""


@dataclass(frozen=True)
class Picture:
    """A JPEG of one window of a photo."""

    window: Window
    jpeg: bytes

    @property
    def href(self) -> str:
        return "data:image/jpeg;base64," + base64.b64encode(self.jpeg).decode("ascii")


@dataclass(frozen=True)
class Pictures:
    """The whole photo, and each bait with what hangs from it."""

    whole: Picture
    baits: tuple[Picture, ...]


def take(photo: Photo, record: PhotoRecord) -> Pictures:
    """The pictures that the report shows of one measured photo."""
    everything = (0, 0, photo.width, photo.height)
    windows = [_around(_seen(record, i), photo) for i in range(len(record.baits))]
    return Pictures(_cut(photo, everything, WHOLE_SIDE), tuple(_cut(photo, w, BAIT_SIDE) for w in windows))


def overview(photo: Photo) -> Picture:
    """The whole photo, small."""
    return _cut(photo, (0, 0, photo.width, photo.height), WHOLE_SIDE)


def thumbnails(photo: Photo, record: PhotoRecord, longest: int) -> tuple[bytes, ...]:
    """Small JPEGs of each bait of a photo, or of the whole photo when it has none; sides of `longest` pixels, about."""
    everything = (0, 0, photo.width, photo.height)
    windows = [_around(_seen(record, i), photo) for i in range(len(record.baits))] or [everything]
    return tuple(_cut(photo, window, longest).jpeg for window in windows)


def _seen(record: PhotoRecord, index: int) -> Polygon:
    m = record.baits[index].measurement
    points = m.outline_px
    for found in (m.line_ties, m.hangers, m.hooks):
        points += found.at_px if found is not None else ()
    return points


def _around(points: Polygon, photo: Photo) -> Window:
    at = np.array(points, float)
    low, high = at.min(0), at.max(0)
    margin = MARGIN * float((high - low).max()) + 4
    x0, y0 = np.maximum(np.floor(low - margin), 0).astype(int)
    x1, y1 = np.minimum(np.ceil(high + margin) + 1, (photo.width, photo.height)).astype(int)
    return int(x0), int(y0), int(max(x1, x0 + 1)), int(max(y1, y0 + 1))


def _cut(photo: Photo, window: Window, longest: int) -> Picture:
    x0, y0, x1, y1 = window
    side = max(x1 - x0, y1 - y0)
    shrink = max(1, min(round(side / longest), x1 - x0, y1 - y0))
    rows, columns = (y1 - y0) // shrink * shrink, (x1 - x0) // shrink * shrink
    kept = (x0, y0, x0 + columns, y0 + rows)
    jpeg = _jpeg(photo.linear(kept, shrink))
    return Picture(kept, jpeg)


def _jpeg(linear: NDArray[np.float32]) -> bytes:
    light = np.clip(linear, 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    pixels = np.rint(coded[..., ::-1] * 255).astype(np.uint8)
    done, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    if not done:
        raise ValueError(f"a picture of {pixels.shape[1]} x {pixels.shape[0]} pixels cannot be stored as JPEG")
    return bytes(data)
