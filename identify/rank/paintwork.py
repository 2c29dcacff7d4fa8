"""What colours say once the candidates are known: the colourway of each, how far the paint has aged, and why colours
may be on no list.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from identify.colour import delta_e
from identify.rank import colourways
from identify.rank.colourways import ColourSpeech
from identify.rank.evidence import Scored
from identify.rank.likelihood import BACK_SWAPPED
from identify.rank.newcolour import Listed, reasons
from identify.rank.palette import HARD
from identify.rank.prepared import Prepared
from identify.rank.readings import Readings
from identify.records import Ageing, ColourwayMatch, Lab, NewColourReason
from identify.reference.profile import Colourway

CLEARLY_BETTER = 3.0
"""Natural log of how much better a colour of another model, or an aged one, must fit than any listed one before it is
named as a reason."""
FITS = 6.0
"""CIEDE2000 up to which another model's colour is said to be the same."""


@dataclass(frozen=True)
class Paintwork:
    """`matches`: the best listed colourway of each candidate; `new`: the probability that the first one's colour is on
    no list; `ageing` under that candidate's best colourway, if it is listed and of plain paint."""

    matches: tuple[ColourwayMatch | None, ...]
    new: float | None
    ageing: Ageing | None
    reasons: tuple[NewColourReason, ...]


def judge(scored: Sequence[Scored], speech: ColourSpeech | None, r: Readings, p: Prepared) -> Paintwork:
    """Judge the colours under each of the candidates, the likeliest one first."""
    found = _matches(scored, speech, r, p)
    matches = tuple(None if one is None else one[0] for one in found)
    if not found or found[0] is None or speech is None:
        return Paintwork(matches, None, None, ())
    _, best, new = found[0]
    if new > 0.5:
        return Paintwork(matches, new, None, _reasons(scored[0], speech, r, p))
    if r.hard_to_read or p.palette.colourways[best].finish in HARD:
        return Paintwork(matches, new, None, ())  # what such a finish shows depends on the light, not on its age
    return Paintwork(matches, new, colourways.age(r, p.palette, best, _swapped(scored[0]), p.noise), ())


def _swapped(s: Scored) -> bool:
    return bool(BACK_SWAPPED[s.way])


def _matches(
    scored: Sequence[Scored], speech: ColourSpeech | None, r: Readings, p: Prepared
) -> list[tuple[ColourwayMatch, int, float] | None]:
    """The best listed colourway of each form, its index, and the probability that the form's colour is on no list."""
    best: dict[int, tuple[int, float, float]] = {}
    for k, s in enumerate(scored):
        listed = p.palette.of(s.index)
        if speech is not None and len(listed):
            shares, new = colourways.posterior(speech, p.palette, s.index, _swapped(s), p.noise)
            i = int(np.argmax(shares))
            best[k] = int(listed[i]), float(shares[i]), new
    gaps = _gaps(r, [(p.palette.colourways[best[k][0]], _swapped(scored[k])) for k in best])
    found: list[tuple[ColourwayMatch, int, float] | None] = [None] * len(scored)
    for (k, (index, share, new)), own in zip(best.items(), gaps, strict=True):
        colourway = p.palette.colourways[index]
        found[k] = ColourwayMatch(colourway.code, colourway.name, share, *own, new <= 0.5), index, new
    return found


def _reasons(s: Scored, speech: ColourSpeech, r: Readings, p: Prepared) -> tuple[NewColourReason, ...]:
    own = p.palette.of(s.index)
    ratios = speech.by_colourway[int(_swapped(s))]
    limit = max(float(ratios[own].max()), 0.0) + CLEARLY_BETTER
    elsewhere = None
    best = int(np.argmax(ratios))
    colourway = p.palette.colourways[best]
    if ratios[best] > limit and all(gap is None or gap <= FITS for gap in _gaps(r, [(colourway, _swapped(s))])[0]):
        form = p.forms[int(p.palette.listed_by(best)[0])]
        elsewhere = Listed(form.maker, form.model, colourway.name)
    aged = None
    gains = colourways.gains_by_ageing(r, p.palette, own, _swapped(s), p.noise)
    likely = int(np.argmax(ratios[own] + gains))
    if gains[likely] > CLEARLY_BETTER and ratios[own[likely]] + gains[likely] > CLEARLY_BETTER:
        amount = colourways.age(r, p.palette, int(own[likely]), _swapped(s), p.noise)
        aged = (p.palette.colourways[own[likely]].name, amount)
    return reasons(p.forms[s.index], elsewhere, aged)


def _gaps(r: Readings, of: Sequence[tuple[Colourway, bool]]) -> list[tuple[float | None, float | None]]:
    """CIEDE2000 from the colours read to the backs and bellies of listed colourways, all at once; with each colourway
    whether back and belly were read swapped."""
    found: list[list[float | None]] = [[None, None] for _ in of]
    pairs: list[tuple[int, int, Lab, Lab]] = []
    for k, (colourway, swapped) in enumerate(of):
        read = (r.belly, r.back) if swapped else (r.back, r.belly)
        for end, (colour, lab) in enumerate(zip(read, (colourway.back_lab, colourway.belly_lab), strict=True)):
            if colour is not None and lab is not None:
                pairs.append((k, end, colour.lab_seen if colourway.basis == "photo" else colour.lab, lab))
    if pairs:
        apart = delta_e([one for *_, one, _ in pairs], [other for *_, other in pairs])
        for (k, end, *_), gap in zip(pairs, apart, strict=True):
            found[k][end] = float(gap)
    return [(back, belly) for back, belly in found]
