"""Figures that need more than one look at a bait: models left out in turn, what would settle look-alikes, and colours
that are on no list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from identify.colour import delta_e
from identify.rank import Noise, Prepared, prepare, rank
from identify.rank.whatif import OPEN, TELLABLE
from identify.records import Identification, Lab, Settling
from identify.reference.profile import Form
from identify.told import USUAL_U, Told
from tests.benchmarks.collect import Match
from tests.benchmarks.figure import Figure, share
from tests.benchmarks.rank import left_out
from tests.benchmarks.stats import auroc

Model = tuple[str, str]
NO_LOOK_ALIKE = 0.9
"""A model is one of a kind when, drawn and left out, none of these is so likely on average."""
FAR = 10.0
"""CIEDE2000: a colourway is unlisted and far when the larger of its back's and belly's distances to every listed one is
at least so much."""
FALSE_ALARMS = 0.15


def one_of_a_kind(forms: Sequence[Form], each: int = 10) -> set[Model]:
    """Models that no other model of the set looks like, by simulation."""
    # drawn from the likelihoods themselves, so without the temperature that photos need
    noise = replace(Noise(), temperature=1.0, offset=0.0)
    out = left_out(forms, each, noise=noise)
    return {model for model, scores in out.items() if scores.none[scores.stranger].mean() > NO_LOOK_ALIKE}


def left_out_figures(matches: Sequence[Match], truths: Sequence[Model], forms: Sequence[Form]) -> list[Figure]:
    """How well "none of these" tells baits whose model is taken out of the set from the same baits with all of it."""
    alone = one_of_a_kind(forms)
    known: list[float] = []
    strangers: dict[bool, list[float]] = {True: [], False: []}
    sets: dict[Model, Prepared] = {}
    for m, model in zip(matches, truths, strict=True):
        if m.bait is None or m.bait.identification is None:
            continue
        known.append(m.bait.identification.none_of_these)
        if model not in sets:
            sets[model] = prepare([f for f in forms if (f.maker, f.model) != model])
        answer = rank(m.bait.measurement, sets[model])
        strangers[model in alone].append(answer.none_of_these)
    rows = (("each model left out in turn", True, "(>= 0.95)"), ("look-alikes left out in turn", False, "report"))
    return [
        *(
            Figure(f"AUROC of none of these, {what}", auroc(strangers[k], known), "", len(strangers[k]), None, aim)
            for what, k, aim in rows
        ),
        _size_left_out(matches, truths, forms, alone),
    ]


def _size_left_out(
    matches: Sequence[Match], truths: Sequence[Model], forms: Sequence[Form], alone: set[Model]
) -> Figure:
    """Whether a bait whose size is taken out of the set is said to be its model in another size, and surely no other;
    models whose look-alike of that size stays are left out."""
    named: list[bool] = []
    sets: dict[tuple[Model, str], Prepared] = {}
    for m, model in zip(matches, truths, strict=True):
        size = size_of(m.truth)
        rest = [f for f in forms if (f.maker, f.model, f.size) != (*model, size)]
        if m.bait is None or model not in alone or not any((f.maker, f.model) == model for f in rest):
            continue
        if (model, size) not in sets:
            sets[model, size] = prepare(rest)
        other = rank(m.bait.measurement, sets[model, size]).other_size
        named.append(other is not None and (other.maker, other.model) == model and other.probability > 0.5)
    return share("each size left out in turn: named as its model in another size, p > 0.5", named, "report")


def size_of(truth: dict[str, Any]) -> str:
    """The size's code in a set written from the truth."""
    return str(int(truth["size_index"]) + 1) if "size_index" in truth else str(truth.get("size"))


def settled_figures(matches: Sequence[Match], truths: Sequence[Model], forms: Sequence[Form]) -> list[Figure]:
    """Look-alikes within a factor of ten of each other, told the true value of what would settle them."""
    p = prepare(forms)
    right: list[bool] = []
    open_ones = 0
    for m, model in zip(matches, truths, strict=True):
        answer = m.bait.identification if m.bait else None
        if m.bait is None or answer is None or len(answer.candidates) < 2:
            continue
        first, second = answer.candidates[:2]
        if second.probability <= OPEN * first.probability or model not in {
            (first.maker, first.model), (second.maker, second.model)
        }:  # fmt: skip
            continue
        open_ones += 1
        for settling in answer.would_settle:
            told = true_value(m.truth, settling, model, forms)
            if told is not None:
                again = rank(m.bait.measurement, p, told=(told,))
                right.append(_share_of(again, model) > 0.9)
    return [
        Figure("look-alikes within a factor 10 of each other", float(open_ones), "baits", len(matches), None, ""),
        share("settled by the told truth: its model at p > 0.9", right, "(all)"),
    ]


def true_value(truth: dict[str, Any], settling: Settling, model: Model, forms: Sequence[Form]) -> Told | None:
    """What a person would read off this piece; of what the truth does not say, what its model has."""
    key = settling.key
    form = next((f for f in forms if (f.maker, f.model, f.size) == (*model, size_of(truth))), None)
    own = {"ties": "tie_count", "length_mm": "feret_length_mm", "depth_mm": "feret_depth_mm"}
    value = truth.get(own[key]) if key in own else None
    if value is None and form is not None:
        value = TELLABLE[key][0](form)
    return None if value is None else Told(key, value, USUAL_U.get(key))


def _share_of(answer: Identification, model: Model) -> float:
    return next((s.probability for s in answer.by_model if (s.maker, s.model) == model), 0.0)


def distance_from_list(truth: dict[str, Any], form: Form) -> float:
    """CIEDE2000 from a bait's paint to the nearest colourway of its model: the larger of back and belly."""
    gaps = [
        max(_gap(truth["back_lab_d50_paint"], c.back_lab), _gap(truth["belly_lab_d50_paint"], c.belly_lab))
        for c in form.colourways
        if c.back_lab is not None and c.belly_lab is not None
    ]
    return min(gaps, default=np.inf)


def _gap(lab: Sequence[float], listed: Lab | None) -> float:
    return float(delta_e(np.array(lab), np.array(listed)))


def new_colour_figures(matches: Sequence[Match], truths: Sequence[Model], forms: Sequence[Form]) -> list[Figure]:
    """Colours on no list, ten CIEDE2000 and more from every listed one, recognised; and listed ones called new."""
    listed: list[float] = []
    far: list[float] = []
    for m, model in zip(matches, truths, strict=True):
        answer = m.bait.identification if m.bait else None
        if answer is None or "back_lab_d50_paint" not in m.truth:
            continue
        new = answer.colourway_new or 0.0
        form = next((f for f in forms if (f.maker, f.model) == model), None)
        if m.truth.get("listed"):
            listed.append(new)
        elif form is not None and distance_from_list(m.truth, form) >= FAR:
            far.append(new)
    limit = float(np.quantile(listed, 1 - FALSE_ALARMS)) if listed else 1.0
    return [
        share("listed colourways called new (p > 0.5)", [p > 0.5 for p in listed], "(<= 15 %)"),
        share("unlisted and far colourways recognised (p > 0.5)", [p > 0.5 for p in far], "(>= 80 %)"),
        share("the same where 15 % of listed are called new", [p > limit for p in far], ""),
        Figure("AUROC of a new colourway, far ones", auroc(far, listed), "", len(far), None, ""),
    ]
