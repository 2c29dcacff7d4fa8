"""Words for what an answer rests on: who told what, what is doubtful, how far it goes, and what would change it."""

from __future__ import annotations

from identify.rank.readings import body_doubtful
from identify.rank.whatif import OPEN, SETTLED
from identify.records import NOT_COMPARABLE, Bait, Candidate, Identification, Measurement
from identify.report import words
from identify.report.words import Units, in_units, percent

FAR_ENOUGH = 0.9
"""An answer for a maker or a model is given from this probability on where no single candidate reaches it."""
WORTH_SAYING = 0.1
"""So much the answer's probability changes without a feature before people are told."""
OUTLINE_FIRST = (
    "The outline may be misread: look at it drawn over the photo before you conclude anything from what follows."
)
NAMES = {
    "length_mm": "length",
    "depth_mm": "depth",
    "thickness_mm": "thickness",
    "weight_g": "weight",
    "ties": "line ties",
    "hangers": "hangers",
    "hooks": "hooks",
    "eye": "eye",
    "lip": "lip",
    "tie_kind": "kind of line ties",
    "hanger_kind": "kind of hangers",
    "material": "material",
    "parts": "parts of the body",
}
"""Told keys as people call them."""


def outline_first(m: Measurement) -> str:
    """What has to be said before anything is concluded from an outline that is unclear; nothing when it is clear."""
    return OUTLINE_FIRST if body_doubtful(m) else ""


def told_rows(bait: Bait, units: Units) -> list[tuple[str, str]]:
    """What a person told of the bait, by name."""
    return [(f"{NAMES[t.key]}, as told", in_units(t.words, units)) for t in bait.told or ()]


def clashes(bait: Bait, units: Units) -> tuple[str, ...]:
    """Where the photo shows something else than what was told."""
    return tuple(in_units(f"{NAMES[c.key]}: {c.text}", units) for c in bait.clashes or ())


def headline(found: Identification, m: Measurement) -> str:
    """The answer in one line, with its doubt."""
    said = _headline(found)
    return f"{said}, if the outline is right" if body_doubtful(m) else said


def _headline(found: Identification) -> str:
    top = found.candidates[0] if found.candidates else None
    most = max(found.none_of_these, found.not_comparable, top.probability if top else 0.0)
    if top is not None and most == top.probability and most >= FAR_ENOUGH:
        return words.headline(found)
    if found.not_comparable == most:
        return f"{_surely(most)} {NOT_COMPARABLE} with the set ({percent(most)})"
    return in_part(found) or words.headline(found)


def _surely(p: float) -> str:
    return "Probably" if p > 0.5 else "Perhaps"


def in_part(found: Identification) -> str:
    """How far the answer goes where no single candidate is sure: "Brack & Linn (96 %), model open"; nothing where that
    adds nothing."""
    if not found.candidates or found.candidates[0].probability >= FAR_ENOUGH:
        return ""
    top = found.candidates[0]
    if found.by_model and found.by_model[0].probability >= FAR_ENOUGH:
        if top.size is None:
            return ""
        model = found.by_model[0]
        own = [c for c in found.candidates if (c.maker, c.model) == (model.maker, model.model)]
        sizes = len({c.size for c in own if c.probability > 0.01}) > 1
        return f"{model.maker} / {model.model} ({percent(model.probability)}), {'size' if sizes else 'variant'} open"
    if found.by_maker and found.by_maker[0].probability >= FAR_ENOUGH:
        return f"{found.by_maker[0].maker} ({percent(found.by_maker[0].probability)}), model open"
    return ""


def runner_up(found: Identification) -> str:
    """The second candidate in a sentence."""
    if len(found.candidates) < 2 or found.candidates[0].probability <= 0:
        return ""
    first, second = found.candidates[:2]
    times = first.probability / max(second.probability, 1e-9)
    behind = "as likely" if times < words.EVEN else f"{words.times(times)} times less likely"
    return f"Runner-up: {words.name(second)} ({percent(second.probability)}), {behind}."


def settling(found: Identification, units: Units) -> tuple[str, ...]:
    """What a person could tell to set the first two candidates apart."""
    return tuple(in_units(one.text, units) for one in found.would_settle)


def nothing_settles(found: Identification, units: Units) -> str:
    """That no told value is expected to settle an answer that is open, and what would help."""
    if found.would_settle or len(found.candidates) < 2:
        return ""
    first, second = found.candidates[:2]
    open_still = OPEN * first.probability < second.probability and first.probability < SETTLED
    if not open_still or not words.leads(found):
        return ""
    apart = f"Nothing that could be told is expected to set {words.name(first)} and {words.name(second)} apart for sure"
    if found.would_help is not None:
        return f"{apart}. What would tell most: {in_units(found.would_help.text, units)}."
    return f"{apart}; another photo, sharper or from straight above, may."


def other_size(found: Identification) -> str:
    """That all but the length is a listed model's; nothing where that is not likely."""
    if (other := found.other_size) is None:
        return ""
    return (
        f"All but its length fits {other.maker} / {other.model}: it may be that model in a size that the set does not "
        f"have, or a copy made larger or smaller ({percent(other.probability)})."
    )


def without(found: Identification) -> tuple[str, ...]:
    """Features without which the answer would be another, or much surer or less sure, the weightiest first."""
    if not found.candidates:
        return ()
    top = found.candidates[0]
    most = max(top.probability, found.none_of_these, found.not_comparable)
    now = top.name if most == top.probability else ""
    said = []
    for one in top.without:
        change = abs(one.probability - most)
        if (now and one.top != now) or change > WORTH_SAYING:
            said.append((one.top == now, -change, f"without {one.feature}: {one.top} ({percent(one.probability)})"))
    return tuple(text for *_, text in sorted(said))


def firm(found: Identification) -> str:
    """That no single feature carries the answer; nothing when one does."""
    if not found.candidates or without(found) or not found.candidates[0].without:
        return ""
    return "Without any one of these features the answer would be the same, and about as sure."


def weight_for(candidate: Candidate | None, feature: str) -> float | None:
    """How a row of evidence speaks for a candidate."""
    rows = candidate.evidence if candidate is not None else ()
    return next((row.weight for row in rows if row.feature == feature), None)
