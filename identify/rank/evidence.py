"""Evidence in words: what was measured, what a form would show, and how that speaks."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from identify.rank.prepared import Prepared
from identify.rank.readings import Readings
from identify.rank.telling import told_features
from identify.rank.words import expected, percent
from identify.records import ColourwayMatch, Evidence

LN10 = math.log(10)
UNLISTED = "an unlisted bait"


@dataclass(frozen=True, eq=False)
class Scored:
    """How the features speak for one form: natural log ratios by feature, the way round that fits best, and what adds
    up to its probability against none of these (`sizes` is None when sizes are ranked; `maker_weight` when no prior was
    set)."""

    index: int
    way: int
    features: dict[str, float]
    turned: float
    look_alikes: float
    sizes: float | None
    prior: float
    prior_share: float
    maker_weight: float | None
    calibration: float

    @property
    def total(self) -> float:
        """ln of this form's probability over that of none of these."""
        rest = self.turned + self.look_alikes + (self.sizes or 0.0) + self.prior + self.calibration
        return sum(self.features.values()) + rest


def rows(
    r: Readings, p: Prepared, s: Scored, match: ColourwayMatch | None, said: Mapping[str, str]
) -> tuple[Evidence, ...]:
    """The evidence for one form; `said` is `words.measured`.  Weights are log10 of the likelihood ratio against an
    unlisted bait, and add up, prior and calibration included, to log10 of the form's probability over that of none of
    these."""
    would = expected(r, p, s.index, s.way, match, s.features)
    told = told_features(r)
    found = [
        Evidence(name, said[name], would[name], weight / LN10, name in told) for name, weight in s.features.items()
    ]
    noise = p.noise
    certainty = f"nose {percent(r.p_nose)} sure, back {percent(r.p_back)} sure"
    fits = ("as read", "back and belly swapped", "nose and tail swapped", "both swapped")[s.way]
    found.append(Evidence("which way round", certainty, fits, s.turned / LN10))
    if s.sizes is not None:
        found.append(Evidence("sizes", "no scale", "any of its sizes, the best one shown", s.sizes / LN10))
    copies = f"{percent(noise.cousin)} of unlisted baits follow listed ones in part"
    found.append(Evidence("look-alikes on no list", copies, UNLISTED, s.look_alikes / LN10))
    weighed = "" if s.maker_weight is None else f", the maker weighed {s.maker_weight:g}"
    prior = f"none of these {percent(noise.none)}", f"this one {percent(s.prior_share)}{weighed}"
    found.append(Evidence("prior", *prior, s.prior / LN10))
    divided = "the photo's evidence" if told else "evidence"
    fitted = f"{divided} divided by {noise.temperature:g}", f"then times {math.exp(noise.offset):.2g}"
    found.append(Evidence("calibration", *fitted, s.calibration / LN10))
    return tuple(found)
