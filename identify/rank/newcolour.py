"""Why a colour may be on no list, and what to look for."""

from identify.records import NewColourReason

REASONS = (
    NewColourReason("unlisted", "A colourway that the set does not list yet: look for the same on other pieces."),
    NewColourReason(
        "special-order", "A special order of a shop or a club: look for a box, a paper or a second piece like it."
    ),
    NewColourReason(
        "repainted",
        "Repainted later: look for brush marks, another colour in chips and in the hook hangers' seats, paint on wire "
        "and eyes.",
    ),
    NewColourReason(
        "aged",
        "Faded or yellowed: look under hangers and hook guards, where no light came; all colours of the piece shift "
        "alike.",
    ),
    NewColourReason("another-maker", "Another maker's body: look at ties, hangers and the seam again."),
)
