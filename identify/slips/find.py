"""Finding slips in a photo and reading their numbers.

The QR reader (ISO/IEC 18004) is that of zxing-cpp.  On slips laid into photos it read all codes down to 2.5 pixels a
module in 8 ms a photo of 3 megapixels; OpenCV's detector needed 7 pixels and 300 ms.  A code that is seen and not read
is looked at once more, enlarged; its error correction makes a wrong number next to impossible, and none is guessed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import zxingcpp
from numpy.typing import ArrayLike, NDArray

from identify.geometry import Array, apply_homography
from identify.photo import Photo
from identify.records import WARNINGS, Notice, SetAside, Slip
from identify.slips.code import number_of
from identify.slips.layout import REACH
from identify.slips.unread import LONG, looks_like_a_code
from identify.stages import Region, Separation, Window, as_polygon

MOST_PIXELS = 4e6
"""Larger pictures are looked at reduced first."""
ENLARGED = 900
"""Pixels along the longer side of a code that is looked at again."""
SQUARE, MOST_SKEWED = 1.3, 1.8
READ, UNREAD = "a numbered slip", "a slip whose code cannot be read"
LARGEST = 4.0
"""A slip's paper, to the place of its code."""
COVERED = 0.6
"""A thing with so much of its body on a slip is print, not a bait."""

Grey = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Slips:
    """All slips of one photo.  `slip`: the one that numbers it; None where there is none, or none read, or where two
    numbers contradict each other.  `papers`: where each lies, (4, 2) in pixels; `read`: whether its code was."""

    slip: Slip | None
    papers: tuple[Array, ...] = ()
    read: tuple[bool, ...] = ()
    warnings: tuple[Notice, ...] = ()

    def under(self, points_px: ArrayLike) -> bool:
        """Whether the middle of these points (n, 2) lies on a slip."""
        x, y = np.asarray(points_px, float).mean(0)
        return any(cv2.pointPolygonTest(p.astype(np.float32), (float(x), float(y)), False) >= 0 for p in self.papers)


def find(photo: Photo) -> Slips:
    """Read every slip of a photo: once, a reduced picture of a large one first."""
    grey = _grey(photo, (0, 0, photo.width, photo.height))
    codes = []
    large = grey.size > MOST_PIXELS
    if large:
        k = math.ceil(math.sqrt(grey.size / MOST_PIXELS))
        whole = grey[: grey.shape[0] // k * k, : grey.shape[1] // k * k]
        small = cv2.resize(whole, (whole.shape[1] // k, whole.shape[0] // k), interpolation=cv2.INTER_AREA)
        codes = [(text, (corners + 0.5) * k - 0.5) for text, corners in _codes(np.asarray(small, np.uint8))]
    if not any(text is not None for text, _ in codes):
        codes += _codes(grey, thorough=not large)
    ours = []
    for text, corners in _one_each(photo, codes):
        number = None if text is None else number_of(text)
        if text is None or number is not None:
            ours.append((number, corners))
    numbers = sorted({number for number, _ in ours if number is not None})
    warnings = [_notice("slip-unread")] if any(number is None for number, _ in ours) else []
    slip = None
    if len(numbers) > 1:
        warnings.append(Notice("slips-several", f"{WARNINGS['slips-several']} They say {', '.join(numbers)}."))
    elif numbers:
        slip = Slip(numbers[0], as_polygon(next(c for number, c in ours if number is not None)))
    papers = tuple(_paper(corners) for _, corners in ours)
    return Slips(slip, papers, tuple(number is not None for number, _ in ours), tuple(warnings))


def set_apart(photo: Photo, slips: Slips, separation: Separation) -> tuple[Separation, tuple[Notice, ...]]:
    """The separation with slips and their print set aside, and the photo's warnings about slips.

    A thing that shows the grain of a code is a slip that was not read.
    """
    aside = [SetAside(as_polygon(p), READ if r else UNREAD) for p, r in zip(slips.papers, slips.read, strict=True)]
    warnings = list(slips.warnings)
    regions = []
    for region in separation.regions:
        outline = _hull(region)
        if _covered(region, slips.papers) >= COVERED or any(_is_paper_of(outline, p) for p in slips.papers):
            continue
        if _unread(photo, outline):
            aside.append(SetAside(as_polygon(outline), UNREAD))
            warnings.append(_notice("slip-unread"))
            continue
        regions.append(region)
    for thing in separation.set_aside:
        if slips.under(thing.outline_px):
            continue
        if _unread(photo, np.asarray(thing.outline_px, float)):
            thing = SetAside(thing.outline_px, UNREAD)
            warnings.append(_notice("slip-unread"))
        aside.append(thing)
    return Separation(tuple(regions), tuple(aside), separation.warnings), tuple(dict.fromkeys(warnings))


def _codes(grey: Grey, thorough: bool = True) -> list[tuple[str | None, Array]]:
    """Every QR code seen: its text, None where it cannot be read, and its corners (4, 2) in pixels, clockwise from its
    own top left."""
    found = zxingcpp.read_barcodes(
        grey,
        formats=zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode]),
        try_invert=False,
        try_downscale=thorough,
        text_mode=zxingcpp.TextMode.Plain,
        return_errors=True,
    )
    out: list[tuple[str | None, Array]] = []
    for code in found:
        p = code.position
        corners = [p.top_left, p.top_right, p.bottom_right, p.bottom_left]
        out.append((code.text if code.valid else None, np.array([[c.x, c.y] for c in corners], float)))
    return out


def _one_each(photo: Photo, codes: list[tuple[str | None, Array]]) -> list[tuple[str | None, Array]]:
    """Each code once: three marks of one that cannot be read are sometimes taken for several.  What was not read is
    looked at again, enlarged."""
    kept: list[tuple[str | None, Array]] = [(text, corners) for text, corners in codes if text is not None]
    unread: list[list[Array]] = []
    for _, corners in sorted((c for c in codes if c[0] is None), key=lambda c: _skew(c[1])):
        if any(_near(corners, other) for _, other in kept):
            continue
        place = next((place for place in unread if _near(corners, place[0])), None)
        if place is not None:
            place.append(corners)
        elif _skew(corners) < MOST_SKEWED:
            unread.append([corners])
    for place in unread:
        kept.append(_again(photo, np.concatenate(place)) or (None, place[0]))
    return kept


def _skew(corners: Array) -> float:
    """How far four corners are from those of a square: the longest of sides and of diagonals (÷ √2) to the shortest."""
    if not cv2.isContourConvex(corners.astype(np.float32)):
        return math.inf
    sides = np.hypot(*(np.roll(corners, -1, 0) - corners).T)
    diagonals = np.hypot(*(corners[2:] - corners[:2]).T) / np.sqrt(2)
    lengths = np.concatenate([sides, diagonals])
    return float(lengths.max() / max(lengths.min(), 1e-6))


def _near(one: Array, other: Array) -> bool:
    reach = 2 * max(np.ptp(one, axis=0).max(), np.ptp(other, axis=0).max())
    return bool(np.hypot(*(one.mean(0) - other.mean(0))) < reach)


def _again(photo: Photo, around: Array) -> tuple[str, Array] | None:
    """A code that was seen around these points (n, 2) and not read, enlarged and sharpened."""
    low, high = around.min(0), around.max(0)
    margin = 0.25 * float((high - low).max()) + 4
    window = _window(photo, low - margin, high + margin)
    grey = _grey(photo, window)
    k = ENLARGED / max(grey.shape)
    if k <= 1 or min(grey.shape) < 8:
        return None
    large = cv2.resize(grey, None, fx=k, fy=k, interpolation=cv2.INTER_CUBIC)
    for spread in (1.0, 2.0):
        soft = cv2.GaussianBlur(large, (0, 0), spread * k)
        sharp = np.asarray(cv2.addWeighted(large, 2.5, soft, -1.5, 0), np.uint8)
        for text, corners in _codes(sharp):
            if text is not None:
                return text, (corners + 0.5) / k - 0.5 + np.array(window[:2])
    return None


def _paper(corners: Array) -> Array:
    """The paper around a code; only the code's own place where its corners make no square, so that which of its marks
    is which is not known."""
    x, y, width, height = REACH if _skew(corners) < SQUARE else (-0.15, -0.15, 1.3, 1.3)
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    to_photo = cv2.getPerspectiveTransform(unit, corners.astype(np.float32))
    edges = [[x, y], [x + width, y], [x + width, y + height], [x, y + height]]
    return apply_homography(to_photo, np.array(edges))


def _covered(region: Region, papers: Sequence[Array]) -> float:
    """Share of a region's core that lies on slips."""
    if not papers:
        return 0.0
    mask = np.zeros(region.core.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(region.from_photo(p)).astype(np.int32) for p in papers], 1)
    return float((mask[region.core] > 0).mean())


def _hull(region: Region) -> Array:
    """Around a region's core, (n, 2) in pixels of the photo."""
    contours, _ = cv2.findContours(region.core.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    return region.to_photo(cv2.convexHull(np.concatenate(contours))[:, 0])


def _is_paper_of(outline: Array, code: Array) -> bool:
    """Whether a code lies within an outline that is no larger than slips are."""
    x, y = code.mean(0)
    within = cv2.pointPolygonTest(outline.astype(np.float32), (float(x), float(y)), False) >= 0
    return within and cv2.contourArea(outline.astype(np.float32)) < LARGEST * cv2.contourArea(code.astype(np.float32))


def _unread(photo: Photo, outline: Array) -> bool:
    low, high = outline.min(0), outline.max(0)
    if (high - low).min() < 16 or (high - low).max() > 0.5 * max(photo.width, photo.height):
        return False
    x0, y0, x1, y1 = _window(photo, low, high + 1)
    grey, k = _grey(photo, (x0, y0, x1, y1)), max(1, int(max(x1 - x0, y1 - y0) / (2 * LONG)))
    if k > 1:
        size = (grey.shape[1] // k, grey.shape[0] // k)
        grey = np.asarray(cv2.resize(grey[: size[1] * k, : size[0] * k], size, interpolation=cv2.INTER_AREA), np.uint8)
    return looks_like_a_code(grey, (outline - [x0, y0] + 0.5) / k - 0.5)


def _window(photo: Photo, low: Array, high: Array) -> Window:
    x0, y0 = (max(0, int(v)) for v in low)
    return x0, y0, min(photo.width, int(high[0]) + 1), min(photo.height, int(high[1]) + 1)


def _grey(photo: Photo, window: Window) -> Grey:
    x0, y0, x1, y1 = window
    part = photo.pixels[y0:y1, x0:x1]
    if part.dtype == np.uint16:
        part = (part >> 8).astype(np.uint8)
    return np.asarray(cv2.cvtColor(np.ascontiguousarray(part), cv2.COLOR_RGB2GRAY), np.uint8)


def _notice(code: str) -> Notice:
    return Notice(code, WARNINGS[code])
