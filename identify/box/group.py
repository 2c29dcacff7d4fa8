"""Like with like: baits that no list names, grouped by mould.

Two baits are held against each other feature by feature: how much likelier their difference is for two pieces of one
mould, each with its own reading's uncertainty, than for two baits of the broad world (`rank.Noise`, the same figures
that ranking assumes).  Colours say nothing of the mould.  Groups then grow by average linkage (Sokal and Michener 1958;
scipy) until no two are likelier one than two.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import fcluster, linkage

from identify.geometry import Array
from identify.outline import DESCRIPTORS, TURNED
from identify.rank import Noise, Readings
from identify.rank.covariance import outline_axes
from identify.rank.densities import log_multi_t, log_t

PLACES = 4
"""So many ties and so many hangers of a bait are compared by place."""
FEATURE_AT_LEAST, FEATURE_AT_MOST = -6.0, 8.0
"""One misread feature must not part two pieces by itself, nor one chance agreement join two."""
PRIOR = -3.0
"""ln of the odds that two baits of a mixed box are of one mould and size, before looking (bench: one in twenty)."""
BLOCK = 256
Floats = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Moulds:
    """What n baits show of their moulds, NaN where not measured.

    `ln_length`, `u_length`, `ln_aspect`, `u_aspect`, `depth_px`, `p_nose`, `p_back`, `lip` (n,); `outline`
    (4, n, DESCRIPTORS), turned each way, in the axes of `outline_axes`; `misread` (n, kinds): the chance of each kind
    of misread body; `ties`, `hangers`: shares of counts (n, 6); `tie_places`, `hanger_places` (4, n, PLACES, 2) as
    fractions of the length, nose first.
    """

    ln_length: Array
    u_length: Array
    ln_aspect: Array
    u_aspect: Array
    depth_px: Array
    p_nose: Array
    p_back: Array
    outline: Array
    misread: Array
    ties: Array
    tie_places: Array
    hangers: Array
    hanger_places: Array
    lip: Array

    def __len__(self) -> int:
        return len(self.ln_length)

    def take(self, which: NDArray[np.int64]) -> Moulds:
        """Some of the baits."""
        turned = ("outline", "tie_places", "hanger_places")
        values = {f.name: getattr(self, f.name) for f in fields(self)}
        return Moulds(**{name: v[:, which] if name in turned else v[which] for name, v in values.items()})


COUNTS = 6


def moulds(found: Sequence[Readings]) -> Moulds:
    """Readings brought into arrays."""
    noise = Noise()
    raw = np.array([np.full(DESCRIPTORS, np.nan) if r.outline is None else r.outline for r in found])
    raw = raw.reshape(-1, DESCRIPTORS)
    vectors = outline_axes(noise).vectors
    return Moulds(
        ln_length=np.array([math.nan if r.length_mm is None else math.log(r.length_mm.value) for r in found]),
        u_length=np.array([math.nan if r.length_mm is None else r.length_mm.u / r.length_mm.value for r in found]),
        ln_aspect=np.array([math.nan if r.aspect is None else math.log(r.aspect.value) for r in found]),
        u_aspect=np.array([math.nan if r.aspect is None else r.aspect.u / r.aspect.value for r in found]),
        depth_px=np.array([r.depth_px for r in found]),
        p_nose=np.array([r.p_nose for r in found]),
        p_back=np.array([r.p_back for r in found]),
        outline=np.array([(raw * signs) @ vectors for signs in TURNED]),
        misread=np.array(
            [[k.chance_warned if r.body_doubtful else k.chance for k in noise.misread_bodies] for r in found]
        ),
        ties=np.array([_shares(r.tie_counts) for r in found]).reshape(-1, COUNTS),
        tie_places=_places([r.tie_places for r in found]),
        hangers=np.array([_counted(r.hangers, noise) for r in found]).reshape(-1, COUNTS),
        hanger_places=_places([r.hanger_places for r in found]),
        lip=np.array([math.nan if r.lip is None else r.lip for r in found]),
    )


def _shares(counts: tuple[float, ...] | None) -> Array:
    return np.full(COUNTS, np.nan) if counts is None else np.array(counts) / sum(counts)


def _counted(count: int | None, noise: Noise) -> Array:
    if count is None:
        return np.full(COUNTS, np.nan)
    missed = noise.hanger_missed + noise.hanger_misread + noise.hanger_extra
    shares = np.full(COUNTS, missed / (COUNTS - 1))
    shares[min(count, COUNTS - 1)] = 1 - missed
    return shares


def _places(found: Sequence[Array | None]) -> Array:
    """Places turned each way: back and belly, nose and tail, both."""
    out = np.full((4, len(found), PLACES, 2), np.nan)
    for i, places in enumerate(found):
        if places is None or not len(places):
            continue
        for way in range(4):
            x = 1 - places[:, 0] if way & 2 else places[:, 0]
            turned = np.column_stack([x, -places[:, 1] if way & 1 else places[:, 1]])
            kept = turned[np.argsort(turned[:, 0], kind="stable")][:PLACES]
            out[way, i, : len(kept)] = kept
    return out


def likeness(m: Moulds, rows: slice) -> Floats:
    """How much likelier each pair is of one mould and size than not (natural log): (rows, n).

    Two that are not may still be kin: of one mould in two sizes, or of one body with other ties.  So what agrees counts
    for little and what differs for much, as in ranking (`rank.Noise.cousin`).  The second bait of a pair may lie any
    way round; ways are summed, weighed by how sure both are of theirs.
    """
    noise = Noise()
    length = _line(m.ln_length, m.u_length, rows, noise.length_tolerance, noise.length_floor, noise.length_broad[1])
    ties = _same_count(m.ties, rows, noise.tie_misread, noise.tie_broad)
    hangers = _same_count(m.hangers, rows, noise.hanger_misread, noise.hanger_broad)
    lip = _same_lip(m.lip, rows, noise)
    ways = []
    for way in range(4):
        features = (
            length,
            _body(m, rows, way, noise),
            ties + _rings(m.tie_places, rows, way, m.ln_length, noise.tie_sd_mm, noise.tie_stray),
            hangers + _rings(m.hanger_places, rows, way, m.ln_length, noise.hanger_sd_mm, noise.hanger_stray),
            lip,
        )
        ways.append(_log_way(m, rows, way, noise) + _against_kin([_clipped(f) for f in features], noise))
    every = np.stack(ways)
    top = every.max(0)
    return np.asarray(top + np.log(np.exp(every - top).sum(0)), np.float32)


def _against_kin(features: Sequence[Array], noise: Noise) -> Array:
    kin = sum(np.logaddexp(math.log(noise.copied) + f, math.log1p(-noise.copied)) for f in features)
    apart = np.logaddexp(math.log1p(-noise.cousin), math.log(noise.cousin) + kin)
    together: Array = sum(features, np.zeros(())) - apart
    return together


def _log_way(m: Moulds, rows: slice, way: int, noise: Noise) -> Array:
    """ln of the probability that the second lies so against the first."""
    nose = _differ(m.p_nose, rows) if way & 2 else 1 - _differ(m.p_nose, rows)
    back = _differ(m.p_back, rows) if way & 1 else 1 - _differ(m.p_back, rows)
    logs: Array = np.log(np.clip(nose, noise.orientation_doubt, 1)) + np.log(np.clip(back, noise.orientation_doubt, 1))
    return logs


def _differ(p: Array, rows: slice) -> Array:
    """Probability that of two baits exactly one lies the wrong way round."""
    a, b = p[rows, None], p[None, :]
    return a * (1 - b) + b * (1 - a)


def _clipped(ratio: Array) -> Array:
    """What was not measured says nothing."""
    return np.clip(np.nan_to_num(ratio, nan=0.0), FEATURE_AT_LEAST, FEATURE_AT_MOST)


def _line(at: Array, u: Array, rows: slice, tolerance: float, floor: float, broad: float) -> Array:
    gap = at[rows, None] - at[None, :]
    own = 2 * tolerance**2 + np.maximum(u, floor)[rows, None] ** 2 + np.maximum(u, floor)[None, :] ** 2
    tail = Noise().tail
    return _clipped(log_t(gap, np.sqrt(own), tail) - log_t(gap, np.sqrt(own + 2 * broad**2), tail))


OUTLINE_AT_MOST = 4.0
"""How far outlines that agree speak for one mould: kin agree in most of their waves, so the waves together tell no more
than a few would alone."""


def _body(m: Moulds, rows: slice, way: int, noise: Noise) -> Array:
    """Proportion and outline, which fail together where one of the two bodies was traced wrongly."""
    axes = outline_axes(noise)
    variance = np.array([np.square(axes.with_edge(noise, d)) for d in m.depth_px])
    u_aspect = np.hypot(np.maximum(m.u_aspect, noise.aspect_floor), noise.depth_tolerance)
    spreads = [(0.0, 1.0), *((k.aspect, k.outline) for k in noise.misread_bodies)]
    out = np.empty((rows.stop - rows.start, len(m)))
    for i in range(rows.start, rows.stop):
        squared = (np.square(m.outline[0][i] - m.outline[way]) / (variance[i] + variance)).sum(1)
        aspect_gap, u = m.ln_aspect[i] - m.ln_aspect, np.hypot(u_aspect[i], u_aspect)
        aspect_apart = log_t(aspect_gap, np.hypot(u, math.sqrt(2) * noise.aspect_broad[1]), noise.tail)
        chances = m.misread[i] + m.misread
        chances = np.column_stack([1 - chances.sum(1), chances])
        same = []
        for k, (wide, far) in enumerate(spreads):
            aspect = np.nan_to_num(log_t(aspect_gap, np.hypot(u, wide), noise.tail) - aspect_apart)
            speaks = aspect + np.nan_to_num(OUTLINE_AT_MOST - _surprise(squared / far**2, noise))
            # a misread body excuses what differs; it is no sign of likeness
            same.append(np.log(chances[:, k]) + (speaks if k == 0 else np.minimum(speaks, 0)))
        out[i - rows.start] = np.logaddexp.reduce(same)
    return out


def _surprise(squared: Array, noise: Noise) -> Array:
    """How much less likely a distance of outlines is than the usual one of two that are alike (natural log)."""
    usual = log_multi_t(float(DESCRIPTORS), 0.0, DESCRIPTORS, noise.tail)
    surprise: Array = np.maximum(0.0, usual - log_multi_t(squared, 0.0, DESCRIPTORS, noise.tail))
    return surprise


RING_APART = 0.12
"""How far rings of two kinds of bait lie apart, along and across, as a share of the length (bench)."""


def _rings(places: Array, rows: slice, way: int, ln_length: Array, sd_mm: float, stray: float) -> Array:
    """Rings of the same number, in the same order from the nose; one of them may be none."""
    a, b = places[0][rows], places[way]
    count_a, count_b = (np.isfinite(v[..., 0]).sum(-1) for v in (a, b))
    length = np.exp(np.nan_to_num(ln_length, nan=math.log(60.0)))
    sd = math.sqrt(2) * sd_mm / length
    scale = np.sqrt((sd[rows, None] ** 2 + sd[None, :] ** 2) / 2)
    gap = np.square(a[:, None] - b[None]).sum(-1)
    mean = np.nansum(gap, -1) / np.maximum(count_a, 1)[:, None]
    tail = Noise().tail
    # as one ring: several of a bait are read and drilled from the same axis, and err together
    same = log_multi_t(mean / scale**2, 2 * np.log(scale), 2, tail)
    wide = np.sqrt(scale**2 + RING_APART**2)
    apart = log_multi_t(mean / wide**2, 2 * np.log(wide), 2, tail)
    comparable = (count_a[:, None] == count_b[None]) & (count_a[:, None] > 0)
    ratio = np.logaddexp(math.log1p(-stray) + same - apart, math.log(stray))
    return np.where(comparable, np.nan_to_num(ratio), 0.0)


def _same_count(shares: Array, rows: slice, misread: float, broad: tuple[float, ...]) -> Array:
    """Counts: probability that both are of one count, against that of two baits of the world."""
    doubted = (1 - misread) * shares + misread / COUNTS
    same = (doubted[rows] / np.array(broad)) @ doubted.T if len(shares) else np.zeros((0, 0))
    with np.errstate(divide="ignore"):
        return _clipped(np.log(same))


def _same_lip(lip: Array, rows: slice, noise: Noise) -> Array:
    q = noise.lip_misread / 2 + (1 - noise.lip_misread) * lip
    shares = np.column_stack([1 - q, q]) / np.array([1 - noise.lip_broad, noise.lip_broad])
    ratio = shares[rows] @ np.column_stack([1 - q, q]).T
    with np.errstate(divide="ignore", invalid="ignore"):
        return _clipped(np.log(ratio))


FARTHEST, APART = 40.0, 50.0
"""Distances: of a pair that is as likely one as two, and of one whose lengths alone set it apart."""
OF_A_SIZE = 0.25
"""ln of lengths: baits that differ by more are not held against each other."""


def group(m: Moulds) -> list[int]:
    """The group of each bait, numbered from 0 in order of its first member.  The result depends on the order of baits
    only where two groups are exactly as near."""
    n = len(m)
    if n < 2:
        return [0] * n
    tree = linkage(_distances(m), method="average")
    labels = fcluster(tree, FARTHEST + PRIOR, criterion="distance")
    first_seen: dict[int, int] = {}
    return [first_seen.setdefault(int(label), len(first_seen)) for label in labels]


def _distances(m: Moulds) -> Array:
    """Distances of all pairs as scipy wants them, condensed.  Baits go by length, so that each is held only against
    those near its size, and those of no known size against all."""
    n = len(m)
    condensed = np.full(n * (n - 1) // 2, APART)
    order = np.argsort(m.ln_length, kind="stable")
    lengths = m.ln_length[order]
    sized = int(np.isfinite(lengths).sum())
    for start in range(0, n, BLOCK):
        end = min(start + BLOCK, n)
        last = lengths[min(end, sized) - 1] if start < sized else np.inf
        reach = max(end, int(np.searchsorted(lengths[:sized], last + OF_A_SIZE)))
        others = np.concatenate([order[start:reach], order[max(reach, sized) :]])
        like = likeness(m.take(others), slice(0, end - start))
        for i, row in enumerate(like):
            one, against = others[i], others[i + 1 :]
            low, high = np.minimum(one, against), np.maximum(one, against)
            condensed[low * n - low * (low + 1) // 2 + high - low - 1] = FARTHEST - row[i + 1 :]
    # rounded, since the last bits of sums differ from run to run
    distances: Array = np.clip(condensed, 0, APART).round(3)
    return distances
