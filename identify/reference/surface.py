"""Which colours a surface can have: the Rösch-MacAdam solid of optimal colours, coarsely.

MAX_CHROMA holds the greatest C*ab of any non-fluorescent surface under CIE D50 and the CIE 1931 2° observer, by
lightness (row) and hue (every 15°), each the greatest within ±7.5°: spectra of reflectance 0 or 1 with two edges
(MacAdam 1935), computed at 1 nm from the CIE's tables.
"""

from __future__ import annotations

import math

Lab = tuple[float, float, float]

MAX_CHROMA: dict[int, tuple[int, ...]] = {
    1: (46, 17, 5, 3, 3, 2, 2, 2, 3, 3, 5, 5, 5, 5, 5, 6, 7, 11, 20, 38, 69, 116, 103, 74),
    5: (52, 41, 23, 15, 11, 10, 9, 10, 11, 15, 21, 22, 22, 22, 23, 25, 29, 34, 43, 58, 97, 169, 77, 62),
    10: (63, 56, 46, 29, 22, 19, 18, 19, 22, 29, 41, 44, 44, 42, 41, 40, 42, 46, 54, 72, 121, 181, 100, 71),
    15: (64, 62, 61, 43, 33, 28, 27, 28, 33, 42, 60, 65, 65, 62, 57, 52, 50, 54, 64, 85, 142, 176, 114, 81),
    20: (92, 84, 75, 57, 44, 38, 35, 38, 44, 56, 78, 86, 86, 80, 70, 61, 57, 62, 73, 97, 161, 168, 126, 100),
    30: (95, 94, 93, 85, 66, 56, 52, 56, 65, 81, 108, 126, 126, 111, 87, 75, 70, 76, 89, 117, 146, 156, 142, 103),
    40: (113, 112, 111, 110, 87, 75, 70, 74, 85, 104, 131, 157, 157, 125, 98, 84, 80, 86, 101, 110, 127, 146, 146, 114),
    50: (
        105,
        111,
        119,
        123,
        109,
        93,
        87,
        92,
        105,
        124,
        149,
        166,
        164,
        129,
        103,
        90,
        86,
        89,
        87,
        93,
        107,
        133,
        136,
        120,
    ),
    60: (
        111,
        118,
        125,
        132,
        130,
        112,
        104,
        110,
        123,
        141,
        160,
        164,
        157,
        126,
        104,
        92,
        87,
        75,
        70,
        75,
        86,
        110,
        122,
        115,
    ),
    70: (96, 108, 120, 131, 138, 130, 121, 126, 137, 151, 159, 159, 142, 117, 99, 85, 66, 56, 52, 56, 65, 84, 101, 99),
    80: (68, 80, 99, 118, 138, 143, 136, 137, 143, 148, 148, 138, 118, 99, 87, 57, 44, 38, 35, 38, 44, 56, 74, 74),
    90: (39, 38, 54, 84, 114, 144, 146, 139, 134, 127, 110, 91, 76, 66, 46, 29, 22, 19, 18, 19, 22, 29, 40, 41),
    95: (21, 21, 22, 27, 35, 91, 138, 132, 115, 89, 66, 52, 43, 38, 23, 15, 11, 10, 9, 10, 11, 15, 21, 22),
    99: (5, 5, 5, 6, 7, 11, 26, 91, 57, 27, 16, 12, 10, 9, 5, 3, 3, 2, 2, 2, 3, 3, 5, 5),
}
_LEVELS = tuple(MAX_CHROMA)
SLACK = 1.05
SLACK_CHROMA = 2.0
"""A table this coarse must not refuse what lies just inside."""
VIVID_PAINT = 110.0
"""Chroma that artists' and industrial paints hardly exceed."""


def max_chroma(lightness: float, hue_deg: float) -> float:
    """Greatest chroma a surface of this lightness and hue can have, linear between the table's entries."""
    level = min(max(lightness, _LEVELS[0]), _LEVELS[-1])
    upper = next(i for i, value in enumerate(_LEVELS) if value >= level)
    lower = max(upper - 1, 0)
    gap = _LEVELS[upper] - _LEVELS[lower]
    t = (level - _LEVELS[lower]) / gap if gap else 0.0
    place = hue_deg % 360 / 15
    left, s = int(place) % 24, place - int(place)

    def across(row: tuple[int, ...]) -> float:
        return row[left] * (1 - s) + row[(left + 1) % 24] * s

    return across(MAX_CHROMA[_LEVELS[lower]]) * (1 - t) + across(MAX_CHROMA[_LEVELS[upper]]) * t


def impossible(lab: Lab) -> str | None:
    """Why no surface can have this colour (CIELAB, D50, 2°), None if one can."""
    lightness, a, b = lab
    if not 0 <= lightness <= 100:
        return "lightness L* lies between 0 (black) and 100 (white)"
    chroma = math.hypot(a, b)
    limit = max_chroma(lightness, math.degrees(math.atan2(b, a))) * SLACK + SLACK_CHROMA
    if chroma > limit:
        return f"at lightness {lightness:g} and this hue chroma reaches {limit:.0f} at most, and this is {chroma:.0f}"
    return None


def vivid(lab: Lab) -> bool:
    """Whether a colour is more vivid than paint usually is."""
    return math.hypot(lab[1], lab[2]) > VIVID_PAINT
