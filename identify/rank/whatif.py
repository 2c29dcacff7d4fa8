"""What would change the answer: the answer without each feature, and what a person could tell to settle it.

Asked of the forms that can matter only; all others keep the odds that they have.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from identify.geometry import Array
from identify.rank import facts, likelihood
from identify.rank.body import BODY, Outlines, Traced, trace
from identify.rank.likelihood import MISREAD_BODY
from identify.rank.posterior import Rest, Weighed, cousins, weigh
from identify.rank.prepared import BY_FORM, Prepared
from identify.rank.readings import Readings
from identify.rank.rings import Indices, Rings, Single
from identify.rank.telling import tell, told_features
from identify.rank.words import percent
from identify.records import NONE_OF_THESE, NOT_COMPARABLE, Settling, Without
from identify.reference.profile import Form
from identify.told import USUAL_U, Told

NEAR = 24
"""So many forms, the likeliest without each feature, are weighed again."""
LOST = 20.0
"""Forms whose odds against none of these are below e^-LOST whichever feature is left out cannot matter: thousands of
them have less than one part in ten thousand together."""
TOP = 38.0
"""Natural log: no odds are held larger, so that products of two and their sums fit single precision."""
SETTLED = 0.9
OPEN = 0.1
"""A second candidate at least so likely as the first leaves the answer open."""
HELPS = 0.6
"""Something to tell is worth the trouble when it brings the less likely of two to so much if it is the truth."""
CAREFUL_U = {"length_mm": 0.05, "depth_mm": 0.05, "thickness_mm": 0.05, "weight_g": 0.1}
"""Standard uncertainties of somebody who takes care: several readings of a caliper, letter scales (bench)."""
BESIDE = 1.5
"""A told quantity is tried so many standard deviations on the other candidate's side."""
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
    """One bait as it was ranked: what its body says, `spoken` (w, n) by feature for the `ways` (w,) round, `share` (n,)
    the prior."""

    r: Readings
    p: Prepared
    ways: Indices
    body: Traced
    spoken: Mapping[str, Array]
    share: Array
    log_not_comparable: float
    weighed: Weighed

    @property
    def log_ways(self) -> Array:
        return likelihood.log_ways(self.r, self.p.noise)[self.ways]

    @property
    def best(self) -> Indices:
        """The way round (n,) that suits each form best, as an index of `ways`."""
        return np.searchsorted(self.ways, self.weighed.way)


def form_name(form: Form, scaled: bool) -> str:
    """As `Candidate.name`."""
    parts = (form.maker, form.model, form.size, form.variant) if scaled else (form.maker, form.model)
    return " / ".join(part for part in parts if part is not None)


def _rows(rings: Rings, chosen: Indices) -> Rings:
    return Rings(rings.count[chosen], rings.places[chosen], rings.placed[chosen], rings.doubt[chosen])


def _only(p: Prepared, chosen: Indices) -> Prepared:
    """The set with some of its forms, as far as features other than colours look at them."""
    return replace(
        p,
        forms=tuple(p.forms[i] for i in chosen),
        ties=_rows(p.ties, chosen),
        hangers=_rows(p.hangers, chosen),
        kinds={key: kinds[chosen] for key, kinds in p.kinds.items()},
        **{name: getattr(p, name)[chosen] for name in BY_FORM},
    )


def _one_less(names: Sequence[str]) -> dict[str, Array]:
    """By name (k, 1, 1): 0 where it is the one of the k names that is left out, 1 elsewhere."""
    return dict(zip(names, 1 - np.eye(len(names))[..., None, None], strict=True))


class WhatIf:
    """Answers questions about one ranked bait."""

    def __init__(self, case: Case) -> None:
        self.case = case
        noise, weighed = case.p.noise, case.weighed
        self.names = tuple(name for name in case.spoken if name != MISREAD_BODY)
        told = told_features(case.r)
        speaks = self._speaks()
        divided = np.array([1.0 if name in told else noise.temperature for name in self.names], np.float32)[:, None]
        now = np.where(np.isfinite(weighed.against_none), weighed.against_none, -np.inf)
        at_best = now - (speaks / divided).min(0, initial=0.0)
        least = np.partition(at_best, -NEAR)[-NEAR] if len(now) > NEAR else -np.inf
        live: Indices = np.flatnonzero(at_best >= min(-LOST, float(least)))
        # odds against none of these, now and without each feature
        odds = now[live] - np.vstack([np.zeros(len(live)), speaks[:, live] / divided])
        near = np.unique(np.argpartition(-odds, NEAR, axis=1)[:, :NEAR]) if len(live) > NEAR else slice(None)
        self.chosen: Indices = live[near]
        odds[:, near] = -np.inf
        self.rest = Rest(np.exp(np.minimum(odds, TOP)).sum(1), self._followers(speaks))
        """What all forms that are not chosen come to, now and without each feature."""
        self.sub = _only(case.p, self.chosen)
        self.spoken = {name: values[:, self.chosen] for name, values in case.spoken.items()}
        self._told: dict[tuple[Told, int, bool], float] = {}
        self.shape = None if case.r.outline is None else Outlines(case.r.outline, case.r, self.sub, case.ways)

    def _speaks(self) -> Single:
        """How each feature speaks (k, n): what goes with it, for the body's features what a misread one adds too."""
        features = self.case.weighed.features
        speaks = np.array([features[name] for name in self.names], np.float32).reshape(-1, len(self.case.share))
        body = [name for name in self.names if name in BODY]
        misread = self.case.body.lying(self.case.best).misread(_one_less(body))
        if misread is not None:
            for name, without in zip(body, misread, strict=True):
                speaks[self.names.index(name)] += features[MISREAD_BODY] - without[0]
        return speaks

    def _followers(self, speaks: Single) -> Array:
        """How likely unlisted baits are that follow a form that is not chosen, now and without each feature."""
        case, features = self.case, self.case.weighed.features
        whole = (case.share * np.exp(np.minimum(case.weighed.followers, TOP))).astype(np.float32)
        whole[self.chosen] = 0
        kinds = cousins(features, case.p.noise)
        made = np.zeros((len(kinds), len(whole)), np.float32)
        falls = np.ones((len(kinds), *speaks.shape), np.float32)
        for kind, log_made, fall in zip(kinds, made, falls, strict=True):
            c = kind.copied
            log_made += math.log(kind.share)
            for group in kind.groups:
                together = sum((features[name] for name in group[1:]), features[group[0]]).astype(np.float32)
                now = 1 - c + c * np.exp(np.minimum(together, TOP))
                log_made += np.log(now)
                for k, name in enumerate(self.names):
                    if name in group:
                        gone = speaks[k] if MISREAD_BODY in group else features[name]
                        fall[k] = (1 - c + c * np.exp(np.minimum(together - gone, TOP))) / now
        of_kind = np.exp(made - made.max(0))
        without = (of_kind[:, None] * falls).sum(0) / of_kind.sum(0)
        return np.append(whole.sum(), without @ whole).astype(float)

    def _weigh(
        self, told: Collection[str], spoken: Mapping[str, Array], rest: Rest, log_not_comparable: Array
    ) -> Weighed:
        case = self.case
        share = case.share[self.chosen]
        return weigh(spoken, case.ways, case.log_ways, share, told, log_not_comparable, case.p.noise, rest)

    def without(self) -> tuple[Without, ...]:
        """The answer without each feature that was measured or told; what is left out says 0."""
        r, p = self.case.r, self.case.p
        one_less = _one_less(self.names)
        spoken = {name: values * one_less[name] for name, values in self.spoken.items() if name != MISREAD_BODY}
        misread = trace(r, self.sub, self.case.ways, self.shape).misread(one_less)
        if misread is not None:
            spoken[MISREAD_BODY] = misread
        other = np.full(len(self.names), self.case.log_not_comparable)
        for k, name in enumerate(self.names):
            if name in ("material", "parts"):
                other[k] = facts.log_not_comparable(replace(r, told=tuple(t for t in r.told if t.key != name)), p)
        found = self._weigh(told_features(r), spoken, Rest(self.rest.odds[1:], self.rest.followers[1:]), other)
        return tuple(Without(name, *self._top(found, k)) for k, name in enumerate(self.names))

    def _top(self, weighed: Weighed, k: int) -> tuple[str, float]:
        """The likeliest answer in one of several cases, and its probability."""
        probability = weighed.probability[k]
        if self.case.r.scaled:
            i = int(np.argmax(probability))
            name, best = form_name(self.sub.forms[i], True), float(probability[i])
        else:
            by_model = np.bincount(self.sub.model, probability)
            model = int(np.argmax(by_model))
            name, best = " / ".join(self.case.p.models[model]), float(by_model[model])
        others = (NONE_OF_THESE, float(weighed.none_of_these[k])), (NOT_COMPARABLE, float(weighed.not_comparable[k]))
        return max(((name, best), *others), key=lambda answer: answer[1])

    def would_settle(self, first: int, second: int) -> tuple[Settling, ...]:
        """What a person could tell so that, whichever of two forms (indices of the set) is the truth, its model (its
        size, when both are of one model) is expected to reach a probability above SETTLED."""
        between = self._names(first, second)
        found = []
        for key, one, other in self._differ(first, second):
            usual = USUAL_U.get(key)
            if all(
                self._if_told(key, *case, BESIDE, usual) > SETTLED for case in self._cases(first, second, one, other)
            ):
                found.append(Settling(between, key, f"{TELLABLE[key][1]}: {_between(between, key, one, other)}"))
        return tuple(found)

    def would_help(self, first: int, second: int) -> Settling | None:
        """What tells two forms apart best, if it is measured with care, where nothing settles it: what brings the less
        likely one furthest if it is the truth.  None where nothing is worth the trouble."""
        between = self._names(first, second)
        best, found = HELPS, None
        for key, one, other in self._differ(first, second):
            u = CAREFUL_U.get(key)
            if (chance := self._if_told(key, *self._cases(first, second, one, other)[1], 0.0, u)) > best:
                how = TELLABLE[key][1]
                if u is not None:
                    how = f"{how} to {u:g} {_unit(key)}, several times"
                goes = f"would help without settling it for sure: if it is {between[1]}, that gets {percent(chance)}"
                best, found = chance, Settling(between, key, f"{how}: {_between(between, key, one, other)}; {goes}")
        return found

    def _names(self, first: int, second: int) -> tuple[str, str]:
        forms, scaled = self.case.p.forms, self.case.r.scaled
        return form_name(forms[first], scaled), form_name(forms[second], scaled)

    def _differ(self, first: int, second: int) -> Iterator[tuple[str, Value, Value]]:
        """What could still be told of two forms and differs between them: its key, and what each has."""
        forms = self.case.p.forms
        for key, (of, _) in TELLABLE.items():
            one, other = of(forms[first]), of(forms[second])
            if one is not None and other is not None and one != other and self.case.r.told_of(key) is None:
                yield key, one, other

    def _cases(self, first: int, second: int, one: Value, other: Value) -> tuple[tuple[int, bool, Value, Value], ...]:
        """Either of two forms as the truth."""
        alone = bool(self.case.p.model[first] == self.case.p.model[second])
        return (first, alone, one, other), (second, alone, other, one)

    def _if_told(
        self, key: str, truth: int, alone: bool, own: Value, others: Value, beside: float, u: float | None
    ) -> float:
        """Probability of a form (`alone`) or its model when what it has is told: a quantity to within u, so many
        standard deviations on the other form's side."""
        case = self.case
        told = Told(key, own)
        if u is not None:
            at = float(own)
            off = beside * float(np.hypot(u, _tolerance(case.p, key, truth) * at))
            told = Told(key, at + min(off, max(-off, float(others) - at)), u)
        if (told, truth, alone) not in self._told:
            self._told[told, truth, alone] = self._after(told, truth, alone)
        return self._told[told, truth, alone]

    def _after(self, told: Told, truth: int, alone: bool) -> float:
        """Probability of a form (`alone`) or its model once that is told."""
        case, key = self.case, told.key
        r = tell(case.r, (told,))
        body = trace(r, self.sub, case.ways, self.shape)
        spoken = likelihood.speak(r, self.sub, case.ways, body, (case.r, self.spoken))
        unlike = key in ("material", "parts")
        not_comparable = np.array(facts.log_not_comparable(r, case.p) if unlike else case.log_not_comparable)
        rest = Rest(self.rest.odds[0], self.rest.followers[0])
        weighed = self._weigh(told_features(r), spoken, rest, not_comparable)
        at_truth = self.chosen == truth if alone else self.sub.model == case.p.model[truth]
        return float(weighed.probability[at_truth].sum())


def _tolerance(p: Prepared, key: str, form: int) -> float:
    """Relative standard deviation between pieces."""
    if key in ("length_mm", "depth_mm"):
        return float((p.length_tolerance if key == "length_mm" else p.aspect_tolerance)[form])
    return p.noise.thickness_tolerance if key == "thickness_mm" else p.noise.weight_tolerance


def _unit(key: str) -> str:
    return key.rpartition("_")[2]


def _said(key: str, value: Value) -> str:
    if key in USUAL_U:
        return f"{float(value):.1f} {_unit(key)}"
    return "none" if value == 0 else str(value)


def _between(names: tuple[str, str], key: str, one: Value, other: Value) -> str:
    return f"{_said(key, one)} for {names[0]}, {_said(key, other)} for {names[1]}"
