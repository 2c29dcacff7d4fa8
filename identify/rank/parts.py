"""Baits of one form drawn part by part.

Given the form, what is read of body, line ties, hangers, hooks, lip and colours is independent.  So the ties drawn for
one bait go with any other's body, a few dozen draws of each part make thousands of baits, and what is rare, such as a
lost tie or a misread body, is drawn apart and counted by how rare it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from identify.geometry import Array
from identify.rank import likelihood
from identify.rank.background import COUNTS
from identify.rank.body import trace
from identify.rank.prepared import Prepared
from identify.rank.ranking import speech
from identify.rank.readings import Readings
from identify.rank.rings import UNKNOWN, Indices
from identify.rank.simulate import Camera, draw_body, draw_coat, draw_places

WAYS: Indices = np.arange(4)
RARE = 0.2
"""What happens seldom is drawn as if it made up this share of the cases."""
LEAST = 1e-5
"""What happens less often than this is not drawn."""
Case = tuple[float, Callable[[], Readings]]
"""How likely something is, and how to draw it."""


@dataclass(frozen=True, eq=False)
class Part:
    """k draws of one part: the `chance` (k,) of each, the log ratio (k, 4, n) of each form against an unlisted bait for
    every way round, and what each feature tells (n,) on average, the bait lying as it was read."""

    chance: Array
    ratio: Array
    features: Mapping[str, Array]


def _drawn(p: Prepared, cases: Sequence[Case], draws: int) -> Part:
    """About `draws` in all, each case by how likely it is."""
    chances: list[float] = []
    ratios: list[Array] = []
    features: dict[str, Array] = {}
    for chance, make in cases:
        times = max(1, round(draws * max(chance, RARE))) if chance > LEAST else 0
        for _ in range(times):
            r = make()
            spoken, _ = speech(r, p, WAYS, trace(r, p, WAYS))
            chances.append(chance / times)
            ratios.append(sum(spoken.values(), np.zeros((len(WAYS), len(p.forms)))))
            for name, values in spoken.items():
                features[name] = features.get(name, np.zeros(len(p.forms))) + chance / times * values[0]
    total = sum(chances)
    means = {name: values / total for name, values in features.items()}
    return Part(np.array(chances) / total, np.array(ratios), means)


def _made(count: int, broad: Array) -> Array:
    """P(made) (6,): as the set says, or as of any bait."""
    made: Array = broad / broad.sum() if count == UNKNOWN else np.eye(COUNTS)[min(count, COUNTS - 1)]
    return made


def body(rng: np.random.Generator, p: Prepared, i: int, camera: Camera, draws: int) -> Part:
    """Length, proportion and outline, misread ones too."""
    failed = p.noise.misread_bodies
    cases: list[Case] = [(1 - sum(m.chance for m in failed), partial(draw_body, rng, p, camera, i))]
    cases += [(m.chance, partial(draw_body, rng, p, camera, i, m)) for m in failed]
    return _drawn(p, cases, draws)


def ties(rng: np.random.Generator, p: Prepared, i: int, draws: int) -> Part:
    """Line ties counted and traces of lost ones seen, and where the ties sit."""
    noise = p.noise
    now = _made(int(p.ties.count[i]), p.background.tie_counts)[:, None] * likelihood.ties_present(noise)
    made_at, now_at = np.indices(now.shape)
    seen = np.where(made_at > now_at, noise.trace_seen, noise.trace_false)
    joint = np.stack([(now * (1 - seen)).sum(0), (now * seen).sum(0)], axis=1)
    joint = (1 - noise.tie_misread) * joint + noise.tie_misread / COUNTS * joint.sum(0)

    def make(count: int, traces: int) -> Readings:
        at = draw_places(rng, p.ties, i, count, p.background.tie_grid, noise.tie_sd_mm, noise.tie_stray, p)
        counts = tuple(np.eye(COUNTS)[count].tolist())
        return Readings(tie_counts=counts, tie_count=count, traces=traces, tie_places=at)

    cases = [
        (float(joint[count, traces]), partial(make, count, traces)) for count in range(COUNTS) for traces in (0, 1)
    ]
    return _drawn(p, cases, draws)


def hangers(rng: np.random.Generator, p: Prepared, i: int, draws: int) -> Part:
    """Hangers counted and where they sit."""
    noise = p.noise
    chance = _made(int(p.hangers.count[i]), p.background.hanger_counts) @ likelihood.hanger_table(noise)

    def make(count: int) -> Readings:
        at = draw_places(
            rng, p.hangers, i, count, p.background.hanger_grid, noise.hanger_sd_mm, noise.hanger_stray, p
        )  # fmt: skip
        return Readings(hangers=count, hanger_places=at)

    cases = [(float(chance[count]), partial(make, count)) for count in range(COUNTS)]
    return _drawn(p, cases, draws)


def others(p: Prepared, i: int) -> tuple[Part, Part]:
    """Hooks, and the lip: every case once."""
    noise = p.noise
    hooks = _made(int(p.hooks[i]), np.array(noise.hook_broad)) @ likelihood.hook_table(noise)
    there = (1 - noise.lip_lost) * (noise.lip_broad if p.lip[i] == UNKNOWN else float(p.lip[i]))
    seen = there * (1 - noise.lip_misread / 2) + (1 - there) * noise.lip_misread / 2
    return (
        _drawn(p, [(float(c), partial(Readings, hooks=k)) for k, c in enumerate(hooks)], 1),
        _drawn(p, [(1 - seen, partial(Readings, lip=0.0)), (seen, partial(Readings, lip=1.0))], 1),
    )


def coat(rng: np.random.Generator, p: Prepared, i: int, camera: Camera, draws: int) -> Part:
    """Colours, zones and pattern."""
    return _drawn(p, [(1.0, partial(draw_coat, rng, p, camera, i))], draws)


def together(
    rng: np.random.Generator, p: Prepared, parts: Sequence[Part], camera: Camera, baits: int, forms: Indices
) -> Array:
    """Log ratios (baits, m) of some forms (m,) against an unlisted bait: each bait takes one draw of every part, and is
    read in one of the ways round, of which all are then summed out."""
    log_ways = likelihood.log_ways(Readings(p_nose=camera.p_nose, p_back=camera.p_back), p.noise)
    total = np.zeros((baits, len(WAYS), len(forms)))
    for part in parts:
        total += part.ratio[:, :, forms][rng.choice(len(part.chance), baits, p=part.chance)]
    read = rng.choice(len(WAYS), baits, p=np.exp(log_ways) / np.exp(log_ways).sum())
    # turned one way and then the other: ways round are pairs of bits, so turning is adding them without carry
    total = log_ways[:, None] + np.take_along_axis(total, (read[:, None] ^ WAYS)[..., None], axis=1)
    top = total.max(1)
    ratio: Array = top + np.log(np.exp(total - top[:, None]).sum(1))
    return ratio
