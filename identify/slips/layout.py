"""Slips and tags as they are printed, in millimetres.

A slip is twice as long as it is high, so that it is not taken for a card of 1.586; codes are large enough for four
pixels a module where a photo has five pixels a millimetre.
"""

from __future__ import annotations

from dataclasses import dataclass

Rectangle = tuple[float, float, float, float]
"""x, y from the top left corner, width, height."""


@dataclass(frozen=True)
class Layout:
    """One kind of slip.  `margin`: of the code from the left edge; `hole`: its centre from the right edge, None without
    one; `number`: where the large number stands."""

    width: float
    height: float
    code: float
    margin: float
    number: Rectangle
    lot: Rectangle
    hole: float | None = None


SLIP = Layout(60.0, 30.0, 23.0, 3.5, number=(28.5, 5.0, 29.0, 13.5), lot=(28.5, 20.5, 29.0, 4.5))
TAG = Layout(46.0, 22.0, 17.0, 2.5, number=(20.5, 4.0, 17.5, 9.0), lot=(20.5, 15.0, 17.5, 3.2), hole=4.5)
HOLE_MM = 3.5


def _reach(layout: Layout) -> Rectangle:
    down = (layout.height - layout.code) / 2
    return (-layout.margin / layout.code, -down / layout.code, layout.width / layout.code, layout.height / layout.code)


REACH: Rectangle = (
    min(_reach(SLIP)[0], _reach(TAG)[0]),
    min(_reach(SLIP)[1], _reach(TAG)[1]),
    max(_reach(SLIP)[2], _reach(TAG)[2]),
    max(_reach(SLIP)[3], _reach(TAG)[3]),
)
"""The paper around a code whose side is 1, origin at the code's top left: the larger of both kinds."""
