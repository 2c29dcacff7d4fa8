"""Where what a person told of a bait and what the photo shows do not agree.

What was told replaces the photo's reading in ranking, and is never averaged with it; the clash is shown, since one of
the two is wrong: a slip of the pen, or an outline that was traced badly.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from identify.records import TIE_COUNTS, Clash, LineTies, Measurement, Quantity
from identify.size import deepest_section, thickness_from_depth
from identify.told import Told

FAR = 2.5
"""Combined standard uncertainties beyond which two readings of one length clash: by chance once in eighty."""
RARE = 0.05
"""Probability below which a count or a lip told does not agree with what was seen."""
NOUNS = {"ties": "line tie", "hangers": "hanger", "hooks": "hook"}


def clashes(told: Sequence[Told], m: Measurement) -> tuple[Clash, ...]:
    """Everything told that the photo does not show so, in the order told."""
    return tuple(clash for one in told for clash in _clash(one, m, told))


def _clash(t: Told, m: Measurement, told: Sequence[Told]) -> Iterable[Clash]:
    if t.u is not None and t.key != "weight_g":
        yield from _length(t, m, told)
    elif t.key == "ties" and m.line_ties is not None:
        yield from _ties(int(t.value), m.line_ties)
    elif t.key in ("hangers", "hooks"):
        seen = m.hangers if t.key == "hangers" else m.hooks
        if seen is not None and seen.count != t.value:
            yield _said(t.key, _things(t.key, int(t.value)), _things(t.key, seen.count))
    elif t.key == "lip" and m.lip is not None:
        there = t.value != "none"
        if (m.lip.probability if there else 1 - m.lip.probability) < RARE:
            yield _said("lip", f"a lip of {t.value}" if there else "no lip", "no lip" if there else "a lip")
    elif t.key == "parts" and t.value == 1 and any(n.code == "joint-seen" for n in m.warnings):
        yield _said("parts", "a body of one piece", "a gap across it")
    elif t.key == "eye" and t.value == "none" and m.eye is not None:
        yield _said("eye", "no eye", "an eye")


def _length(t: Told, m: Measurement, told: Sequence[Told]) -> Iterable[Clash]:
    assert t.u is not None
    at, u, unit = float(t.value), t.u, "mm"
    seen = _thickness(m) if t.key == "thickness_mm" else m.length_mm if t.key == "length_mm" else m.depth_mm
    length = next((o for o in told if o.key == "length_mm"), None)
    if t.key == "depth_mm" and seen is None and length is not None and length.u is not None:
        # without a scale the photo still shows the proportion
        long = float(length.value)
        at, u, unit = at / long, at / long * math.hypot(u / at, length.u / long), "of the length"
        seen = m.depth_to_length
    if seen is not None and abs(at - seen.value) > FAR * math.hypot(u, seen.u):
        name = t.key.removesuffix("_mm")
        yield _said(t.key, f"a {name} of {_pm(at, u)} {unit}", f"{_pm(seen.value, seen.u)} {unit}")


def _thickness(m: Measurement) -> Quantity | None:
    """What the photo alone says of the thickness."""
    if m.thickness_mm is not None and m.thickness_mm.source == "photo":
        return Quantity(m.thickness_mm.value, m.thickness_mm.u)
    if m.outline_mm is None or m.length_mm is None:
        return None
    usual = thickness_from_depth(deepest_section(np.asarray(m.outline_mm, float)), m.length_mm.value)
    return Quantity(usual.value, usual.u)


def _ties(count: int, seen: LineTies) -> Iterable[Clash]:
    if seen.probabilities is None:
        return
    most = int(np.argmax(seen.probabilities))
    if seen.probabilities[min(count, len(TIE_COUNTS) - 1)] < RARE and most != count:
        yield _said("ties", _things("ties", count), _things("ties", most))


def _things(key: str, n: int) -> str:
    return f"{n or 'no'} {NOUNS[key]}{'' if n == 1 else 's'}"


def _pm(value: float, u: float) -> str:
    digits = min(4, max(0, 1 - math.floor(math.log10(u)))) if u > 0 else 2
    return f"{value:.{digits}f} ± {u:.{digits}f}"


def _said(key: str, told: str, measured: str) -> Clash:
    text = f"Told was {told}, the photo shows {measured}. What was told counts; please look again at both."
    return Clash(key, told, measured, text)
