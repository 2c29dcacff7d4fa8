"""Reading QR codes (ISO/IEC 18004) in photos, by zxing-cpp.

On slips laid into photos it read all codes down to 2.5 pixels a module in 8 ms a photo of 3 megapixels; OpenCV's
detector needed 7 pixels and 300 ms.  A code that is seen and not read is looked at once more, enlarged; its error
correction makes a wrong text next to impossible, and none is guessed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from identify.geometry import Array
from identify.photo import Photo
from identify.slips.marks import corner_marks
from identify.stages import Window

MOST_PIXELS = 4e6
"""Larger pictures are looked at reduced first."""
ENLARGED, MOST_ENLARGED = 900, 6.0
"""Pixels along the longer side of what is looked at again, and how far it is enlarged at most."""
MOST_SKEWED = 1.8
MARK_TO_CODE = 5.0
"""Around one of its marks, of 7 modules, a code of 25 to 33 lies within so much more."""
Grey = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Code:
    """A code in a photo: its text, None where it cannot be read, and its corners (4, 2) in pixels, clockwise from its
    own top left."""

    text: str | None
    corners: Array

    @property
    def skew(self) -> float:
        """How far the corners are from those of a square: the longest of sides and of diagonals (÷ √2) to the
        shortest."""
        if not cv2.isContourConvex(self.corners.astype(np.float32)):
            return math.inf
        sides = np.hypot(*(np.roll(self.corners, -1, 0) - self.corners).T)
        diagonals = np.hypot(*(self.corners[2:] - self.corners[:2]).T) / np.sqrt(2)
        lengths = np.concatenate([sides, diagonals])
        return float(lengths.max() / max(lengths.min(), 1e-6))

    def near(self, other: Code) -> bool:
        """Whether both may be one code."""
        reach = 2 * max(np.ptp(self.corners, axis=0).max(), np.ptp(other.corners, axis=0).max())
        return bool(np.hypot(*(self.corners.mean(0) - other.corners.mean(0))) < reach)


def read_all(photo: Photo) -> list[Code]:
    """Every code of a photo, each once; a reduced picture of a large photo is read first."""
    whole = grey_of(photo, (0, 0, photo.width, photo.height))
    codes: list[Code] = []
    large = whole.size > MOST_PIXELS
    if large:
        k = math.ceil(math.sqrt(whole.size / MOST_PIXELS))
        codes = [Code(c.text, (c.corners + 0.5) * k - 0.5) for c in _codes(shrunk(whole, k))]
    if not any(c.text is not None for c in codes):
        codes += _codes(whole, thorough=not large)
    return _one_each(photo, codes) or _by_marks(photo, whole)


def _by_marks(photo: Photo, whole: Grey) -> list[Code]:
    """Codes that the reader does not see, since something lies over them, by what shows of their marks."""
    places: list[list[Array]] = []
    for mark in corner_marks(whole):
        side = float(np.hypot(*(mark[1] - mark[0])))
        beside = [p for p in places if np.hypot(*(p[0].mean(0) - mark.mean(0))) < MARK_TO_CODE * side]
        places = [p for p in places if not any(p is b for b in beside)] + [[mark, *(m for b in beside for m in b)]]
    found = []
    for marks in places:
        seen = np.concatenate(marks)
        code = read_closely(photo, marks[0].mean(0) + MARK_TO_CODE * (marks[0] - marks[0].mean(0)))
        rect = np.asarray(cv2.boxPoints(cv2.minAreaRect(seen.astype(np.float32))), float)
        found.append(code if code is not None and code.text is not None else Code(None, rect))
    return found


def read_closely(photo: Photo, around: Array) -> Code | None:
    """The code around these points (n, 2), enlarged and sharpened: the one that can be read, else one that is seen."""
    low, high = around.min(0), around.max(0)
    margin = 0.25 * float((high - low).max()) + 4
    window = window_of(photo, low - margin, high + margin)
    grey = grey_of(photo, window)
    k = min(ENLARGED / max(grey.shape), MOST_ENLARGED)
    if k <= 1 or min(grey.shape) < 8:
        return None
    large = cv2.resize(grey, None, fx=k, fy=k, interpolation=cv2.INTER_CUBIC)
    seen: list[Code] = []
    for spread in (1.0, 2.0):
        soft = cv2.GaussianBlur(large, (0, 0), spread * k)
        sharp = np.asarray(cv2.addWeighted(large, 2.5, soft, -1.5, 0), np.uint8)
        for code in _codes(sharp):
            moved = Code(code.text, (code.corners + 0.5) / k - 0.5 + np.array(window[:2]))
            if moved.text is not None:
                return moved
            seen.append(moved)
    best = min(seen, key=lambda c: c.skew, default=None)
    return best if best is not None and best.skew < MOST_SKEWED else None


def _codes(grey: Grey, thorough: bool = True) -> list[Code]:
    """Every code that the reader sees."""
    found = zxingcpp.read_barcodes(
        grey,
        formats=zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode]),
        try_invert=False,
        try_downscale=thorough,
        text_mode=zxingcpp.TextMode.Plain,
        return_errors=True,
    )
    out = []
    for code in found:
        p = code.position
        corners = [p.top_left, p.top_right, p.bottom_right, p.bottom_left]
        out.append(Code(code.text if code.valid else None, np.array([[c.x, c.y] for c in corners], float)))
    return out


def _one_each(photo: Photo, codes: list[Code]) -> list[Code]:
    """Each code once: three marks of one that cannot be read are sometimes taken for several.  What was not read is
    looked at again."""
    kept = [c for c in codes if c.text is not None]
    unread: list[list[Code]] = []
    for code in sorted((c for c in codes if c.text is None), key=lambda c: c.skew):
        if any(code.near(other) for other in kept):
            continue
        place = next((place for place in unread if code.near(place[0])), None)
        if place is not None:
            place.append(code)
        elif code.skew < MOST_SKEWED:
            unread.append([code])
    for place in unread:
        again = read_closely(photo, np.concatenate([c.corners for c in place]))
        kept.append(again if again is not None and again.text is not None else place[0])
    return kept


def shrunk(grey: Grey, k: int) -> Grey:
    """A picture reduced k times, what is over at right and bottom left out."""
    rows, columns = grey.shape[0] // k, grey.shape[1] // k
    whole = np.ascontiguousarray(grey[: rows * k, : columns * k])
    return np.asarray(cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)


def window_of(photo: Photo, low: Array, high: Array) -> Window:
    """The part of a photo between two points."""
    x0, y0 = (max(0, int(v)) for v in low)
    return x0, y0, min(photo.width, int(high[0]) + 1), min(photo.height, int(high[1]) + 1)


def grey_of(photo: Photo, window: Window) -> Grey:
    """Part of a photo in grey levels, (h, w)."""
    x0, y0, x1, y1 = window
    part = photo.pixels[y0:y1, x0:x1]
    if part.dtype == np.uint16:
        part = (part >> 8).astype(np.uint8)
    return np.asarray(cv2.cvtColor(np.ascontiguousarray(part), cv2.COLOR_RGB2GRAY), np.uint8)
