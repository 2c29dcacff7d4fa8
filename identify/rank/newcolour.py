"""Why a colour may be on no list, and what to look for: what the colours themselves speak for comes first."""

from __future__ import annotations

from dataclasses import dataclass

from identify.records import Ageing, NewColourReason
from identify.reference.profile import Form

UNLISTED = "A colourway that the set does not list yet: look for the same on other pieces."
SPECIAL = "A special order of a shop or a club: look for a box, a paper or a second piece like it."
REPAINTED = (
    "Repainted later: look for brush marks, another colour in chips and in the hook hangers' seats, paint on wire and "
    "eyes."
)
AGED = (
    "Faded or yellowed: look under hangers and hook guards, where no light came; all colours of the piece shift alike."
)
ANOTHER = "Another maker's body: look at ties, hangers and the seam again."
MISREAD = NewColourReason(
    "outline-unclear",
    "Nothing of the sort: the outline may be misread, so that ground or shadow counted as paint. First look at the "
    "outline drawn over the photo.",
)
"""Comes before all others where the outline is unclear."""
TEXTS = {
    "unlisted": UNLISTED, "special-order": SPECIAL, "repainted": REPAINTED, "aged": AGED, "another-maker": ANOTHER,
}  # fmt: skip


@dataclass(frozen=True)
class Listed:
    """A colourway of another model that fits what was seen: who lists it, and its name."""

    maker: str
    model: str
    colourway: str


def reasons(top: Form, elsewhere: Listed | None, aged: tuple[str, Ageing] | None) -> tuple[NewColourReason, ...]:
    """All reasons, the likelier ones first.

    `elsewhere`: another model's colourway that these colours fit; `aged`: a listed colourway (its name) of this model
    that they would fit after strong ageing, and how much.
    """
    said: dict[str, str] = {}
    if elsewhere is not None:
        there = f"{elsewhere.maker} / {elsewhere.model} is listed in these colours ({elsewhere.colourway})"
        if elsewhere.maker == top.maker:
            said["unlisted"] = f"{there}, perhaps this model was painted so too. {UNLISTED}"
        else:
            said["another-maker"] = f"{there}. {ANOTHER}"
    if aged is not None:
        name, amount = aged
        yellow, faded = 100 * amount.yellowing.value, 100 * amount.fading.value
        said["aged"] = f"It could be {name} if that has yellowed by {yellow:.0f} % and faded by {faded:.0f} %. {AGED}"
    said |= {code: text for code, text in TEXTS.items() if code not in said}
    return tuple(NewColourReason(code, text) for code, text in said.items())
