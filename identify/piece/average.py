"""Readings of one piece in several photos brought into one, each with its uncertainty (JCGM 100, 5.1 and 5.2).

What every photo does for itself is averaged away; what photos share, the card's size and the unknown thickness, is not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from identify.colour import hex_of, iscc_nbs, munsell
from identify.geometry import Array
from identify.piece.agree import OWN_PARTS
from identify.records import Colour, Lab, Part, Pattern, Quantity

SHARED_SCALE = 0.0006
"""Relative standard uncertainty of the card's own size, which several photos of one card share (ISO/IEC 7810 allows
about twice that either way)."""
SHARED_COLOUR = 0.5
"""Share of a colour's variance that photos by one camera and card share: tone curve and saturation (bench)."""
COUNT_MISREAD = 0.05
"""Probability that one photo's distribution over tie counts is wrong altogether (bench)."""
LEAST_CERTAIN = 0.02


def mean(found: Sequence[Quantity]) -> Quantity:
    """The mean of one size, weighed by what each photo does for itself.

    Where readings scatter by more than they say, their own part grows until they do not (Birge ratio, Birge 1932).
    """
    if len(found) == 1:
        return found[0]
    own = np.array([_own(q) for q in found])
    weight = own**-2 / (own**-2).sum()
    at = np.array([q.value for q in found])
    value = float(weight @ at)
    chi2 = float(np.sum(np.square((at - value) / own))) / (len(found) - 1)
    u_own = float(math.sqrt(weight**2 @ own**2) * max(1.0, math.sqrt(chi2)))
    parts = {"photos": u_own}
    for q, w in zip(found, weight, strict=True):
        for part in q.parts:
            if part.what not in OWN_PARTS and part.what != "photos":
                u = SHARED_SCALE * q.value if part.what == "scale" else part.u
                parts[part.what] = parts.get(part.what, 0.0) + float(w) * u
    kept = tuple(Part(what, u) for what, u in parts.items() if u > 0)
    return Quantity(value, math.sqrt(sum(p.u**2 for p in kept)), kept)


def _own(q: Quantity) -> float:
    """What one photo's reading has of its own: the scale too, less the card's size."""
    if not q.parts:
        return q.u
    own = sum(p.u**2 for p in q.parts if p.what in OWN_PARTS or p.what == "photos")
    scale = sum(p.u**2 for p in q.parts if p.what == "scale")
    return math.sqrt(max(own + max(scale - (SHARED_SCALE * q.value) ** 2, 0.0), (0.0005 * q.value) ** 2))


def counts(found: Sequence[tuple[float, ...]]) -> tuple[float, ...]:
    """Distributions over one count, multiplied; each may be wrong altogether."""
    if len(found) == 1:
        return found[0]
    total = np.zeros(len(found[0]))
    for q in found:
        p = np.array(q) / sum(q)
        total += np.log((1 - COUNT_MISREAD) * p + COUNT_MISREAD / len(p))
    share = np.exp(total - total.max())
    return tuple(float(v) for v in share / share.sum())


def chance(found: Sequence[float]) -> float:
    """Probabilities of one thing from several photos, as odds multiplied; none of them is ever sure."""
    odds = [math.log(p / (1 - p)) for q in found for p in [min(max(q, LEAST_CERTAIN), 1 - LEAST_CERTAIN)]]
    return found[0] if len(found) == 1 else 1 / (1 + math.exp(-sum(odds)))


def places(found: Sequence[Array], count: int) -> Array | None:
    """Places (count, 2) of the same rings in several photos, nose to tail: their means; None where no photo has so
    many."""
    fitting = [at[np.argsort(at[:, 0], kind="stable")] for at in found if len(at) == count]
    return np.mean(fitting, axis=0) if fitting else None


def colour(found: Sequence[Colour]) -> Colour | None:
    """The mean of one paint's colour."""
    if len(found) < 2:
        return found[0] if found else None
    weight = np.array([1 / c.u**2 for c in found])
    weight /= weight.sum()
    shrink = math.sqrt(SHARED_COLOUR + (1 - SHARED_COLOUR) * float(weight @ weight))

    def of(values: Sequence[Sequence[float]]) -> Lab:
        at = weight @ np.array(values)
        return float(at[0]), float(at[1]), float(at[2])

    lab = of([c.lab for c in found])
    u_lch = of([c.u_lch for c in found])
    return Colour(
        lab=lab,
        u=shrink * float(weight @ [c.u for c in found]),
        u_lch=(shrink * u_lch[0], shrink * u_lch[1], shrink * u_lch[2]),
        lab_seen=of([c.lab_seen for c in found]),
        u_seen=shrink * float(weight @ [c.u_seen for c in found]),
        share=float(weight @ [c.share for c in found]),
        hex=hex_of(lab),
        munsell=munsell(lab),
        name=iscc_nbs(lab),
    )


def pattern(found: Sequence[Pattern]) -> Pattern | None:
    """The pattern that all photos together show, its certainty from how far they agree."""
    if len(found) < 2:
        return found[0] if found else None
    kinds = sorted({p.kind for p in found})
    others = 4.0  # of the five kinds
    score = {
        kind: math.prod(p.certainty if p.kind == kind else (1 - p.certainty) / others for p in found) for kind in kinds
    }
    none_of_them = (5 - len(kinds)) * math.prod((1 - p.certainty) / others for p in found)
    best = max(kinds, key=lambda kind: score[kind])
    clearest = max((p for p in found if p.kind == best), key=lambda p: p.certainty)
    whole = sum(score.values()) + none_of_them
    certainty = score[best] / whole if whole > 0 else clearest.certainty
    return Pattern(best, clearest.lab, clearest.coverage, min(certainty, 1 - LEAST_CERTAIN))
