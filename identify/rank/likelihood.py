"""How each feature speaks for each form: log likelihood ratios (w, n) or (n,) against an unlisted bait, for the w ways
round that the bait may lie (of four: as read; back and belly swapped; nose and tail; both).  0 says nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import lru_cache

import numpy as np

from identify.geometry import Array
from identify.rank import facts
from identify.rank.background import COUNTS
from identify.rank.body import Traced
from identify.rank.densities import log_t, said, spread
from identify.rank.noise import Noise
from identify.rank.places import log_ratio
from identify.rank.prepared import Prepared
from identify.rank.readings import Readings
from identify.rank.rings import Indices

MISREAD_BODY = "a misread body"
"""The one row among the features that is no reading: what the chance that a body was traced wrongly adds."""
BACK_SWAPPED, NOSE_SWAPPED = np.array([False, True, False, True]), np.array([False, False, True, True])


def turn_places(places: Array) -> Array:
    """Places (m, 2) for each way round: (4, m, 2)."""
    flips = np.where(BACK_SWAPPED, -1.0, 1.0)[:, None] * places[:, 1]
    along = np.where(NOSE_SWAPPED[:, None], 1 - places[:, 0], places[:, 0])
    return np.stack([along, flips], axis=-1)


def log_ways(readings: Readings, noise: Noise) -> Array:
    """Log probability (4,) of each way round, never wholly sure."""
    doubt = noise.orientation_doubt
    nose, back = (doubt + (1 - 2 * doubt) * p for p in (readings.p_nose, readings.p_back))
    p: Array = np.where(NOSE_SWAPPED, 1 - nose, nose) * np.where(BACK_SWAPPED, 1 - back, back)
    return np.log(p)


def ways_to_try(readings: Readings, noise: Noise) -> Indices:
    """The ways round that are worth the time: those of a probability above one in ten thousand."""
    return np.flatnonzero(log_ways(readings, noise) > math.log(1e-4))


@lru_cache(maxsize=8)
def ties_present(noise: Noise, told: bool = False) -> Array:
    """P(ties there now | ties made): rows made 0 to 5 and more, columns there now.  A person counts many a lost one by
    its hole."""
    table = np.zeros((COUNTS, COUNTS))
    lose = noise.tie_lost * (noise.told_overlooked if told else 1.0)
    for made in range(COUNTS):
        for lost in range(made + 1):
            p = math.comb(made, lost) * lose**lost * (1 - lose) ** (made - lost)
            table[made, made - lost] += p * (1 - noise.tie_added)
            table[made, min(made - lost + 1, COUNTS - 1)] += p * noise.tie_added
    return table


def _traces(noise: Noise, traces: int) -> Array:
    """P(traces seen | made, there now), same shape as `ties_present`."""
    made, now = np.indices((COUNTS, COUNTS))
    seen = np.where(made > now, noise.trace_seen, noise.trace_false)
    return seen if traces else 1 - seen


def tie_count(r: Readings, p: Prepared, ways: Indices) -> Array | None:
    """Number of line ties: what is there now, given what was made, some lost, some added, some misread."""
    if r.tie_counts is None:
        return None
    noise = p.noise
    q = np.array(r.tie_counts, float)
    told = r.told_of("ties") is not None
    misread = noise.told_mistaken if told else noise.tie_misread
    q = (1 - misread) * q / q.sum() + misread / COUNTS
    by_made = (ties_present(noise, told) * _traces(noise, r.traces)) @ q
    ratio = np.append(np.log(by_made / (p.background.tie_counts @ by_made)), 0.0)
    return ratio[np.where(p.ties.count < 0, -1, np.minimum(p.ties.count, COUNTS - 1))]


@lru_cache(maxsize=8)
def hanger_table(noise: Noise, told: bool = False) -> Array:
    """P(hangers counted | hangers made), as `ties_present`.  A person who counts them misses none; some are lost."""
    table = np.zeros((COUNTS, COUNTS))
    m, misread = noise.hanger_missed, noise.hanger_misread
    if told:
        m, misread = noise.tie_lost * noise.told_overlooked, noise.told_mistaken
    for made in range(COUNTS):
        for missed in range(made + 1):
            p = math.comb(made, missed) * m**missed * (1 - m) ** (made - missed)
            table[made, made - missed] += p * (1 - noise.hanger_extra)
            table[made, min(made - missed + 1, COUNTS - 1)] += p * noise.hanger_extra
    mixed: Array = (1 - misread) * table + misread / COUNTS
    return mixed


def hanger_count(r: Readings, p: Prepared, ways: Indices) -> Array | None:
    """Number of hangers."""
    if r.hangers is None:
        return None
    by_made = hanger_table(p.noise, r.told_of("hangers") is not None)[:, min(r.hangers, COUNTS - 1)]
    ratio = np.append(np.log(by_made / (p.background.hanger_counts @ by_made)), 0.0)
    return ratio[np.where(p.hangers.count < 0, -1, np.minimum(p.hangers.count, COUNTS - 1))]


@lru_cache(maxsize=8)
def hook_table(noise: Noise) -> Array:
    """P(hooks on | hooks when new): rows new 0 to 5 and more."""
    new, on = np.indices((COUNTS, COUNTS))
    fewer, more = np.arange(COUNTS), COUNTS - 1 - np.arange(COUNTS)
    table = np.where(on == new, noise.hook_same, 0.0)
    table += np.where(on < new, noise.hook_fewer / np.maximum(fewer, 1)[:, None], 0.0)
    table += np.where(on > new, (1 - noise.hook_same - noise.hook_fewer) / np.maximum(more, 1)[:, None], 0.0)
    whole: Array = table / table.sum(1, keepdims=True)
    return whole


def hooks(r: Readings, p: Prepared, ways: Indices) -> Array | None:
    """Number of hooks: weak, since they are often lost and replaced."""
    if r.hooks is None:
        return None
    by_new = hook_table(p.noise)[:, min(r.hooks, COUNTS - 1)]
    ratio = np.append(np.log(by_new / (np.array(p.noise.hook_broad) @ by_new)), 0.0)
    return ratio[np.where(p.hooks < 0, -1, np.minimum(p.hooks, COUNTS - 1))]


def tie_places(r: Readings, p: Prepared, ways: Indices) -> Array | None:
    """Where the line ties sit."""
    if r.tie_places is None or not len(r.tie_places):
        return None
    sd = spread(p.noise.tie_sd_mm / p.length_mm, p.ties.doubt)
    return log_ratio(r.tie_places, ways, p.ties, sd, p.background.tie_grid, p.noise.tie_stray, p.noise.tail)


def hanger_places(r: Readings, p: Prepared, ways: Indices) -> Array | None:
    """Where the hangers sit."""
    if r.hanger_places is None or not len(r.hanger_places):
        return None
    sd = spread(p.noise.hanger_sd_mm / p.length_mm, p.hangers.doubt)
    grid, stray = p.background.hanger_grid, p.noise.hanger_stray
    return log_ratio(r.hanger_places, ways, p.hangers, sd, grid, stray, p.noise.tail)


def eye(r: Readings, p: Prepared, ways: Indices) -> Array | None:
    """That there is an eye, where, and how large.  No eye found says nothing: paint wears."""
    if r.eye_place is None:
        return None
    noise = p.noise
    stray = noise.eye_stray
    sd = spread(noise.eye_sd_mm / p.length_mm, p.eye_doubt)
    ratio = log_ratio(r.eye_place, ways, p.eyes, sd, p.background.eye_grid, stray, noise.tail)
    if r.eye_diameter_mm is not None:
        q = r.eye_diameter_mm
        u = math.hypot(q.u, noise.eye_diameter_sd_mm)
        long = r.length_mm.value if r.length_mm is not None else float(np.median(p.length_mm))
        mean, wide = (long * v for v in noise.eye_diameter_broad)
        broad = log_t(q.value - mean, math.hypot(wide, u), noise.tail)
        own = log_t(q.value - p.eye_diameter_mm, spread(u, p.eye_doubt * p.length_mm), noise.tail)
        misread = noise.eye_diameter_stray
        ratio = ratio + np.log(misread + (1 - misread) * np.exp(said(own - broad)))
    result: Array = np.where(p.eye == 1, ratio, np.where(p.eye == 0, math.log(stray), 0.0))
    return result - np.where(p.eye >= 0, math.log(stray + (1 - stray) * noise.eye_broad), 0.0)


def lip(r: Readings, p: Prepared, ways: Indices) -> Array | None:
    """That there is a lip or plate, of metal or plastic when told; one that was made may be lost."""
    if r.told_of("lip") is not None:
        return facts.kind(r, p, "lip")
    if r.lip is None:
        return None
    noise = p.noise
    q = noise.lip_misread / 2 + (1 - noise.lip_misread) * r.lip
    by_made = np.array([1 - q, noise.lip_lost * (1 - q) + (1 - noise.lip_lost) * q])
    broad = (1 - noise.lip_broad) * by_made[0] + noise.lip_broad * by_made[1]
    return np.append(np.log(by_made / broad), 0.0)[p.lip]


def thickness(r: Readings, p: Prepared, ways: Indices) -> Array | None:
    """Thickness, when told or seen."""
    if r.thickness_mm is None:
        return None
    noise = p.noise
    at, u = math.log(r.thickness_mm.value), r.thickness_mm.u / r.thickness_mm.value
    mean, sd = noise.thickness_broad
    if r.depth_mm is not None:
        deep, deep_sd = math.log(r.depth_mm.value), 0.0
    else:
        (long, long_sd), (ratio, ratio_sd) = p.background.ln_length, p.background.ln_aspect
        deep, deep_sd = long + ratio, math.hypot(long_sd, ratio_sd)
    broad = log_t(at - deep - mean, math.hypot(sd, deep_sd, u), noise.tail)
    own = log_t(at - p.ln_thickness, math.hypot(u, noise.thickness_tolerance), noise.tail)
    return said(own - broad)


FEATURES: dict[str, Callable[[Readings, Prepared, Indices], Array | None]] = {
    "line ties": tie_count,
    "tie places": tie_places,
    "hangers": hanger_count,
    "hanger places": hanger_places,
    "hooks": hooks,
    "eye": eye,
    "lip": lip,
    "thickness": thickness,
    "weight": lambda r, p, ways: facts.weight(r, p),
    "kind of line ties": lambda r, p, ways: facts.kind(r, p, "tie_kind"),
    "kind of hangers": lambda r, p, ways: facts.kind(r, p, "hanger_kind"),
    "kind of eye": lambda r, p, ways: facts.kind(r, p, "eye"),
    "material": lambda r, p, ways: facts.kind(r, p, "material"),
    "parts": lambda r, p, ways: facts.kind(r, p, "parts"),
    "joint": lambda r, p, ways: facts.joint(r, p),
}
"""Every feature but the body's and the colours, in the order in which the evidence is shown."""


READ_FROM = {
    "tie places": ("tie_places",),
    "hanger places": ("hanger_places",),
    "hooks": ("hooks",),
    "eye": ("eye_place", "eye_diameter_mm", "length_mm"),
    "colours": ("back", "belly", "zones"),
    "pattern": ("pattern", "hard_to_read"),
}
"""Features that rest on these readings alone, whatever else was told."""


def speak(
    r: Readings,
    p: Prepared,
    ways: Indices,
    body: Traced,
    before: tuple[Readings, Mapping[str, Array]] | None = None,
) -> dict[str, Array]:
    """Log ratios (w, n), or (1, n) where they are the same whichever way round, of every feature that was measured or
    told, but the colours.

    `before`: what was said of other readings of the same bait; features whose readings are still the same, the colours
    included, say the same."""
    spoken = dict(body.own)
    if before is not None:
        other, said_before = before
        for name, values in said_before.items():
            if name in READ_FROM and all(getattr(r, key) is getattr(other, key) for key in READ_FROM[name]):
                spoken[name] = values
    for name, feature in FEATURES.items():
        if name not in spoken and (ratio := feature(r, p, ways)) is not None:
            spoken[name] = np.atleast_2d(ratio)
    misread = body.misread()
    if misread is not None:
        spoken[MISREAD_BODY] = misread
    return spoken
