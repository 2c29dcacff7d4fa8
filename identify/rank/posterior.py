"""From how the features speak to probabilities: the sum over the ways round, cousins on no list, calibration, prior,
and whether the bait can be compared at all."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from identify.geometry import Array
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
SHAPE = ("depth to length", "outline")
"""What a bait in another size has as the listed ones have it, of the first group."""
KIND = ("material", "parts", "joint")
"""Features that say what kind of bait it is, so whether the set can be asked at all; cousins do not copy them."""


@dataclass(frozen=True, eq=False)
class Rest:
    """Forms that are left out, in one or more cases (...): their `odds` against none of these, and how likely, against
    other unlisted baits, are those that follow one of them (`Weighed.followers`)."""

    odds: Array
    followers: Array


NOTHING = Rest(np.zeros(()), np.zeros(()))


@dataclass(frozen=True, eq=False)
class Weighed:
    """What n forms come to, as natural logarithms; leading axes are several cases.

    `way` (..., n): the way round that fits best, and `features` (..., n): how each speaks for it; `turned` (..., n):
    what the other ways add.  `followers` (..., n): how much likelier a bait that follows this form in part makes what
    was seen than another unlisted one does; `sized` (..., n): the part of that which is the form in another size; `kin`
    (...): how much likelier unlisted baits are by all of those.
    `ratio` (..., n): all of it; `evidence` (..., n): calibrated; `against_none` (..., n): the log odds against none of
    these, prior included.  `none_of_these`, `not_comparable` (...).
    """

    way: Indices
    features: dict[str, Array]
    turned: Array
    followers: Array
    sized: Array
    kin: Array
    ratio: Array
    evidence: Array
    against_none: Array
    probability: Array
    none_of_these: Array
    not_comparable: Array


def weigh(
    spoken: Mapping[str, Array],
    ways: Indices,
    log_ways: Array,
    share: Array,
    told: Collection[str],
    log_not_comparable: ArrayLike,
    noise: Noise,
    rest: Rest = NOTHING,
) -> Weighed:
    """Put together each feature's log ratios (..., w, n), or (..., 1, n) where they are the same whichever way round,
    for the `ways` (w,) round, of log probability `log_ways` (w,).

    `share` (n,): prior probability of each form, given that the bait is listed.  `told`: features that a person told.
    `log_not_comparable` (...): log odds, as of `facts`.  `rest`: forms that are left out.

    The temperature divides what the photo says: its features fail together in ways that no likelihood of ours knows.
    What a person says does not fail with them.  That a bait cannot be compared is asked before anything that the photo
    shows, since the photo shows nothing of it: a jointed bait may have any outline.
    """
    nothing = np.zeros(len(share))
    even = {name for name, values in spoken.items() if values.shape[-2] == 1}
    # always in the order of the features: sums in another order differ in their last digits
    flat = sum((spoken[name][..., 0, :] for name in spoken if name in even), nothing)
    together = sum((spoken[name] for name in spoken if name not in even), log_ways[:, None] + nothing)
    pick = _Pick(together)
    features = {name: values[..., 0, :] if name in even else pick.of(values) for name, values in spoken.items()}
    turned = log_ways[pick.best] + pick.others_add
    ratio: Array = flat + pick.top + pick.others_add
    followers, sized = _followers(features, turned, noise)
    top = followers.max(-1)
    following = np.exp(followers - top[..., None]) @ share + rest.followers * np.exp(-top)
    kin: Array = np.logaddexp(np.log(noise.cousin) + top + np.log(following), np.log1p(-noise.cousin))
    said = sum((features[name] for name in features if name in told), nothing)
    kind = sum((features[name] for name in KIND if name in features), nothing)
    evidence = (ratio - said - kin[..., None]) / noise.temperature + noise.offset + said
    with np.errstate(divide="ignore"):
        against_none = evidence + np.log(share * (1 - noise.none) / noise.none)

    before_kind = against_none - kind
    highest = np.maximum(0.0, before_kind.max(-1))
    before = np.exp(before_kind - highest[..., None]).sum(-1) + (1 + rest.odds) * np.exp(-highest)
    log_other = log_not_comparable + highest + np.log(before)
    highest = np.maximum(np.maximum(0.0, against_none.max(-1)), log_other)
    relative = np.exp(against_none - highest[..., None])
    none, other = np.exp(-highest), np.exp(log_other - highest)
    whole = relative.sum(-1) + none * (1 + rest.odds) + other
    return Weighed(
        way=ways[pick.best],
        features=features,
        turned=turned,
        followers=followers,
        sized=sized,
        kin=kin,
        ratio=ratio,
        evidence=evidence,
        against_none=against_none,
        probability=relative / whole[..., None],
        none_of_these=none / whole,
        not_comparable=other / whole,
    )


class _Pick:
    """The best way round (..., n) of values (..., w, n), what they come to there, and what the other ways add."""

    def __init__(self, together: Array) -> None:
        *cases, w, n = together.shape
        self.best: Indices = together.argmax(-2)
        first = np.arange(self.best.size // n)[:, None] * (w * n) + np.arange(n)
        self._at = (first + self.best.reshape(-1, n) * n).reshape(*cases, n)
        self.top = self.of(together)
        self.others_add = np.log(np.exp(together - self.top[..., None, :]).sum(-2)) if w > 1 else np.zeros(n)

    def of(self, values: Array) -> Array:
        """Values (..., w, n) at the best way round."""
        picked: Array = values.reshape(-1).take(self._at)
        return picked


def _followers(features: Mapping[str, Array], turned: Array, noise: Noise) -> tuple[Array, Array]:
    """ln (..., n) of how much likelier a bait that follows each form in part makes what was seen, and of the part of
    that which follows it in all but its size.

    Each group of features is taken over with probability c or not, and multiplies by 1 - c + c e^s, where s is how it
    speaks; of that e^s is held as a logarithm where it is large."""
    found: list[Array] = []
    read: dict[tuple[str, ...], tuple[Array, Array, Array]] = {}  # most groups are the same for all kinds
    for kind in cousins(features, noise):
        c = kind.copied
        total, product = turned + math.log(kind.share), np.ones_like(turned)
        for group in kind.groups:
            if group not in read:
                speaks = sum((features[name] for name in group[1:]), features[group[0]])
                read[group] = speaks, np.maximum(speaks, 0), np.exp(-np.abs(speaks))
            speaks, over, falls = read[group]
            total += over
            product *= np.where(speaks > 0, (1 - c) * falls + c, 1 - c + c * falls)
        found.append(total + np.log(product))
    in_part, *in_size = found
    if not in_size:
        return in_part, np.full_like(in_part, -np.inf)
    return np.logaddexp(in_part, in_size[0]), in_size[0]


@dataclass(frozen=True)
class Cousins:
    """One kind of unlisted baits that follow a listed one: their share of all of them, and the groups of features of
    which they take over each with the probability `copied`."""

    share: float
    copied: float
    groups: tuple[tuple[str, ...], ...]


def cousins(names: Collection[str], noise: Noise) -> tuple[Cousins, ...]:
    """The kinds of cousins, as far as these features tell: those that follow in some features and are their own in
    others, and, where there is a length, those that are a listed bait in another size."""
    grouped = {name for group in (*KIN, KIND) for name in group}
    groups = [group for known in KIN if (group := tuple(name for name in known if name in names))]
    groups += [(name,) for name in names if name not in grouped]
    if "length" not in names:
        return (Cousins(1.0, noise.copied, tuple(groups)),)
    shape = tuple(name for name in SHAPE if name in names)
    rest = tuple(group for group in groups if "length" not in group)
    return (
        Cousins(1 - noise.sized, noise.copied, tuple(groups)),
        Cousins(noise.sized, noise.sized_copied, (shape, *rest) if shape else rest),
    )
