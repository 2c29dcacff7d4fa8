"""What an answer rests on: how its model is known, and models linked to it that shape cannot tell from it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from identify.records import Identification
from identify.reference import compare

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


def known_words(name: str, known_by: str) -> str:
    """How what a set says of a model, at its weakest, is known, as a sentence."""
    return f"What is said of {name} rests, at its weakest, on {KNOWN[known_by]}."


def rests_on(found: Identification, references: References | None) -> tuple[str, ...]:
    """Sentences on the first candidate; none when nothing is ranked."""
    if not found.candidates or references is None:
        return ()
    top = found.candidates[0]
    out = []
    if top.known_by is not None:
        out.append(known_words(f"{top.maker} / {top.model}", top.known_by))
    form = references.form(top.maker, top.model, top.size, top.variant)
    for other in found.candidates[1:LOOKED_AT]:
        beside = references.form(other.maker, other.model, other.size, other.variant)
        if form is None or beside is None or (other.maker, other.model) == (top.maker, top.model):
            continue
        if (words := compare.link(references.sets, form, beside)) is not None:
            out.append(compare.linked_words(words, form, beside))
    return tuple(out)
