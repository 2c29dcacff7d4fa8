"""From one measurement to ranked makers, models and sizes, with "none of these" as an answer of its own.

Every form of the set is a candidate with its colourways summed out; the features' likelihoods multiply, and the sum
over the four ways round that the bait may lie is taken at the end.  Against them stands the density of unlisted baits:
broad in each feature, with a share of cousins that follow a listed form in some features and are their own in others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from identify.geometry import Array
from identify.rank import colourways, facts, likelihood, paintwork
from identify.rank.body import Traced, trace
from identify.rank.colourways import ColourSpeech
from identify.rank.evidence import Scored, rows
from identify.rank.newcolour import MISREAD
from identify.rank.posterior import weigh
from identify.rank.prepared import Prepared, prepare
from identify.rank.priors import form_priors
from identify.rank.readings import Readings, read
from identify.rank.rings import Indices
from identify.rank.telling import tell, told_features
from identify.rank.whatif import OPEN, SETTLED, Case, WhatIf
from identify.rank.words import measured
from identify.records import (
    Candidate,
    ColourwayMatch,
    Identification,
    MakerShare,
    Measurement,
    ModelShare,
    OtherSize,
    Settling,
)
from identify.reference.profile import Form
from identify.told import Told

OTHER_SIZE = 0.1
"""From this probability on a model in a size that the set does not have is named."""
LISTED_AT_MOST = 12
"""So many candidates are written out; the probabilities of the others still count."""


def speech(r: Readings, p: Prepared, ways: Indices, body: Traced) -> tuple[dict[str, Array], ColourSpeech | None]:
    """Log ratios (w, n), or (1, n) where they are the same whichever way round, of every feature that was measured or
    told."""
    spoken = likelihood.speak(r, p, ways, body)
    swapped = likelihood.BACK_SWAPPED[ways].astype(int)
    most = sum(spoken.values(), np.zeros((1, len(p.forms)))).max(0)
    colours = colourways.speak(r, p.palette, p.share, p.noise, bool(swapped.any()), most)
    if colours is not None:
        spoken["colours"], spoken["pattern"] = colours.colours[swapped], colours.pattern[swapped]
    return spoken, colours


def ask(r: Readings, p: Prepared, share: Array) -> tuple[Case, ColourSpeech | None]:
    """One bait weighed against all forms, whose prior probabilities are `share` (n,), and how its colours speak."""
    ways = likelihood.ways_to_try(r, p.noise)
    body = trace(r, p, ways)
    spoken, colours = speech(r, p, ways, body)
    log_ways, other = likelihood.log_ways(r, p.noise)[ways], facts.log_not_comparable(r, p)
    weighed = weigh(spoken, ways, log_ways, share, told_features(r), other, p.noise)
    return Case(r, p, ways, body, spoken, share, other, weighed), colours


def _log_sum(values: Array, groups: Indices, n: int) -> Array:
    """Logarithm of the sum of exponentials in each of n groups."""
    top = np.full(n, -np.inf)
    np.maximum.at(top, groups, values)
    total: Array = top + np.log(np.bincount(groups, np.exp(values - top[groups]), n))
    return total


def rank(
    measurement: Measurement,
    forms: Sequence[Form] | Prepared,
    prior: Mapping[str, float] | None = None,
    at_most: int = LISTED_AT_MOST,
    told: Sequence[Told] = (),
    explain: bool = False,
) -> Identification:
    """Rank a reference set's forms for one measurement.

    `forms`: of one or more sets, or these made ready by `prepare`, which saves time with many baits.  `prior`:
    weights of makers, 1 when not told.  `at_most`: so many candidates are written out, the likeliest ones.  Without a
    scale a candidate is a maker and model, its sizes summed out.  `told`: what a person said of the bait; it replaces
    what the photo gave of the same.  `explain`: also work out what would change the answer.  A set without forms: none
    of these is sure.
    Raises BadOption for a prior that makes no sense.
    """
    p = forms if isinstance(forms, Prepared) else prepare(forms)
    return rank_readings(tell(read(measurement), told), p, prior, at_most, explain)


def rank_readings(
    r: Readings,
    p: Prepared,
    prior: Mapping[str, float] | None = None,
    at_most: int = LISTED_AT_MOST,
    explain: bool = False,
) -> Identification:
    """As `rank`, from readings."""
    prior = prior or {}
    share = form_priors(p, prior)
    alive: Indices = np.flatnonzero(share > 0)
    if not len(alive):
        return Identification((), (), (), 1.0, 0.0, None, ())
    noise = p.noise
    case, colours = ask(r, p, share)
    w = case.weighed
    evidence, probability = w.evidence, w.probability
    by_model: Array = np.bincount(p.model, probability, len(p.models)).astype(float)
    by_maker: Array = np.bincount(p.maker, probability, len(p.makers)).astype(float)

    chosen: Indices
    if r.scaled:
        chosen = alive[_likeliest(probability[alive], at_most)]
        shown, sizes = probability[chosen], None
    else:
        models = _likeliest(by_model, at_most)
        models = models[np.bincount(p.model, share, len(p.models))[models] > 0]
        chosen, shown = _best_of_each(w.against_none, p)[models], by_model[models]
        sizes = _log_sum(evidence + np.log(np.maximum(share, 1e-300)), p.model, len(p.models))
    scored = []
    for i in chosen:
        prior_share = float(share[i]) if sizes is None else float(share[p.model == p.model[i]].sum())
        scored.append(
            Scored(
                index=int(i),
                way=int(w.way[i]),
                features={name: float(values[i]) for name, values in w.features.items()},
                turned=float(w.turned[i]),
                look_alikes=-float(w.kin),
                sizes=None if sizes is None else float(sizes[p.model[i]] - evidence[i] - np.log(prior_share)),
                prior=float(np.log(prior_share * (1 - noise.none) / noise.none)),
                prior_share=prior_share * (1 - noise.none),
                maker_weight=prior.get(p.makers[p.maker[i]], 1.0) if prior else None,
                calibration=float(evidence[i] - (w.ratio[i] - w.kin)),
            )
        )
    paint = paintwork.judge(scored, colours, r, p)
    said = {k: measured(r, k) for k in {s.way for s in scored}}
    candidates = tuple(
        _candidate(r, p, s, float(q), match, said[s.way])
        for s, q, match in zip(scored, shown, paint.matches, strict=True)
    )
    would_settle: tuple[Settling, ...] = ()
    would_help: Settling | None = None
    if candidates and explain:
        what_if = WhatIf(case)
        candidates = (replace(candidates[0], without=what_if.without()), *candidates[1:])
        if len(shown) > 1 and (shown[0] < SETTLED or shown[1] > OPEN * shown[0]):
            two = int(chosen[0]), int(chosen[1])
            would_settle = what_if.would_settle(*two)
            would_help = None if would_settle else what_if.would_help(*two)
    return Identification(
        candidates=candidates,
        by_maker=tuple(MakerShare(p.makers[i], float(by_maker[i])) for i in _likeliest(by_maker, at_most)),
        by_model=tuple(
            ModelShare(p.models[i][0], p.models[i][1], float(by_model[i])) for i in _likeliest(by_model, at_most)
        ),
        none_of_these=float(w.none_of_these),
        not_comparable=float(w.not_comparable),
        colourway_new=paint.new,
        new_colour_reasons=(MISREAD, *paint.reasons) if paint.reasons and r.body_doubtful else paint.reasons,
        would_settle=would_settle,
        would_help=would_help,
        other_size=_other_size(case, p),
        ageing=paint.ageing,
    )


def _other_size(case: Case, p: Prepared) -> OtherSize | None:
    """The model that the bait most likely is in a size that the set does not have; None where that is not likely."""
    w, noise = case.weighed, case.p.noise
    of_none = np.exp(np.log(noise.cousin) + w.sized - w.kin) * case.share
    by_model = np.bincount(p.model, float(w.none_of_these) * of_none, len(p.models))
    best = int(np.argmax(by_model))
    if by_model[best] < OTHER_SIZE:
        return None
    return OtherSize(*p.models[best], float(by_model[best]))


def _best_of_each(values: Array, p: Prepared) -> Indices:
    """The form (index) of each model with the highest value."""
    order = np.lexsort((-np.arange(len(values)), values, p.model))
    last = np.append(np.flatnonzero(np.diff(p.model[order])), len(order) - 1)
    best: Indices = order[last]
    return best


def _likeliest(shares: Array, at_most: int) -> Indices:
    """Indices of the largest, the first of equals first."""
    kept = np.arange(len(shares))
    if at_most < len(shares):
        kept = np.flatnonzero(shares >= np.partition(shares, -at_most)[-at_most])
    order: Indices = kept[np.argsort(-shares[kept], kind="stable")][:at_most].astype(np.int64)
    return order


def _candidate(
    r: Readings, p: Prepared, s: Scored, probability: float, match: ColourwayMatch | None, said: Mapping[str, str]
) -> Candidate:
    form = p.forms[s.index]
    size, variant = (form.size, form.variant) if r.scaled else (None, None)
    evidence = rows(r, p, s, match, said)
    return Candidate(
        form.maker, form.model, size, variant, form.set, form.made, form.known_by, probability, match, evidence
    )  # fmt: skip
