"""Finding slips in a photo: which number it has, where they lie, and what of them must not be taken for a bait."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike

from identify.geometry import Array, apply_homography
from identify.photo import Photo
from identify.records import WARNINGS, Notice, SetAside, Slip
from identify.slips.code import number_of
from identify.slips.layout import REACH
from identify.slips.reader import Code, grey_of, read_all, read_closely, shrunk, window_of
from identify.slips.unread import LONG, looks_like_a_code
from identify.stages import Region, Separation, as_polygon

SQUARE = 1.3
"""Corners that are no more skewed than this are those of a code, in its own order."""
READ, UNREAD = "a numbered slip", "a slip whose code cannot be read"
LARGEST = 4.0
"""A slip's paper, to the place of its code."""
COVERED = 0.6
"""A thing with so much of its body on a slip is print, not a bait."""
FILLED = 0.85
"""Share of the smallest rectangle around it that paper fills at least."""


@dataclass(frozen=True, eq=False)
class Slips:
    """All slips of one photo whose code was seen, read or not."""

    codes: tuple[Code, ...]

    @property
    def numbers(self) -> tuple[str, ...]:
        """Every number that was read, once."""
        return tuple(sorted({n for c in self.codes if c.text is not None and (n := number_of(c.text)) is not None}))

    @property
    def slip(self) -> Slip | None:
        """The one that numbers the photo; None where none was read, or where two numbers contradict each other."""
        if len(self.numbers) != 1:
            return None
        first = next(c for c in self.codes if c.text is not None)
        return Slip(self.numbers[0], as_polygon(first.corners))

    @property
    def papers(self) -> tuple[Array, ...]:
        """Where each lies, (4, 2) in pixels."""
        return tuple(_paper(c) for c in self.codes)

    @property
    def warnings(self) -> tuple[Notice, ...]:
        """What is to be said of them."""
        said = [_notice("slip-unread")] if any(c.text is None for c in self.codes) else []
        if len(self.numbers) > 1:
            said.append(Notice("slips-several", f"{WARNINGS['slips-several']} They say {', '.join(self.numbers)}."))
        return tuple(said)

    def under(self, points_px: ArrayLike) -> bool:
        """Whether the middle of these points (n, 2) lies on a slip."""
        x, y = np.asarray(points_px, float).mean(0)
        return any(cv2.pointPolygonTest(p.astype(np.float32), (float(x), float(y)), False) >= 0 for p in self.papers)


def find(photo: Photo) -> Slips:
    """Read every slip of a photo."""
    return Slips(tuple(c for c in read_all(photo) if _ours(c)))


def set_apart(photo: Photo, slips: Slips, separation: Separation) -> tuple[Slips, Separation, tuple[Notice, ...]]:
    """The slips, with those found by their paper, the separation with slips and their print set aside, and what is to
    be said of them.

    Things with straight sides are read once more, closely; one that shows the grain of a code and no more is a slip
    that cannot be read.
    """
    papers = [t for t in separation.set_aside if not slips.under(t.outline_px) and _is_straight(t)]
    closer = (read_closely(photo, np.asarray(t.outline_px, float)) for t in papers)
    slips = Slips((*slips.codes, *(c for c in closer if c is not None and _ours(c))))
    places = slips.papers
    aside = [SetAside(as_polygon(p), READ if c.text else UNREAD) for p, c in zip(places, slips.codes, strict=True)]
    regions, by_grain = [], False
    for region in separation.regions:
        outline = _hull(region)
        if _covered(region, places) >= COVERED or any(_is_paper_of(outline, p) for p in places):
            continue
        if _shows_grain(photo, outline):
            aside.append(SetAside(as_polygon(outline), UNREAD))
            by_grain = True
        else:
            regions.append(region)
    for thing in separation.set_aside:
        if slips.under(thing.outline_px):
            continue
        grain = _shows_grain(photo, np.asarray(thing.outline_px, float))
        aside.append(SetAside(thing.outline_px, UNREAD) if grain else thing)
        by_grain = by_grain or grain
    said = slips.warnings + ((_notice("slip-unread"),) if by_grain else ())
    return slips, Separation(tuple(regions), tuple(aside), separation.warnings), tuple(dict.fromkeys(said))


def _ours(code: Code) -> bool:
    """A slip, or what may be one."""
    return code.text is None or number_of(code.text) is not None


def _is_straight(thing: SetAside) -> bool:
    outline = np.asarray(thing.outline_px, np.float32)
    if len(outline) < 4:
        return False
    sides = cv2.minAreaRect(outline)[1]
    return cv2.contourArea(cv2.convexHull(outline)) > FILLED * sides[0] * sides[1]


def _paper(code: Code) -> Array:
    """The paper around a code; only the code's own place where its corners make no square, so that which of its marks
    is which is not known."""
    x, y, width, height = REACH if code.skew < SQUARE else (-0.15, -0.15, 1.3, 1.3)
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    to_photo = cv2.getPerspectiveTransform(unit, code.corners.astype(np.float32))
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


def _shows_grain(photo: Photo, outline: Array) -> bool:
    low, high = outline.min(0), outline.max(0)
    if (high - low).min() < 16 or (high - low).max() > 0.5 * max(photo.width, photo.height):
        return False
    x0, y0, x1, y1 = window_of(photo, low, high + 1)
    grey, k = grey_of(photo, (x0, y0, x1, y1)), max(1, int(max(x1 - x0, y1 - y0) / (2 * LONG)))
    return looks_like_a_code(shrunk(grey, k) if k > 1 else grey, (outline - [x0, y0] + 0.5) / k - 0.5)


def _notice(code: str) -> Notice:
    return Notice(code, WARNINGS[code])
