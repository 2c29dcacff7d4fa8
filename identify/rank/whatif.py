"""What would change the answer: the answer without each feature, and what a person could tell to settle it.

Asked of the forms that can matter only; all others keep the odds that they have.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from identify.geometry import Array
from identify.rank import facts, likelihood
from identify.rank.body import BODY, misread_body
from identify.rank.posterior import Weighed, weigh
from identify.rank.prepared import Prepared
from identify.rank.readings import Readings
from identify.rank.rings import Indices, Rings
from identify.rank.telling import tell, told_features
from identify.records import NONE_OF_THESE, NOT_COMPARABLE, Settling, Without
from identify.reference.profile import Form
from identify.told import USUAL_U, Told

NEAR = 24
"""So many forms, the likeliest without each feature, are weighed again."""
SETTLED = 0.9
OPEN = 0.1
"""A second candidate at least so likely as the first leaves the answer open."""
BESIDE = 1.5
"""A told quantity is tried so many standard deviations on the other candidate's side."""
ASSUMED = "a misread body"
"""The one row among the features that is no reading."""
READING_OF = {"length": "length_mm", "depth to length": "aspect", "outline": "outline"}
"""Readings that a misread body spoils together."""
Value = float | int | str
TELLABLE: dict[str, tuple[Callable[[Form], Value | None], str]] = {
    "ties": (lambda f: None if f.line_ties is None else f.line_ties.count, "count the line ties on nose and back"),
    "length_mm": (lambda f: f.length_mm, "measure the body's length with a caliper"),
    "depth_mm": (lambda f: f.depth_mm, "measure the body's depth, back to belly, with a caliper"),
    "thickness_mm": (lambda f: f.thickness_mm, "measure the body's thickness, flank to flank, with a caliper"),
    "hangers": (lambda f: None if f.hangers is None else f.hangers.count, "count the hook hangers"),
    "lip": (lambda f: f.lip, "look whether it has a lip, and of what"),
    "parts": (lambda f: f.parts, "count the parts of the body"),
    "material": (lambda f: f.material, "find out what the body is made of"),
    "tie_kind": (lambda f: f.tie_kind, "look how the line ties are made"),
    "hanger_kind": (lambda f: f.hanger_kind, "look how the hook hangers are made"),
    "eye": (lambda f: None if f.eye is None else f.eye.kind, "look how the eyes are made"),
    "weight_g": (lambda f: f.weight_g, "weigh it without hooks that are not its own"),
    "hooks": (lambda f: f.hooks, "count the hooks"),
}
"""What a form says under each told key, and how to find it out, the surest first."""


@dataclass(frozen=True, eq=False)
class Case:
    """One bait as it was ranked: `spoken` (w, n) by feature for the `ways` (w,) round, `share` (n,) the prior."""

    r: Readings
    p: Prepared
    ways: Indices
    spoken: Mapping[str, Array]
    share: Array
    log_not_comparable: float
    weighed: Weighed

    @property
    def log_ways(self) -> Array:
        return likelihood.log_ways(self.r, self.p.noise)[self.ways]


def form_name(form: Form, scaled: bool) -> str:
    """As `Candidate.name`."""
    parts = (form.maker, form.model, form.size, form.variant) if scaled else (form.maker, form.model)
    return " / ".join(part for part in parts if part is not None)


def _rows(rings: Rings, chosen: Indices) -> Rings:
    return Rings(rings.count[chosen], rings.places[chosen], rings.placed[chosen])


def _only(p: Prepared, chosen: Indices) -> Prepared:
    """The set with some of its forms, as far as features other than colours look at them."""
    arrays = ("ln_length", "length_tolerance", "ln_aspect", "aspect_tolerance", "outline", "ln_thickness")
    whole = ("hooks", "eye", "eye_place", "eye_diameter_mm", "lip", "share", "maker", "model")
    return replace(
        p,
        forms=tuple(p.forms[i] for i in chosen),
        ties=_rows(p.ties, chosen),
        hangers=_rows(p.hangers, chosen),
        **{name: getattr(p, name)[chosen] for name in (*arrays, *whole)},
    )


def _top(odds: Array) -> Indices:
    """The NEAR likeliest forms, in any order."""
    if len(odds) <= NEAR:
        return np.arange(len(odds))
    return np.argpartition(odds, len(odds) - NEAR)[-NEAR:].astype(np.int64)


class WhatIf:
    """Answers questions about one ranked bait."""

    def __init__(self, case: Case) -> None:
        self.case = case
        noise, weighed = case.p.noise, case.weighed
        told = told_features(case.r)
        self.names = tuple(name for name in case.spoken if name != ASSUMED)
        now = np.where(np.isfinite(weighed.against_none), weighed.against_none, -np.inf)
        self.odds = {
            name: now - weighed.features[name] / (1.0 if name in told else noise.temperature) for name in self.names
        }
        self.chosen: Indices = np.unique(np.concatenate([_top(odds) for odds in (now, *self.odds.values())]))
        self.out = np.ones(len(now), bool)
        self.out[self.chosen] = False
        self.now = now
        self.sub = _only(case.p, self.chosen)
        self.spoken = {name: values[:, self.chosen] for name, values in case.spoken.items()}

    def _weigh(self, r: Readings, spoken: Mapping[str, Array], odds: Array, log_not_comparable: float) -> Weighed:
        case = self.case
        rest = float(np.exp(np.minimum(odds[self.out], 50)).sum())
        return weigh(
            spoken, case.ways, case.log_ways, case.share[self.chosen], told_features(r), log_not_comparable,
            case.p.noise, rest,
        )  # fmt: skip

    def _top(self, weighed: Weighed) -> tuple[str, float]:
        if self.case.r.scaled:
            i = int(np.argmax(weighed.probability))
            name, best = form_name(self.sub.forms[i], True), float(weighed.probability[i])
        else:
            by_model = np.bincount(self.sub.model, weighed.probability)
            model = int(np.argmax(by_model))
            name, best = " / ".join(self.case.p.models[model]), float(by_model[model])
        return max(
            ((name, best), (NONE_OF_THESE, weighed.none_of_these), (NOT_COMPARABLE, weighed.not_comparable)),
            key=lambda answer: answer[1],
        )

    def without(self) -> tuple[Without, ...]:
        """The answer without each feature that was measured or told."""
        r = self.case.r
        found = []
        for name in self.names:
            spoken = {k: v for k, v in self.spoken.items() if k not in (name, ASSUMED)}
            fewer = replace(r, **{READING_OF[name]: None}) if name in READING_OF else r  # type: ignore[arg-type]
            misread = self.spoken.get(ASSUMED)
            if name in BODY:
                misread = misread_body(fewer, self.sub, self.case.ways, spoken)
            if misread is not None:
                spoken[ASSUMED] = misread
            other = self.case.log_not_comparable
            if name in ("material", "parts"):
                other = facts.log_not_comparable(
                    replace(r, told=tuple(t for t in r.told if t.key != name)), self.case.p
                )
            found.append(Without(name, *self._top(self._weigh(r, spoken, self.odds[name], other))))
        return tuple(found)

    def would_settle(self, first: int, second: int) -> tuple[Settling, ...]:
        """What a person could tell so that, whichever of two forms (indices of the set) is the truth, its model (its
        size, when both are of one model) is expected to reach a probability above SETTLED."""
        forms = self.case.p.forms
        a, b = forms[first], forms[second]
        between = form_name(a, self.case.r.scaled), form_name(b, self.case.r.scaled)
        alone = bool(self.case.p.model[first] == self.case.p.model[second])
        found = []
        for key, (of, text) in TELLABLE.items():
            one, other = of(a), of(b)
            if one is None or other is None or one == other or self.case.r.told_of(key) is not None:
                continue
            if self._settles(key, first, alone, one, other) and self._settles(key, second, alone, other, one):
                said = f"{text}: {_said(key, one)} for {between[0]}, {_said(key, other)} for {between[1]}"
                found.append(Settling(between, key, said))
        return tuple(found)

    def _settles(self, key: str, truth: int, alone: bool, own: Value, others: Value) -> bool:
        """Whether telling what a form has makes that form (`alone`) or its model likely enough."""
        case = self.case
        told = Told(key, own)
        if key in USUAL_U:
            at, u = float(own), USUAL_U[key]
            off = BESIDE * float(np.hypot(u, _tolerance(case.p, key, truth) * at))
            told = Told(key, at + min(off, max(-off, float(others) - at)), u)
        r = tell(case.r, (told,))
        spoken = likelihood.speak(r, self.sub, case.ways)
        spoken |= {name: self.spoken[name] for name in ("colours", "pattern") if name in self.spoken}
        weighed = self._weigh(r, spoken, self.now, facts.log_not_comparable(r, case.p))
        at_truth = self.chosen == truth if alone else self.sub.model == case.p.model[truth]
        return bool(weighed.probability[at_truth].sum() > SETTLED)


def _tolerance(p: Prepared, key: str, form: int) -> float:
    """Relative standard deviation between pieces."""
    if key in ("length_mm", "depth_mm"):
        return float((p.length_tolerance if key == "length_mm" else p.aspect_tolerance)[form])
    return p.noise.thickness_tolerance if key == "thickness_mm" else p.noise.weight_tolerance


def _said(key: str, value: Value) -> str:
    if key in USUAL_U:
        return f"{float(value):.1f} {key.rpartition('_')[2]}"
    return "none" if value == 0 else str(value)
