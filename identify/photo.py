"""Reading a photo once: decoded, turned as displayed, hashed, with linear light on demand."""

from __future__ import annotations

import errno
import hashlib
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from identify import encoding
from identify.decode import AGAIN, Pixels, decode
from identify.encoding import Encoding
from identify.errors import PhotoMissing, PhotoUnreadable
from identify.geometry import Array
from identify.records import Notice
from identify.settings import Settings
from identify.stages import Window

_STRIP = 32
"""Rows of the reduced picture made at a time, so that what lies between stays in the processor's cache."""


@dataclass(frozen=True, eq=False)
class Photo:
    """One decoded photograph.  `pixels` (h, w, 3) uint8 or uint16 as displayed, in the file's own RGB encoding."""

    name: str
    """The path as given."""
    sha256: str
    """Of the file's bytes."""
    pixels: Pixels
    focal_35mm: float | None
    """35 mm equivalent focal length (diagonal of 43.27 mm); None when the file does not say or it no longer fits."""
    cropped: bool = False
    """The picture betrays that it was cut after it was taken (see `focal_of`)."""
    warnings: tuple[Notice, ...] = ()
    encoding: Encoding = field(default_factory=encoding.srgb, repr=False)
    _reduced: dict[int, NDArray[np.float32]] = field(default_factory=dict, init=False, repr=False)

    def __post_init__(self) -> None:
        self.pixels.setflags(write=False)

    @property
    def width(self) -> int:
        """Width in pixels as displayed."""
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        """Height in pixels as displayed."""
        return int(self.pixels.shape[0])

    def linear(self, window: Window | None = None, shrink: int = 1) -> NDArray[np.float32]:
        """Linear sRGB (float32, D65, nominally 0..1, beyond for colours that sRGB cannot hold) of a window.

        `shrink`: each pixel averages shrink × shrink of the photo's, in linear light, as a coarser sensor would have
        seen them.  The window's size need not be a multiple of it: what is over at right and bottom is left out.
        """
        return _linear(self._part(window), self.encoding, shrink)

    def at(self, points_px: Array) -> NDArray[np.float32]:
        """Linear sRGB (n, 3) of the pixels nearest to points (n, 2); beyond the picture its edge."""
        last = (self.width - 1, self.height - 1)
        x, y = np.clip(np.rint(points_px).astype(int), 0, last).T
        light: NDArray[np.float32] = self.encoding.to_srgb(_look_up(self.pixels[y, x][None], self.encoding.curves))[0]
        return light

    def reduced(self, max_side: int) -> tuple[NDArray[np.float32], int]:
        """The whole picture in linear sRGB with no side longer than max_side, and the shrink that took; kept for the
        next caller, so read-only.

        The first halving averages codes instead of light, which takes a quarter of the time: within 2 × 2 pixels the
        two differ by the square of their contrast.
        """
        shrink = max(1, math.ceil(max(self.width, self.height) / max_side))
        shrink = min(shrink, self.width, self.height)
        if shrink not in self._reduced:
            codes, left = self.pixels, shrink
            if shrink % 2 == 0:
                even = codes[: self.height // 2 * 2, : self.width // 2 * 2]
                size = (self.width // 2, self.height // 2)
                codes, left = np.asarray(cv2.resize(even, size, interpolation=cv2.INTER_AREA)), shrink // 2
            light = _linear(codes, self.encoding, left)
            light.setflags(write=False)
            self._reduced[shrink] = light
        return self._reduced[shrink], shrink

    def clipped(self, window: Window | None = None, shrink: int = 1) -> NDArray[np.bool_]:
        """(h, w) bool: where any channel of any of the shrink × shrink pixels is at 99.5 % of its top code or above."""
        part = self._part(window)
        top = math.ceil(0.995 * np.iinfo(part.dtype).max)
        full = np.asarray(cv2.inRange(part, (0, 0, 0), (top - 1,) * 3)) == 0
        rows, columns = full.shape[0] // shrink, full.shape[1] // shrink
        by_row: NDArray[np.bool_] = full[: rows * shrink].reshape(rows, shrink, -1).any(axis=1)
        found: NDArray[np.bool_] = by_row[:, : columns * shrink : shrink].copy()
        for k in range(1, shrink):
            found |= by_row[:, k : columns * shrink : shrink]
        return found

    def _part(self, window: Window | None) -> Pixels:
        x0, y0, x1, y1 = window or (0, 0, self.width, self.height)
        return self.pixels[y0:y1, x0:x1]


def _linear(codes: Pixels, meaning: Encoding, shrink: int) -> NDArray[np.float32]:
    """Linear sRGB of codes (h, w, 3), averaged over shrink × shrink of them."""
    if shrink == 1:
        return meaning.to_srgb(_look_up(codes, meaning.curves))
    rows, columns = codes.shape[0] // shrink, codes.shape[1] // shrink
    # 16 bits of linear light: a step is a twentieth of the darkest step of 8-bit sRGB
    wide = np.rint(meaning.curves * 65535).astype(np.uint16)
    out = np.empty((rows, columns, 3), np.float32)
    for top in range(0, rows, _STRIP):
        end = min(top + _STRIP, rows)
        strip = _look_up(codes[top * shrink : end * shrink, : columns * shrink], wide)
        out[top:end] = cv2.resize(strip, (columns, end - top), interpolation=cv2.INTER_AREA)
    out *= np.float32(1 / 65535)
    return meaning.to_srgb(out)


def _look_up(codes: Pixels, curves: NDArray[Any]) -> NDArray[Any]:
    """Values (3, n) of codes (h, w, 3), channel by channel."""
    if codes.dtype == np.uint8 and codes.size:
        alike = bool((curves == curves[0]).all())  # one table for all channels is twice as fast as three
        return np.asarray(cv2.LUT(codes, curves[:1] if alike else np.ascontiguousarray(curves.T)[None]))
    return np.stack([curves[c][codes[..., c]] for c in range(3)], axis=-1)


def read(path: str | Path, settings: Settings | None = None) -> Photo:
    """Read one photo.

    Raises PhotoMissing, PhotoUnreadable with the reason, or PhotoTooLarge (before decoding).
    """
    limit = (settings or Settings()).max_megapixels
    data = _bytes_of(Path(path))
    found = decode(data, Path(path).name, limit)
    focal, cropped = focal_of(found.exif, (found.pixels.shape[1], found.pixels.shape[0]))
    digest = hashlib.sha256(data).hexdigest()
    return Photo(str(path), digest, found.pixels, focal, cropped, found.warnings, found.encoding)


def _bytes_of(path: Path) -> bytes:
    name = path.name or str(path)
    try:
        if path.is_dir():
            raise PhotoUnreadable(f"{name} is a folder, not a photo.", "Name the photos in it.")
        if path.exists() and not path.is_file():
            raise PhotoUnreadable(f"{name} is not a file.", "Give a photo: JPEG, PNG, TIFF, WebP or HEIC.")
        return path.read_bytes()
    except (FileNotFoundError, NotADirectoryError) as error:
        raise PhotoMissing(f"There is no file {name}.", "Check the name and the folder.") from error
    except PermissionError as error:
        raise PhotoUnreadable(f"{name} may not be read by you.", "Change the file's permissions or copy it.") from error
    except OSError as error:
        if error.errno == errno.ENAMETOOLONG:
            raise PhotoMissing("There is no such file; its name is too long.", "Check the name.") from error
        raise PhotoUnreadable(f"{name} could not be read ({error.strerror or error}).", AGAIN) from error
    except ValueError as error:  # a zero byte in the name
        raise PhotoMissing("There is no file of that name.", "Check the name.") from error


_FOCAL_LENGTH, _FOCAL_35MM, _PIXEL_X, _PIXEL_Y = 0x920A, 0xA405, 0xA002, 0xA003
_PLANE_X_RESOLUTION, _PLANE_UNIT = 0xA20E, 0xA210
_PLANE_UNIT_MM = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}
_CAMERA_SHAPES = (4 / 3, 3 / 2, 16 / 9)
_DIAGONAL_35MM = 43.27


def focal_of(exif: dict[int, Any], size: tuple[int, int]) -> tuple[float | None, bool]:
    """35 mm equivalent focal length of a picture of this size (in pixels, either way up), and whether it was cropped.

    The equivalent is defined over the diagonal of the whole picture, so any cut makes it wrong.  A cut shows in two
    ways: the size that EXIF records has another shape than the picture (by more than 2 %), or the picture has a shape
    that cameras do not make (4:3, 3:2, 16:9 within 1 %; a square is nearly always a cut of one of these).  A picture
    that was made smaller or larger as a whole keeps its focal length.  A cut to the same shape can't be told from that
    and goes unseen.  Where only the true focal length is recorded, the equivalent follows from the resolution of the
    focal plane, provided the picture still has all the pixels that EXIF records.
    """
    long, short = max(size), max(min(size), 1)
    recorded = sorted(_number(exif.get(tag)) or 0.0 for tag in (_PIXEL_X, _PIXEL_Y))
    known = recorded[0] > 0
    whole = known and abs(recorded[1] / long - 1) <= 0.02 and abs(recorded[0] / short - 1) <= 0.02
    focal = _number(exif.get(_FOCAL_35MM))
    if focal is None or not 8 <= focal <= 1200:
        focal = _focal_by_plane(exif, math.hypot(*size)) if whole else None
    shape = long / short
    cut = known and abs(recorded[1] / recorded[0] / shape - 1) > 0.02
    odd = focal is not None and all(abs(shape / camera - 1) > 0.01 for camera in _CAMERA_SHAPES)
    return (None, True) if cut or odd else (focal, False)


def _focal_by_plane(exif: dict[int, Any], diagonal_px: float) -> float | None:
    focal, resolution = _number(exif.get(_FOCAL_LENGTH)), _number(exif.get(_PLANE_X_RESOLUTION))
    unit = _PLANE_UNIT_MM.get(int(_number(exif.get(_PLANE_UNIT)) or 2))
    if not (focal and resolution and unit):
        return None
    sensor_mm = diagonal_px / resolution * unit
    equivalent = focal * _DIAGONAL_35MM / sensor_mm
    return equivalent if 3 <= sensor_mm <= 80 and 8 <= equivalent <= 1200 else None


def _number(value: Any) -> float | None:
    """An EXIF value as a number, None where a broken or hostile file has something else there."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None
