"""A slip that lies against a bait, over its hooks or under them: what of the bait can be told for less sure then.

Rings on white paper among black print are missed or imagined, and paper that ends at the body pulls its outline.  No
published source for the figures: demo photos with slips drawn into them, just touching a bait or partly under it.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from identify.geometry import Array
from identify.records import TIE_COUNTS, WARNINGS, Measurement, Notice, Part, Quantity
from identify.slips.find import Slips

REACH_MM = 4.0
"""Rings stand out from the body so far."""
UNREAD = 4.0
"""Of a code that could not be read it is not known where its paper ends: so much farther."""
USUAL_MM = 65.0
"""Length of a bait in a photo without a scale."""
MISREAD = 0.3
"""Chance that a count of ties is misread there; every count is then as likely."""
SURE = 0.5
LENGTH, DEPTH = 0.004, 0.02
"""More uncertainty of length and of depth, as shares of them."""
PART = "a slip against the bait"


def doubted(m: Measurement, slips: Slips) -> Measurement:
    """The measurement, with what a slip that lies against the bait leaves less sure, and a warning; the same without
    one."""
    outline = np.asarray(m.outline_px, float)
    length_px = float(np.hypot(*np.subtract(m.tail_px, m.nose_px)))
    reach = REACH_MM * length_px / (USUAL_MM if m.length_mm is None else m.length_mm.value)
    if not any(
        _near(outline, paper, reach if code.text is not None else UNREAD * reach)
        for code, paper in zip(slips.codes, slips.papers, strict=True)
    ):
        return m
    length, depth = (_widened(q, share) for q, share in ((m.length_mm, LENGTH), (m.depth_mm, DEPTH)))
    proportion = _widened(m.depth_to_length, float(np.hypot(LENGTH, DEPTH)))
    assert proportion is not None
    notices = (*m.warnings, Notice("slip-touches", WARNINGS["slip-touches"]))
    ties = m.line_ties
    if ties is not None and ties.probabilities is not None:
        shares = tuple((1 - MISREAD) * p + MISREAD / len(TIE_COUNTS) for p in ties.probabilities)
        ties = replace(ties, probabilities=shares, count=ties.count if max(shares) > SURE else None)
        if ties.count is None and not any(n.code == "ties-unsure" for n in notices):
            notices = (*notices, Notice("ties-unsure", WARNINGS["ties-unsure"]))
    return replace(
        m, length_mm=length, depth_mm=depth, depth_to_length=proportion, line_ties=ties, warnings=notices
    )  # fmt: skip


def _near(outline: Array, paper: Array, reach: float) -> bool:
    """Whether any of an outline (n, 2) lies on a paper (4, 2) or no farther than `reach` from it."""
    rim = paper.astype(np.float32)
    return any(cv2.pointPolygonTest(rim, (float(x), float(y)), True) >= -reach for x, y in outline)


def _widened(q: Quantity | None, share: float) -> Quantity | None:
    if q is None:
        return None
    more = abs(q.value) * share
    return Quantity(q.value, float(np.hypot(q.u, more)), (*q.parts, Part(PART, more)) if q.parts else ())
