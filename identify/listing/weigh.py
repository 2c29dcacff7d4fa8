"""How likely what was measured is under the words, against what else it may be: another model or an unlisted bait.

All of it is ranking's own likelihoods.  Before looking, the words are as likely as the other listed model that fits
best: a bait is taken for what looks like it, so the average over all other models would be too kind to the words.  It
may be an unlisted one too, but one that follows the stated model in most things and is its own in some: a bait drawn
blindly from all that are on no list would be too easy a rival.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from identify.geometry import Array
from identify.listing import contrast
from identify.listing.words import Stated
from identify.rank import Prepared, Readings, facts, likelihood
from identify.rank.body import BODY, trace
from identify.rank.likelihood import MISREAD_BODY
from identify.rank.noise import Misread, Noise
from identify.rank.posterior import KIN, weigh
from identify.rank.ranking import speech
from identify.rank.rings import Indices
from identify.rank.telling import told_features
from identify.rank.whatif import Case

UNLISTED = 0.5
"""How likely before looking the bait is on no list, beside the words and beside the best of the other models."""
CLEARLY_BETTER = math.log(10)
"""A rival is clearly better when it is so much likelier than the words."""
PLACES = ("tie places", "hangers", "hanger places")
"""What says nothing against a form where line ties cannot be counted."""
TEMPERATURE = 1.25
"""Divides the evidence: somebody else's pictures fail in more ways than those that ranking is calibrated on.  The
verdict's thresholds go with it (photos of the tune split)."""
MISREAD = (
    Misread(0.03, 0.10, length=0.03, aspect=0.05, outline=3.0),
    Misread(0.01, 0.05, length=0.12, aspect=0.25, outline=8.0),
)
"""Small, spoilt and lettered pictures are traced wrongly more often than a collector's own photos."""
COPIED = 0.7
"""Probability that such a bait follows the stated model in one group of features (`posterior.KIN`)."""


@dataclass(frozen=True, eq=False)
class Weighed:
    """`stated`: probability of the words.  `best`: the stated form (an index) that fits best, and `way` how it lies;
    `features`: natural log of the likelihood of each reading under it, against an unlisted bait.

    `rivals`: other models (or other sizes of the stated one), the likeliest first, each with its best form and the
    natural log of its likelihood over that of the words.  `unlisted`: the same for a bait on no list.
    """

    case: Case
    stated: float
    best: int
    way: int
    features: Mapping[str, float]
    rivals: tuple[tuple[int, float], ...]
    unlisted: float

    @property
    def r(self) -> Readings:
        return self.case.r

    @property
    def p(self) -> Prepared:
        return self.case.p


def weigh_words(r: Readings, p: Prepared, stated: Stated, calibrated: bool) -> Weighed:
    """Weigh the words by readings of one piece.  `calibrated`: a card told the light, so colours count as they are;
    without one only back against belly does."""
    noise = replace(p.noise, temperature=TEMPERATURE, misread_bodies=MISREAD)
    p = replace(p, noise=noise)
    ways = likelihood.ways_to_try(r, noise)
    body = trace(r, p, ways)
    if calibrated:
        spoken, _ = speech(r, p, ways, body)
    else:
        spoken, _ = speech(replace(r, back=None, belly=None, zones=()), p, ways, body)
        told_apart = contrast.speak(r, p)
        if told_apart is not None:
            spoken["colours"] = told_apart[likelihood.BACK_SWAPPED[ways].astype(int)]
    if r.tie_count is None:
        # rings that cannot be counted were not seen well enough to be in wrong places
        spoken |= {name: np.maximum(spoken[name], 0.0) for name in PLACES if name in spoken}
    log_ways, other = likelihood.log_ways(r, noise)[ways], facts.log_not_comparable(r, p)
    found = weigh(spoken, ways, log_ways, p.share, told_features(r), other, noise)
    own = stated.forms
    # against any unlisted bait, those that follow a listed one not yet counted
    evidence = found.evidence + found.kin / noise.temperature
    words = _mean(evidence[own], p.share[own])
    rivals = _rivals(evidence, p, stated, r.scaled)
    best = int(own[np.argmax(evidence[own])])
    follower = _follower({k: float(v[best]) for k, v in found.features.items()}, float(found.turned[best]), noise)
    unlisted = float(np.logaddexp(follower, other))
    against = float(np.logaddexp(math.log(UNLISTED) + unlisted, rivals[0][1])) if rivals else unlisted
    odds = words - against
    return Weighed(
        case=Case(r, p, ways, body, spoken, p.share, other, found),
        stated=1 / (1 + math.exp(-max(min(odds, 600.0), -600.0))),
        best=best,
        way=int(found.way[best]),
        features=_features({name: float(values[best]) for name, values in found.features.items()}),
        rivals=tuple((i, value - words) for i, value in rivals),
        unlisted=unlisted - words,
    )


def _follower(features: Mapping[str, float], turned: float, noise: Noise) -> float:
    """ln of the likelihood of an unlisted bait that follows the stated model in part, against any unlisted bait.
    It lies as the stated one would (`turned`: what the ways round add)."""
    grouped = {name for group in KIN for name in group}
    groups = [*KIN, *((name,) for name in features if name not in grouped)]
    total = turned / noise.temperature
    for group in groups:
        speaks = sum(features[name] for name in group if name in features) / noise.temperature
        total += float(np.logaddexp(math.log(1 - COPIED), math.log(COPIED) + speaks))
    return total


def _mean(evidence: Array, share: Array) -> float:
    """Logarithm of the mean of exponentials."""
    top = float(evidence.max())
    return top + math.log(float(share @ np.exp(evidence - top) / share.sum()))


def _rivals(evidence: Array, p: Prepared, stated: Stated, scaled: bool) -> list[tuple[int, float]]:
    """The other models and, where sizes can be told apart, the other sizes of the stated one: best form, evidence."""
    groups: dict[tuple[int, str | None], list[int]] = {}
    meant = set(stated.forms.tolist())
    model = int(p.model[stated.forms[0]])
    for i, form in enumerate(p.forms):
        if i in meant:
            continue
        if int(p.model[i]) != model:
            groups.setdefault((int(p.model[i]), None), []).append(i)
        elif scaled or stated.variant is not None:
            groups.setdefault((model, form.size), []).append(i)
    rows = []
    for own in groups.values():
        chosen: Indices = np.array(own, np.int64)
        value = _mean(evidence[chosen], p.share[chosen])
        rows.append((int(chosen[np.argmax(evidence[chosen])]), value))
    return sorted(rows, key=lambda row: -row[1])


def _features(found: dict[str, float]) -> dict[str, float]:
    """Weights with what an outline traced wrongly would explain taken off the rows that it would spoil."""
    excuse = found.pop(MISREAD_BODY, 0.0)
    against = sum(found[name] for name in BODY if found.get(name, 0.0) < 0)
    if excuse > 0 > against:
        left = max(0.0, 1 + excuse / against)
        found |= {name: found[name] * left for name in BODY if found.get(name, 0.0) < 0}
    return found
