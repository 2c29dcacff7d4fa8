"""What an answer rests on: how its model is known, and models linked to it that shape cannot tell from it."""

from __future__ import annotations

import math
from itertools import product
from typing import TYPE_CHECKING

from identify.records import Candidate, Identification
from identify.reference import Form, compare

if TYPE_CHECKING:
    from identify.answer import References

KNOWN = {
    "marked": "pieces marked by their maker",
    "paper": "paper of the time: boxes, lists, advertisements",
    "told": "what somebody told who should know",
    "collectors": "what collectors agree on",
    "tool": "this program's own answers only, which are no independent proof",
}
LOOKED_AT = 5
DECIDED = 1.0
"""Power of ten from which on the photo's own length has told two candidates apart."""


def known_words(name: str, known_by: str) -> str:
    """How what a set says of a model, at its weakest, is known, as a sentence."""
    return f"What is said of {name} rests, at its weakest, on {KNOWN[known_by]}."


def rests_on(found: Identification, references: References | None) -> tuple[str, ...]:
    """Sentences on the first candidate; none when nothing is ranked.

    Of linked models those are named that come next, but for sizes that the photo's own length has ruled out."""
    if not found.candidates or references is None:
        return ()
    top = found.candidates[0]
    out = []
    if top.known_by is not None:
        out.append(known_words(f"{top.maker} / {top.model}", top.known_by))
    forms = _forms(top, references)
    for other in found.candidates[1:LOOKED_AT]:
        if (other.maker, other.model) == (top.maker, top.model):
            continue
        if (pair := _nearest(forms, _forms(other, references))) is None:
            continue
        if compare.length_tells(*pair) and abs(_by_length(top) - _by_length(other)) >= DECIDED:
            continue
        if (words := compare.link(references.sets, *pair)) is not None:
            out.append(compare.linked_words(words, *pair))
    return tuple(out)


def _forms(candidate: Candidate, references: References) -> tuple[Form, ...]:
    """What the sets say of a candidate: one form, or all of a model whose size was left open."""
    for one in references.sets:
        if (profile := one.named(f"{candidate.maker} / {candidate.model}")) is not None:
            wanted = candidate.size, candidate.variant
            return tuple(f for f in profile.forms if candidate.size is None or (f.size, f.variant) == wanted)
    return ()


def _nearest(these: tuple[Form, ...], those: tuple[Form, ...]) -> tuple[Form, Form] | None:
    """Of two models' forms the two that are nearest in length: those that may be taken for one another."""
    pairs = product(these, those)
    return min(pairs, key=lambda pair: abs(math.log(pair[0].length_mm / pair[1].length_mm)), default=None)


def _by_length(candidate: Candidate) -> float:
    """How the length speaks for a candidate; 0 where it was neither measured nor told."""
    return next((row.weight for row in candidate.evidence if row.feature == compare.LENGTH), 0.0)
