"""Which colours a surface can have: the Rösch-MacAdam solid of optimal colours, coarsely.

MAX_CHROMA holds the greatest C*ab of any non-fluorescent surface under CIE D50 and the CIE 1931 2° observer, by
lightness (row) and hue (every 15°), each the greatest within ±9°: spectra of reflectance 0 or 1 with two edges
(MacAdam 1935), computed at 1 nm from the CIE's tables.
"""

from __future__ import annotations

import math
from functools import lru_cache

Lab = tuple[float, float, float]

MAX_CHROMA: dict[float, tuple[int, ...]] = {
    1: (10, 9, 5, 3, 3, 2, 2, 2, 3, 3, 5, 5, 5, 5, 5, 6, 8, 11, 22, 41, 75, 116, 17, 12),
    2: (19, 17, 10, 6, 5, 4, 4, 4, 5, 6, 9, 9, 9, 9, 10, 11, 15, 20, 31, 48, 84, 144, 37, 24),
    3: (28, 25, 15, 9, 7, 6, 6, 6, 7, 9, 13, 14, 14, 13, 14, 17, 20, 27, 37, 53, 92, 159, 57, 35),
    5: (39, 37, 25, 15, 12, 10, 9, 10, 12, 15, 21, 22, 22, 22, 23, 26, 29, 35, 44, 60, 105, 173, 83, 48),
    10: (52, 50, 49, 30, 23, 19, 18, 19, 23, 29, 42, 44, 44, 42, 41, 40, 42, 46, 55, 75, 130, 182, 108, 63),
    15: (62, 60, 61, 44, 34, 29, 27, 29, 34, 44, 62, 65, 65, 62, 57, 53, 50, 55, 65, 88, 153, 177, 122, 74),
    20: (69, 69, 72, 59, 45, 38, 35, 38, 44, 58, 80, 86, 86, 81, 71, 62, 58, 63, 75, 101, 166, 168, 134, 84),
    30: (85, 84, 92, 88, 67, 57, 53, 57, 66, 83, 111, 126, 126, 114, 88, 75, 70, 76, 91, 121, 148, 156, 147, 102),
    40: (96, 95, 102, 110, 89, 76, 70, 75, 87, 106, 134, 157, 157, 129, 99, 85, 80, 87, 103, 112, 129, 146, 146, 116),
    50: (102, 98, 110, 123, 111, 94, 87, 93, 107, 127, 152, 166, 166, 132, 105, 91, 86, 89, 87, 94, 109, 135, 136, 121),
    60: (
        99,
        95,
        107,
        132,
        132,
        113,
        104,
        111,
        125,
        143,
        162,
        164,
        160,
        129,
        105,
        93,
        88,
        76,
        70,
        75,
        88,
        113,
        122,
        117,
    ),
    70: (87, 82, 91, 113, 138, 131, 121, 127, 138, 152, 159, 159, 145, 119, 100, 88, 67, 57, 53, 57, 66, 87, 101, 101),
    80: (67, 63, 68, 83, 116, 143, 137, 137, 144, 148, 148, 140, 120, 101, 88, 59, 45, 38, 35, 38, 45, 58, 74, 74),
    90: (39, 37, 39, 46, 62, 146, 146, 139, 135, 128, 112, 92, 77, 67, 49, 30, 23, 19, 18, 19, 23, 30, 41, 41),
    95: (21, 20, 22, 26, 34, 57, 138, 134, 117, 92, 68, 53, 43, 38, 25, 15, 12, 10, 9, 10, 12, 15, 21, 22),
    96: (17, 17, 18, 21, 28, 46, 134, 131, 109, 80, 57, 43, 36, 31, 20, 12, 9, 8, 7, 8, 9, 12, 17, 18),
    97: (13, 13, 14, 16, 21, 34, 127, 127, 99, 66, 45, 33, 27, 24, 15, 9, 7, 6, 6, 6, 7, 9, 13, 13),
    98: (9, 9, 10, 11, 14, 23, 116, 116, 84, 49, 31, 23, 19, 17, 10, 6, 5, 4, 4, 4, 5, 6, 9, 9),
    98.5: (7, 7, 7, 9, 11, 17, 54, 108, 74, 39, 24, 18, 14, 13, 8, 5, 4, 3, 3, 3, 4, 5, 7, 7),
    99: (5, 5, 5, 6, 8, 12, 31, 94, 61, 28, 17, 12, 10, 9, 5, 3, 3, 2, 2, 2, 3, 3, 5, 5),
}
_LEVELS = tuple(MAX_CHROMA)
SLACK = 1.05
SLACK_CHROMA = 4.0
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


@lru_cache(maxsize=4096)
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
