"""The outline file of a model: one `<path id="outline">` in millimetres, moved into the bait's frame."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from xml.parsers import expat

import numpy as np

from identify.geometry import Array, extent_across, max_feret
from identify.outline import frame_of, to_frame
from identify.reference import svgpath
from identify.reference.svgpath import PathFault

FEWEST_POINTS, MOST_POINTS = 3, 1500
LENGTH = re.compile(r"\s*([-+]?[\d.]+(?:[eE][-+]?\d+)?)\s*([a-zA-Z%]*)\s*")
MM = {"mm": 1.0, "cm": 10.0, "in": 25.4}


class SvgFault(ValueError):
    """An outline file that cannot be used: `code` of faults.CODES, `line` in the file, `fix` what to do."""

    def __init__(self, code: str, line: int | None, text: str, fix: str) -> None:
        super().__init__(text)
        self.code, self.line, self.fix = code, line, fix


@dataclass(frozen=True, eq=False)
class Outline:
    """A body outline in the bait's frame as drawn: (n, 2) in mm, origin at the nose end of the maximum Feret diameter.

    `length_mm` is that diameter, `depth_mm` the extent at right angles to it.  `turn_deg`: how far the drawing's x axis
    was turned into the frame.  `line`: of the path in its file.
    """

    points: Array
    length_mm: float
    depth_mm: float
    turn_deg: float
    line: int


class _Finder:
    """Collects what is needed of an SVG document while expat reads it; no entity is ever expanded."""

    def __init__(self) -> None:
        self.parser = expat.ParserCreate()
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.EntityDeclHandler = self.entity
        self.paths: list[tuple[str, int]] = []
        self.root: tuple[str, dict[str, str], int] | None = None
        self.moved: list[int] = []
        self.depth = 0

    def fault(self, code: str, text: str, fix: str) -> SvgFault:
        return SvgFault(code, self.parser.CurrentLineNumber, text, fix)

    def entity(self, *_: object) -> None:
        raise self.fault("outline-syntax", "the file declares XML entities", "Save it again as plain SVG.")

    def start(self, name: str, attributes: dict[str, str]) -> None:
        self.depth += 1
        if self.root is None:
            self.root = (name, attributes, self.parser.CurrentLineNumber)
        elif attributes.get("transform", "").strip():
            self.moved.append(self.depth)
        if name.rpartition(":")[2] == "path" and attributes.get("id") == "outline":
            if self.moved:
                raise self.fault(
                    "outline-transform",
                    "the outline, or a group that it lies in, has a transform",
                    "Apply the transform to the points (ungroup, then save as plain SVG), and remove the attribute.",
                )
            self.paths.append((attributes.get("d", ""), self.parser.CurrentLineNumber))

    def end(self, name: str) -> None:
        if self.moved and self.moved[-1] == self.depth:
            self.moved.pop()
        self.depth -= 1


@lru_cache(maxsize=64)
def read_outline(data: bytes) -> Outline:
    """The outline in an SVG file's bytes.  Raises SvgFault."""
    finder = _Finder()
    try:
        finder.parser.Parse(data, True)
    except expat.ExpatError as why:
        text = f"the file is not SVG: {expat.errors.messages[why.code]}"
        raise SvgFault("outline-syntax", why.lineno, text, "Save the outline again as plain SVG.") from None
    except (UnicodeError, LookupError) as why:
        raise SvgFault("not-utf8", None, f"the file is not UTF-8: {why}", "Save it in UTF-8.") from None
    _check_page(finder)
    if len(finder.paths) != 1:
        found = "no path" if not finder.paths else f"{len(finder.paths)} paths"
        raise SvgFault(
            "outline-no-path",
            None,
            f'the file has {found} with the id "outline"',
            'Give the body\'s outline, one closed path, the id "outline".',
        )
    data_text, line = finder.paths[0]
    try:
        subpaths = svgpath.parse(data_text)
    except PathFault as why:
        fix = "Use the commands M, L, H, V, C, S, Q, T and Z only: convert the object to a path, and save as plain SVG."
        raise SvgFault(why.code, line, str(why), fix) from None
    return _framed(subpaths, line)


def _check_page(finder: _Finder) -> None:
    """The root must be an svg element whose viewBox is in millimetres."""
    assert finder.root is not None
    name, attributes, line = finder.root
    if name.rpartition(":")[2] != "svg":
        raise SvgFault("outline-syntax", line, f"the file's root is <{name}>, not <svg>", "Save it as plain SVG.")
    box = attributes.get("viewBox", "").replace(",", " ").split()
    try:
        _, _, width, height = (float(v) for v in box)
    except ValueError:
        width = height = 0.0
    if not (width > 0 and height > 0):
        text = "the file has no viewBox with four numbers"
        fix = 'Add viewBox="0 0 WIDTH HEIGHT" in millimetres to the svg element.'
        raise SvgFault("outline-viewbox", line, text, fix)
    for key, side in (("width", width), ("height", height)):
        size = LENGTH.fullmatch(attributes.get(key, ""))
        if size and size.group(2) in MM:
            stated = float(size.group(1)) * MM[size.group(2)]
            if abs(stated - side) > 0.01 * side:
                text = f"the {key} is {stated:g} mm, but the viewBox makes it {side:g}"
                fix = "Set the document's unit to millimetres, so that one unit of the viewBox is one millimetre."
                raise SvgFault("outline-viewbox", line, text, fix)


def _framed(subpaths: tuple[svgpath.Subpath, ...], line: int) -> Outline:
    close = "Draw the body's outline as one closed path (Z at its end), without hardware."
    if len(subpaths) != 1:
        text = "the outline is empty" if not subpaths else f"the outline consists of {len(subpaths)} separate pieces"
        raise SvgFault("outline-open", line, text, close)
    (path,) = subpaths
    if not path.closed:
        raise SvgFault("outline-open", line, "the outline is not closed", close)
    points = path.points
    if len(points) < FEWEST_POINTS or not np.isfinite(points).all() or min(np.ptp(points, axis=0)) < 1e-6:
        raise SvgFault("outline-open", line, "the outline encloses nothing", close)
    if len(points) > MOST_POINTS:
        text = f"the outline has {len(points)} points"
        raise SvgFault("outline-syntax", line, text, f"Simplify it: a few dozen are enough, {MOST_POINTS} the most.")
    if (where := svgpath.crossing(points)) is not None:
        text = f"the outline crosses itself near x {where[0]:.1f}, y {where[1]:.1f}"
        raise SvgFault("outline-crosses", line, text, "Move the points there so that the line does not cross itself.")
    left = points[np.argmin(points[:, 0])]
    ends = max_feret(points)
    nose, tail = frame_of(ends, left) if ends[0][0] == ends[1][0] else sorted(ends, key=lambda p: float(p[0]))
    dx, dy = tail - nose
    framed = to_frame(points, nose, tail, back_is_left=True, y_down=True)
    framed.flags.writeable = False
    return Outline(
        points=framed,
        length_mm=float(np.hypot(dx, dy)),
        depth_mm=extent_across(points, nose, tail),
        turn_deg=float(np.degrees(np.arctan2(dy, dx))),
        line=line,
    )
