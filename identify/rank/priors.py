"""Where a box comes from, as weights of makers: what is assumed before looking."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from difflib import get_close_matches

import numpy as np

from identify.errors import BadOption
from identify.geometry import Array
from identify.rank.prepared import Prepared


def parse(texts: Sequence[str], makers: Sequence[str]) -> dict[str, float]:
    """`MAKER=WEIGHT` of one run, for makers of the sets asked; letter case does not matter.  Raises BadOption."""
    plain = {maker.casefold(): maker for maker in makers}
    found: dict[str, float] = {}
    for text in texts:
        name, given, weight = text.rpartition("=")
        if not given or not name.strip():
            raise BadOption(f"--prior {text} cannot be read.", 'Write MAKER=WEIGHT, such as "Brack & Linn=4".')
        name = name.strip()
        maker = plain.get(name.casefold())
        if maker is None:
            raise BadOption(f"--prior names {name!r}, which the reference set does not have.", _nearest(name, plain))
        if maker in found:
            raise BadOption(f"--prior weighs {maker!r} twice.", "Keep one of them.")
        try:
            found[maker] = float(weight.strip())
        except ValueError:
            found[maker] = math.nan
        _check(maker, found[maker])
    return found


def _nearest(name: str, plain: Mapping[str, str]) -> str:
    if not plain:
        return "Name a set with --refs that has models."
    inside = [key for key in plain if name.casefold() in key]
    near = list(dict.fromkeys(inside + get_close_matches(name.casefold(), plain, 3, 0.4)))[:3] or sorted(plain)[:5]
    return f"Nearest: {', '.join(plain[key] for key in near)}."


def _check(maker: str, weight: float) -> None:
    if not 0 <= weight < math.inf:
        raise BadOption(f"The prior weight of {maker!r} is no weight.", "Give a number that is 0 or more; 1 is usual.")


def form_priors(p: Prepared, prior: Mapping[str, float]) -> Array:
    """Prior probability (n,) of each form, given that the bait is listed: makers weigh as told (1 when not told), split
    evenly over a maker's models, then over a model's forms.

    Raises BadOption for a maker the set does not have and for weights that are no weights.
    """
    for maker, weight in prior.items():
        if maker not in p.makers:
            near = _nearest(maker, {m.casefold(): m for m in p.makers})
            raise BadOption(f"The prior names {maker!r}, which the reference set does not have.", near)
        _check(maker, weight)
    weights = np.array([prior.get(m, 1.0) for m in p.makers], float) if prior else np.ones(len(p.makers))
    if p.makers and not weights.sum() > 0:
        raise BadOption("All prior weights are 0.", "Give at least one maker a weight above 0.")
    models, forms = np.bincount(p.maker_of_model), np.bincount(p.model)
    share: Array = (weights / weights.sum() / models)[p.maker] / forms[p.model]
    return share
