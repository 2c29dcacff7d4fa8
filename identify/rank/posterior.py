"""From how the features speak to probabilities: the sum over the ways round, cousins on no list, calibration, prior,
and whether the bait can be compared at all."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from identify.geometry import Array
from identify.rank.densities import log_mean_exp
from identify.rank.noise import Noise
from identify.rank.rings import Indices

KIN = (
    ("length", "depth to length", "depth", "outline", "a misread body", "thickness", "weight"),
    ("line ties", "tie places", "kind of line ties"),
    ("hangers", "hanger places", "hooks", "kind of hangers"),
    ("eye", "kind of eye"),
    ("colours", "pattern"),
)
"""Features that a cousin takes over together."""
MOST = 300.0
"""Natural log: no group of features speaks more strongly."""
KIND = ("material", "parts", "joint")
"""Features that say what kind of bait it is, so whether the set can be asked at all; cousins do not copy them."""


@dataclass(frozen=True, eq=False)
class Weighed:
    """What n forms come to, as natural logarithms.

    `way` (n,): the way round that fits best, and `features`: how each speaks for it; `turned` (n,): what the other ways
    add.  `kin`: how much likelier unlisted baits are by those that follow a listed form.  `ratio` (n,): all of it;
    `evidence` (n,): calibrated; `against_none` (n,): the log odds against none of these, prior included.
    """

    way: Indices
    features: dict[str, Array]
    turned: Array
    kin: float
    ratio: Array
    evidence: Array
    against_none: Array
    probability: Array
    none_of_these: float
    not_comparable: float


def weigh(
    spoken: Mapping[str, Array],
    ways: Indices,
    log_ways: Array,
    share: Array,
    told: Collection[str],
    log_not_comparable: float,
    noise: Noise,
    rest: float = 0.0,
) -> Weighed:
    """Put together log ratios (w, n) of each feature for the `ways` (w,) round, of log probability `log_ways` (w,).

    `share` (n,): prior probability of each form, given that the bait is listed.  `told`: features that a person told.
    `log_not_comparable`: log odds, as of `facts`.  `rest`: odds against none of these of forms that are left out.

    The temperature divides what the photo says: its features fail together in ways that no likelihood of ours knows.
    What a person says does not fail with them.  That a bait cannot be compared is asked before anything that the photo
    shows, since the photo shows nothing of it: a jointed bait may have any outline.
    """
    every = np.arange(len(share))
    # features that are the same whichever way round are held once and only look like (w, n)
    even = {name for name, values in spoken.items() if values.strides[0] == 0}
    flat = sum((spoken[name][0] for name in even), np.zeros(len(every)))
    together = sum((spoken[name] for name in spoken if name not in even), log_ways[:, None] + np.zeros(len(every)))
    best = together.argmax(0)
    top = together[best, every]
    ratio: Array = flat + top + np.log(np.exp(together - top).sum(0))
    features = {name: np.asarray(values[0] if name in even else values[best, every]) for name, values in spoken.items()}
    turned = ratio - sum(features.values(), np.zeros(len(every)))
    kin = _kin(features, turned, share, noise)
    said = sum((features[name] for name in told if name in features), np.zeros(len(every)))
    kind = sum((features[name] for name in KIND if name in features), np.zeros(len(every)))
    evidence = (ratio - said - kin) / noise.temperature + noise.offset + said
    with np.errstate(divide="ignore"):
        against_none = evidence + np.log(share * (1 - noise.none) / noise.none)

    before_kind = against_none - kind
    highest = max(0.0, float(before_kind.max()))
    before = float(np.exp(before_kind - highest).sum() + (1 + rest) * np.exp(-highest))
    log_other = log_not_comparable + highest + float(np.log(before))
    highest = max(0.0, float(against_none.max()), log_other)
    relative = np.exp(against_none - highest)
    none, other = float(np.exp(-highest)), float(np.exp(log_other - highest))
    whole = float(relative.sum()) + none * (1 + rest) + other
    return Weighed(
        way=ways[best],
        features=features,
        turned=turned,
        kin=kin,
        ratio=ratio,
        evidence=evidence,
        against_none=against_none,
        probability=relative / whole,
        none_of_these=none / whole,
        not_comparable=other / whole,
    )


def _kin(features: Mapping[str, Array], turned: Array, share: Array, noise: Noise) -> float:
    """ln of how much likelier unlisted baits become by those that follow a listed form in part (0 or more)."""
    grouped = {name for group in (*KIN, KIND) for name in group}
    groups = [*KIN, *((name,) for name in features if name not in grouped)]
    total = turned
    for group in groups:
        speaks = [features[name] for name in group if name in features]
        if speaks:
            # ln(1 - c + c e^s), whose exponential is kept from running over
            speaks_for = np.minimum(np.sum(speaks, axis=0), MOST)
            total = total + np.log(1 - noise.copied + noise.copied * np.exp(speaks_for))
    return float(np.logaddexp(np.log(noise.cousin) + log_mean_exp(total, share), np.log1p(-noise.cousin)))
