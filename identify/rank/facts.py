"""What only a person can tell: weight, material, parts and kinds of hardware, as features beside those of the photo.

Each kind told is the kind made, or what became of it: hardware is replaced, eyes and lips are lost, painted wood passes
for plastic.  All figures are of the bench, no published source.  What a form does not say speaks neither for nor
against it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from identify.geometry import Array
from identify.rank.background import PSEUDO
from identify.rank.densities import log_t, said
from identify.rank.prepared import KINDS as NAMES
from identify.rank.prepared import MOST_PARTS, Prepared
from identify.rank.readings import Readings


@dataclass(frozen=True, eq=False)
class Kinds:
    """The kinds of one thing: P(told | made) with a row for each kind made, and how unlisted baits are made."""

    told: Array
    broad: Array
    learned: bool = False
    """The set's own models say how unlisted baits are made, beside `broad`."""


def _hardware() -> Array:
    """Four of five are as made; most replacements are screw eyes."""
    table = np.full((5, 5), 0.03) + 0.8 * np.eye(5)
    table[:, 0] += np.array([0.08, 0.08, 0.08, 0.08, 0.08])
    whole: Array = table / table.sum(1, keepdims=True)
    return whole


HARDWARE_BROAD = np.array([0.40, 0.25, 0.15, 0.10, 0.10])
KINDS: dict[str, Kinds] = {
    "eye": Kinds(
        np.array(
            [[0.90, 0.01, 0.02, 0.07], [0.02, 0.90, 0.02, 0.06], [0.02, 0.02, 0.88, 0.08], [0.04, 0.01, 0.01, 0.94]]
        ),
        np.array([0.50, 0.15, 0.20, 0.15]),
    ),
    "lip": Kinds(
        np.array([[0.985, 0.01, 0.005], [0.09, 0.89, 0.02], [0.08, 0.02, 0.90]]),
        np.array([0.70, 0.15, 0.15]),
    ),
    "tie_kind": Kinds(_hardware(), HARDWARE_BROAD),
    "hanger_kind": Kinds(_hardware(), HARDWARE_BROAD),
    "material": Kinds(
        np.array(
            [
                [0.930, 0.055, 0.0005, 0.0005, 0.014],
                [0.055, 0.930, 0.0005, 0.0005, 0.014],
                [0.003, 0.003, 0.984, 0.001, 0.009],
                [0.003, 0.010, 0.001, 0.976, 0.010],
                [0.100, 0.100, 0.020, 0.020, 0.760],
            ]
        ),
        np.array([0.50, 0.47, 0.0005, 0.0005, 0.029]),
        learned=True,
    ),
    "parts": Kinds(
        np.array([[0.9970, 0.0025, 0.0005], [0.010, 0.985, 0.005], [0.003, 0.017, 0.980]]),
        np.array([0.9990, 0.0008, 0.0002]),
        learned=True,
    ),
}  # fmt: skip
"""By told key."""


def _told(r: Readings, key: str) -> int | None:
    """The kind told under a key, as an index."""
    told = r.told_of(key)
    if told is None:
        return None
    value = min(int(told.value), MOST_PARTS) if key == "parts" else told.value
    return NAMES[key][0].index(str(value))


def broad(p: Prepared, key: str) -> Array:
    """Shares of unlisted baits made of each kind."""
    kinds = KINDS[key]
    if not kinds.learned:
        return kinds.broad
    seen = p.kind_shares[key] * len(p.models)
    mixed: Array = (PSEUDO * kinds.broad + seen) / (PSEUDO + seen.sum())
    return mixed


def _ratio(p: Prepared, key: str, by_made: Array) -> Array:
    """Log ratio (n,) against an unlisted bait of what has these chances under each kind made."""
    return np.append(np.log(by_made / (broad(p, key) @ by_made)), 0.0)[p.kinds[key]]


def kind(r: Readings, p: Prepared, key: str) -> Array | None:
    """Log ratio (n,) of a kind that was told against an unlisted bait."""
    told = _told(r, key)
    return None if told is None else _ratio(p, key, KINDS[key].told[:, told])


def weight(r: Readings, p: Prepared) -> Array | None:
    """Log ratio (n,) of a told weight.  Unlisted baits weigh what their size lets expect."""
    told = r.told_of("weight_g")
    if told is None or told.u is None:
        return None
    noise = p.noise
    at, u = math.log(float(told.value)), told.u / float(told.value)
    (length, length_sd), (aspect, aspect_sd) = p.background.ln_length, p.background.ln_aspect
    if r.length_mm is not None:
        length, length_sd = math.log(r.length_mm.value), 0.0
    if r.aspect is not None:
        aspect, aspect_sd = math.log(r.aspect.value), 0.0
    mean, sd = noise.weight_broad
    spread = math.hypot(sd, 3 * length_sd, 2 * aspect_sd, u)
    own = log_t(at - p.ln_weight, math.hypot(u, noise.weight_tolerance), noise.tail)
    return said(own - log_t(at - (mean + 3 * length + 2 * aspect), spread, noise.tail))


# ------------------------------------------------------------------ can it be compared at all


@dataclass(frozen=True, eq=False)
class Other:
    """Baits of a kind that sets of one-piece bodies do not have: their share among such, and how they are made."""

    share: float
    material: Array
    parts: Array


OTHERS: dict[str, Other] = {
    "jointed": Other(0.5, np.array([0.47, 0.47, 0.02, 0.02, 0.02]), np.array([0.0, 0.8, 0.2])),
    "metal": Other(0.2, np.array([0.0, 0.0, 1.0, 0.0, 0.0]), np.array([0.90, 0.07, 0.03])),
    "rubber": Other(0.2, np.array([0.0, 0.0, 0.0, 1.0, 0.0]), np.array([0.94, 0.04, 0.02])),
    "other": Other(0.1, np.array([0.0, 0.0, 0.0, 0.0, 1.0]), np.array([0.80, 0.15, 0.05])),
}


def seen_by_parts(p: Prepared) -> Array:
    """P(a gap is seen across the body | made in one, two, more parts)."""
    return np.array([p.noise.joint_false, p.noise.joint_seen, p.noise.joint_seen])


def joint(r: Readings, p: Prepared) -> Array | None:
    """Log ratio (n,) of a gap seen across the body.  None seen says nothing: a bait may lie stretched."""
    if not r.joint:
        return None
    return _ratio(p, "parts", seen_by_parts(p))


def log_not_comparable(r: Readings, p: Prepared) -> float:
    """Log odds of a bait that the set cannot be compared with, against an unlisted bait that it can, from what was
    told, from a joint that was seen, and from what of that kind the set has."""
    have = dict(zip(NAMES["material"][0], p.kind_shares["material"] > 0, strict=True))
    have["jointed"] = bool((p.kind_shares["parts"][1:] > 0).any())
    total, unlisted = 0.0, 1.0
    by_made = {}
    for key in ("material", "parts"):
        told = _told(r, key)
        by_made[key] = np.ones(len(NAMES[key][0])) if told is None else KINDS[key].told[:, told]
        if key == "parts" and r.joint:
            by_made[key] = seen_by_parts(p)
        unlisted *= float(broad(p, key) @ by_made[key])
    for name, other in OTHERS.items():
        if not have[name]:
            total += other.share * float(other.material @ by_made["material"]) * float(other.parts @ by_made["parts"])
    rare = p.noise.not_comparable
    return math.log(max(rare * total, 1e-300) / ((1 - rare) * unlisted))
