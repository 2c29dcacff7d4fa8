"""From one measurement to ranked makers, models and sizes, with "none of these" as an answer of its own.

Every form of the set is a candidate with its colourways summed out; the features' likelihoods multiply, and the sum
over the four ways round that the bait may lie is taken at the end.  Against them stands the density of unlisted baits:
broad in each feature, with a share of cousins that follow a listed form in some features and are their own in others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from identify.errors import BadOption
from identify.geometry import Array
from identify.rank import colourways, likelihood, paintwork
from identify.rank.colourways import ColourSpeech
from identify.rank.densities import log_mean_exp
from identify.rank.evidence import Scored, rows
from identify.rank.prepared import Prepared, prepare
from identify.rank.readings import Readings, read
from identify.rank.rings import Indices
from identify.rank.words import measured
from identify.records import Candidate, ColourwayMatch, Identification, MakerShare, Measurement, ModelShare
from identify.reference.profile import Form

LISTED_AT_MOST = 12
"""So many candidates are written out; the probabilities of the others still count."""

KIN = (
    ("length", "depth to length", "outline", "a misread body"),
    ("line ties", "tie places"),
    ("hangers", "hanger places", "hooks"),
    ("colours", "pattern"),
)
"""Features that a cousin takes over together."""


def form_priors(p: Prepared, prior: Mapping[str, float]) -> Array:
    """Prior probability (n,) of each form, given that the bait is listed: makers weigh as told (1 when not told), split
    evenly over a maker's models, then over a model's forms.

    Raises BadOption for a maker the set does not have and for weights that are no weights.
    """
    known = ", ".join(p.makers)
    for maker, weight in prior.items():
        if maker not in p.makers:
            raise BadOption(f"The prior names {maker!r}, which the set does not have.", f"It has: {known}.")
        if not (0 <= weight < np.inf):
            raise BadOption(f"The prior weight of {maker!r} is {weight}.", "Give a number that is 0 or more.")
    weights = np.array([prior.get(m, 1.0) for m in p.makers], float)
    if p.makers and not weights.sum() > 0:
        raise BadOption("All prior weights are 0.", "Give at least one maker a weight above 0.")
    models, forms = np.bincount(p.maker_of_model), np.bincount(p.model)
    share: Array = (weights / weights.sum() / models)[p.maker] / forms[p.model]
    return share


def _speech(r: Readings, p: Prepared, ways: Indices) -> tuple[dict[str, Array], ColourSpeech | None]:
    """Log ratios (w, n) of every feature that was measured."""
    spoken: dict[str, Array] = {}
    for name, feature in likelihood.FEATURES.items():
        ratio = feature(r, p, ways)
        if ratio is not None:
            spoken[name] = np.broadcast_to(ratio, (len(ways), len(p.forms)))
    misread = likelihood.misread_body(r, p, ways, spoken)
    if misread is not None:
        spoken["a misread body"] = misread
    swapped = likelihood.BACK_SWAPPED[ways].astype(int)
    otherwise = sum(spoken.values(), np.zeros(len(p.forms)))
    most = np.broadcast_to(otherwise, (len(ways), len(p.forms))).max(0)
    colours = colourways.speak(r, p.palette, p.share, p.noise, bool(swapped.any()), most)
    if colours is not None:
        spoken["colours"], spoken["pattern"] = colours.colours[swapped], colours.pattern[swapped]
    return spoken, colours


def _kin(features: Mapping[str, Array], turned: Array, share: Array, p: Prepared) -> float:
    """ln of how much likelier unlisted baits become by those that follow a listed form in part (0 or more)."""
    grouped = {name for group in KIN for name in group}
    groups = [*KIN, *((name,) for name in features if name not in grouped)]
    copied = p.noise.copied
    total = turned
    for group in groups:
        speaks = [features[name] for name in group if name in features]
        if speaks:
            total = total + np.logaddexp(np.log(copied) + np.sum(speaks, axis=0), np.log1p(-copied))
    return float(np.logaddexp(np.log(p.noise.cousin) + log_mean_exp(total, share), np.log1p(-p.noise.cousin)))


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
) -> Identification:
    """Rank a reference set's forms for one measurement.

    `forms`: of one or more sets, or these made ready by `prepare`, which saves time with many baits.  `prior`:
    weights of makers, 1 when not told.  `at_most`: so many candidates are written out, the likeliest ones.  Without a
    scale a candidate is a maker and model, its sizes summed out.  A set without forms: none of these is sure.
    Raises BadOption for a prior that makes no sense.
    """
    p = forms if isinstance(forms, Prepared) else prepare(forms)
    return rank_readings(read(measurement), p, prior or {}, at_most)


def rank_readings(
    r: Readings, p: Prepared, prior: Mapping[str, float] | None = None, at_most: int = LISTED_AT_MOST
) -> Identification:
    """As `rank`, from readings."""
    share = form_priors(p, prior or {})
    alive: Indices = np.flatnonzero(share > 0)
    if not len(alive):
        return Identification((), (), (), 1.0, 0.0, None, ())
    noise = p.noise
    ways = likelihood.ways_to_try(r, noise)
    spoken, colours = _speech(r, p, ways)
    every = np.arange(len(p.forms))
    together = likelihood.log_ways(r, noise)[ways, None] + sum(spoken.values(), np.zeros((len(ways), len(every))))
    top = together.max(0)
    ratio = top + np.log(np.exp(together - top).sum(0))
    best = together.argmax(0)
    way = ways[best]
    features = {name: values[best, every] for name, values in spoken.items()}
    turned = ratio - sum(features.values(), np.zeros(len(every)))
    kin = _kin(features, turned, share, p)
    evidence = (ratio - kin) / noise.temperature + noise.offset
    with np.errstate(divide="ignore"):
        against_none = evidence + np.log(share * (1 - noise.none) / noise.none)

    highest = max(0.0, float(against_none.max()))
    relative = np.exp(against_none - highest)
    whole = float(relative.sum() + np.exp(-highest))
    probability, none = relative / whole, float(np.exp(-highest) / whole)
    by_model: Array = np.bincount(p.model, probability, len(p.models)).astype(float)
    by_maker: Array = np.bincount(p.maker, probability, len(p.makers)).astype(float)

    chosen: Indices
    if r.scaled:
        chosen = alive[_likeliest(probability[alive], at_most)]
        shown, sizes = probability[chosen], None
    else:
        models = _likeliest(by_model, at_most)
        models = models[np.bincount(p.model, share, len(p.models))[models] > 0]
        chosen, shown = _best_of_each(against_none, p)[models], by_model[models]
        sizes = _log_sum(evidence + np.log(np.maximum(share, 1e-300)), p.model, len(p.models))
    scored = []
    for i in chosen:
        prior_share = float(share[i]) if sizes is None else float(share[p.model == p.model[i]].sum())
        scored.append(
            Scored(
                index=int(i),
                way=int(way[i]),
                features={name: float(values[i]) for name, values in features.items()},
                turned=float(turned[i]),
                look_alikes=-kin,
                sizes=None if sizes is None else float(sizes[p.model[i]] - evidence[i] - np.log(prior_share)),
                prior=float(np.log(prior_share * (1 - noise.none) / noise.none)),
                prior_share=prior_share * (1 - noise.none),
                calibration=float(evidence[i] - (ratio[i] - kin)),
            )
        )
    paint = paintwork.judge(scored, colours, r, p)
    said = {k: measured(r, k) for k in {s.way for s in scored}}
    candidates = tuple(
        _candidate(r, p, s, float(q), match, said[s.way])
        for s, q, match in zip(scored, shown, paint.matches, strict=True)
    )
    return Identification(
        candidates=candidates,
        by_maker=tuple(MakerShare(p.makers[i], float(by_maker[i])) for i in _likeliest(by_maker, at_most)),
        by_model=tuple(
            ModelShare(p.models[i][0], p.models[i][1], float(by_model[i])) for i in _likeliest(by_model, at_most)
        ),
        none_of_these=none,
        not_comparable=0.0,
        colourway_new=paint.new,
        new_colour_reasons=paint.reasons,
        ageing=paint.ageing,
    )


def _best_of_each(values: Array, p: Prepared) -> Indices:
    """The form (index) of each model with the highest value."""
    order = np.lexsort((-np.arange(len(values)), values, p.model))
    last = np.append(np.flatnonzero(np.diff(p.model[order])), len(order) - 1)
    best: Indices = order[last]
    return best


def _likeliest(shares: Array, at_most: int) -> Indices:
    order: Indices = np.argsort(-shares, kind="stable")[:at_most].astype(np.int64)
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
