"""Whether the colours are those of the stated colourway, as they are or exchanged between back and belly."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from identify.geometry import Array
from identify.listing import contrast
from identify.listing.words import Stated
from identify.rank import Prepared, Readings
from identify.rank.colourways import pattern_chances, speak
from identify.rank.palette import PATTERNS
from identify.records import Colour
from identify.reference.profile import Colourway

EXCHANGED, OTHERS = 0.25, 0.5
"""If the colourway is not the stated one: the chance that it is the stated one with back and belly exchanged, and that
it is the listed one that fits best; the rest is for paint that is on no list."""
ALIKE = 0.25
"""In ln Y: less back and belly do not differ in lightness."""


@dataclass(frozen=True, eq=False)
class Paints:
    """`stated`: probability of the stated colourway; `exchanged`: of the same with back and belly exchanged; `against`:
    natural log of the likelihood of the stated one over that of all else it may be."""

    colourway: Colourway
    stated: float
    exchanged: float
    against: float


def ratios_of(r: Readings, p: Prepared, calibrated: bool) -> Array | None:
    """Log ratios (2, c) of colourways against paint on no list, with back and belly as read and swapped.  Without a
    card they are those of the contrast and of the pattern.  None when too little was read."""
    if calibrated:
        speech = speak(r, p.palette, p.share, p.noise)
        return None if speech is None else speech.by_colourway
    seen = contrast.read_contrast(r.back, r.belly)
    if seen is None or not p.palette.colourways:
        return None
    return contrast.against_all(seen, p) + _patterns(r, p)


def _patterns(r: Readings, p: Prepared) -> Array:
    """Log ratios (c,) of the pattern; 0 where the set does not say it."""
    ratios = np.zeros(len(p.palette.colourways))
    if r.pattern is not None and r.pattern.kind in PATTERNS:
        k, broad, sure = PATTERNS.index(r.pattern.kind), np.array(p.noise.pattern_broad), r.pattern.certainty
        by_kind = np.log((sure * pattern_chances(p.noise)[:, k] + (1 - sure) * broad[k]) / broad[k])
        for i, c in enumerate(p.palette.colourways):
            ratios[i] = by_kind[PATTERNS.index(c.pattern)] if c.pattern in PATTERNS else 0.0
    return ratios


def weigh_paints(r: Readings, p: Prepared, stated: Stated, way: int, calibrated: bool) -> Paints | None:
    """Weigh the stated colourway.  `way`: how the bait lies under the words.  None when none was stated or the colours
    were not read."""
    listed = np.unique(np.concatenate([p.palette.of(int(i)) for i in stated.forms]))
    own = [int(i) for i in listed if p.palette.colourways[int(i)].code == stated.colourway]
    if stated.colourway is None or not own:
        return None
    ratios = ratios_of(r, p, calibrated)
    if ratios is None:
        return None
    sure = min(max(r.p_back, 1 - r.p_back), 1 - p.noise.orientation_doubt)
    swapped = int(bool(way & 1))
    mixed = np.logaddexp(ratios[swapped] + math.log(sure), ratios[1 - swapped] + math.log(1 - sure))
    turned = np.logaddexp(ratios[1 - swapped] + math.log(sure), ratios[swapped] + math.log(1 - sure))
    best = max(own, key=lambda i: mixed[i])
    others = [float(mixed[i]) for i in listed if int(i) not in own]
    terms = [float(mixed[best]), math.log(EXCHANGED) + float(turned[best])]
    if others:
        terms += [math.log(1 - EXCHANGED - OTHERS), math.log(OTHERS) + max(others)]
    else:
        terms.append(math.log(1 - EXCHANGED))
    shares = np.exp(np.array(terms) - max(terms))
    shares /= shares.sum()
    against = math.log(max(float(shares[0]), 1e-300) / max(float(shares[1:].sum()), 1e-300))
    return Paints(p.palette.colourways[best], float(shares[0]), float(shares[1]), against)


def seen_words(back: Colour | None, belly: Colour | None) -> str:
    """How back and belly look beside each other."""
    if back is None or belly is None:
        return "not both seen"
    light = contrast.contrast(back.lab, belly.lab)[0]
    return f"{_lighter(light)} ({back.name} over {belly.name}, as the picture shows them)"


def listed_words(c: Colourway) -> str:
    """The same for a colourway of the set."""
    if c.back_lab is None or c.belly_lab is None:
        return c.name
    return f"{c.name}: {_lighter(contrast.contrast(c.back_lab, c.belly_lab)[0])}"


def _lighter(ln_y: float) -> str:
    if abs(ln_y) < ALIKE:
        return "back about as light as the belly"
    return f"back {'lighter' if ln_y > 0 else 'darker'} than the belly"
