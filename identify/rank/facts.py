"""What only a person can tell: weight, material, parts and kinds of hardware, as features beside those of the photo.

Each kind told is the kind made, or what became of it: hardware is replaced, eyes and lips are lost, painted wood passes
for plastic.  All figures are of the bench, no published source.  What a form does not say speaks neither for nor
against it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from identify.geometry import Array
from identify.rank.background import PSEUDO
from identify.rank.densities import log_t
from identify.rank.prepared import Prepared
from identify.rank.readings import Readings
from identify.rank.rings import Indices
from identify.reference.profile import Form
from identify.told import HARDWARE, WORDS

MOST_PARTS = 3


@dataclass(frozen=True, eq=False)
class Kinds:
    """The kinds of one thing: P(told | made) with a row for each kind made, and how unlisted baits are made."""

    names: tuple[str, ...]
    told: Array
    broad: Array
    of: Callable[[Form], str | None]
    learned: bool = False
    """The set's own models say how unlisted baits are made, beside `broad`."""


def _parts(form: Form) -> str | None:
    return None if form.parts is None else str(min(form.parts, MOST_PARTS))


def _hardware() -> Array:
    """Four of five are as made; most replacements are screw eyes."""
    table = np.full((5, 5), 0.03) + 0.8 * np.eye(5)
    table[:, 0] += np.array([0.08, 0.08, 0.08, 0.08, 0.08])
    whole: Array = table / table.sum(1, keepdims=True)
    return whole


HARDWARE_BROAD = np.array([0.40, 0.25, 0.15, 0.10, 0.10])
KINDS: dict[str, Kinds] = {
    "eye": Kinds(
        WORDS["eye"],
        np.array(
            [[0.90, 0.01, 0.02, 0.07], [0.02, 0.90, 0.02, 0.06], [0.02, 0.02, 0.88, 0.08], [0.04, 0.01, 0.01, 0.94]]
        ),
        np.array([0.50, 0.15, 0.20, 0.15]),
        lambda f: None if f.eye is None else f.eye.kind,
    ),
    "lip": Kinds(
        WORDS["lip"],
        np.array([[0.985, 0.01, 0.005], [0.09, 0.89, 0.02], [0.08, 0.02, 0.90]]),
        np.array([0.70, 0.15, 0.15]),
        lambda f: f.lip,
    ),
    "tie_kind": Kinds(HARDWARE, _hardware(), HARDWARE_BROAD, lambda f: f.tie_kind),
    "hanger_kind": Kinds(HARDWARE, _hardware(), HARDWARE_BROAD, lambda f: f.hanger_kind),
    "material": Kinds(
        WORDS["material"],
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
        lambda f: f.material,
        learned=True,
    ),
    "parts": Kinds(
        ("1", "2", "3"),
        np.array([[0.9970, 0.0025, 0.0005], [0.010, 0.985, 0.005], [0.003, 0.017, 0.980]]),
        np.array([0.9990, 0.0008, 0.0002]),
        _parts,
        learned=True,
    ),
}  # fmt: skip
"""By told key."""


def _index(kinds: Kinds, name: str | None) -> int:
    return kinds.names.index(name) if name in kinds.names else -1


def _told(r: Readings, key: str) -> str | None:
    told = r.told_of(key)
    if told is None:
        return None
    return str(min(int(told.value), MOST_PARTS)) if key == "parts" else str(told.value)


_MADE: WeakKeyDictionary[Prepared, dict[str, Indices]] = WeakKeyDictionary()
"""What `made` found: looking through thousands of forms takes longer than all of ranking."""


def made(p: Prepared, key: str) -> Indices:
    """The kind (n,) of each form as an index, -1 where the set does not say."""
    found = _MADE.setdefault(p, {})
    if key not in found:
        kinds = KINDS[key]
        found[key] = np.array([_index(kinds, kinds.of(form)) for form in p.forms], np.int64)
    return found[key]


def broad(p: Prepared, key: str, of_forms: Indices) -> Array:
    """Shares of unlisted baits made of each kind."""
    kinds = KINDS[key]
    if not kinds.learned:
        return kinds.broad
    known = of_forms >= 0
    seen = np.bincount(of_forms[known], p.share[known], len(kinds.names)) * len(p.models)
    mixed: Array = (PSEUDO * kinds.broad + seen) / (PSEUDO + seen.sum())
    return mixed


def kind(r: Readings, p: Prepared, key: str) -> Array | None:
    """Log ratio (n,) of a kind that was told against an unlisted bait."""
    name = _told(r, key)
    if name is None:
        return None
    of_forms = made(p, key)
    by_made = KINDS[key].told[:, _index(KINDS[key], name)]
    ratio = np.append(np.log(by_made / (broad(p, key, of_forms) @ by_made)), 0.0)
    return ratio[of_forms]


def weight(r: Readings, p: Prepared) -> Array | None:
    """Log ratio (n,) of a told weight.  Unlisted baits weigh what their size lets expect."""
    told = r.told_of("weight_g")
    if told is None or told.u is None:
        return None
    noise = p.noise
    at, u = math.log(float(told.value)), told.u / float(told.value)
    forms = np.log(np.array([math.nan if f.weight_g is None else f.weight_g for f in p.forms], float))
    (length, length_sd), (aspect, aspect_sd) = p.background.ln_length, p.background.ln_aspect
    if r.length_mm is not None:
        length, length_sd = math.log(r.length_mm.value), 0.0
    if r.aspect is not None:
        aspect, aspect_sd = math.log(r.aspect.value), 0.0
    mean, sd = noise.weight_broad
    spread = math.hypot(sd, 3 * length_sd, 2 * aspect_sd, u)
    own = log_t(at - forms, np.hypot(u, noise.weight_tolerance), noise.tail)
    ratio: Array = np.nan_to_num(own - log_t(at - (mean + 3 * length + 2 * aspect), spread, noise.tail), nan=0.0)
    return ratio


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
    of_forms, by_made = made(p, "parts"), seen_by_parts(p)
    return np.append(np.log(by_made / (broad(p, "parts", of_forms) @ by_made)), 0.0)[of_forms]


def log_not_comparable(r: Readings, p: Prepared) -> float:
    """Log odds of a bait that the set cannot be compared with, against an unlisted bait that it can, from what was
    told, from a joint that was seen, and from what of that kind the set has."""
    kinds = {key: made(p, key) for key in ("material", "parts")}
    have = {name: bool((kinds["material"] == i).any()) for i, name in enumerate(WORDS["material"])}
    have["jointed"] = bool((kinds["parts"] > 0).any())
    total, unlisted = 0.0, 1.0
    by_made = {}
    for key, of_forms in kinds.items():
        name = _told(r, key)
        table = KINDS[key].told
        by_made[key] = np.ones(len(table)) if name is None else table[:, _index(KINDS[key], name)]
        if key == "parts" and r.joint:
            by_made[key] = seen_by_parts(p)
        unlisted *= float(broad(p, key, of_forms) @ by_made[key])
    for name, other in OTHERS.items():
        if not have[name]:
            total += other.share * float(other.material @ by_made["material"]) * float(other.parts @ by_made["parts"])
    rare = p.noise.not_comparable
    return math.log(max(rare * total, 1e-300) / ((1 - rare) * unlisted))
