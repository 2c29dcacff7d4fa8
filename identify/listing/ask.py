"""What to ask the seller for: views, a scale or a card that would settle what is open, and signs of later work."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from identify.listing.paints import Paints
from identify.listing.points import Finding, Point
from identify.listing.weigh import Weighed
from identify.listing.words import Stated
from identify.rank.whatif import WhatIf
from identify.records import Measurement

OPEN_RIVAL = math.log(0.05)
"""Other models at least so likely beside the words are worth a question."""
RIVALS = 2
REQUESTS = {
    "ties": "a view from above, onto nose and back, to count the line ties",
    "length_mm": "the length of the body without its hardware, by caliper or ruler",
    "depth_mm": "the depth of the body from back to belly, by caliper",
    "thickness_mm": "the thickness of the body from flank to flank, by caliper",
    "hangers": "a view from below, onto the belly, to count the hook hangers",
    "lip": "a view of the nose from the front and from below, to see whether there is a lip, and of what",
    "parts": "whether the body is of one piece or jointed, and a picture of it bent",
    "material": "what the body is made of",
    "tie_kind": "a close view of the line ties, to see how they are made",
    "hanger_kind": "a close view of the hook hangers, to see how they are made",
    "eye": "a close view of an eye, to see how it is made",
    "weight_g": "its weight without hooks that are not its own",
    "hooks": "a view of the whole bait with its hooks, to count them",
}
"""What to ask for, by told key."""


@dataclass(frozen=True)
class Ask:
    """One thing to ask for, as a sentence."""

    text: str


def questions(
    w: Weighed, stated: Stated, shown: Sequence[Measurement], found: Sequence[Point], colours: Paints | None,
    verdict: Finding, calibrated: bool, hidden: bool,
) -> tuple[Ask, ...]:  # fmt: skip
    """The questions that are open after pictures `shown` of one piece, the most telling first, each once."""
    said = ["For the same picture without letters or marks over the bait."] if hidden else []
    said += [*_settling(w, verdict), *_views(shown), *_scale(w, stated)]
    if stated.colourway is not None and not calibrated and (colours is None or verdict != "disagrees"):
        said.append("For a picture by daylight with a grey card beside the bait, so that its colours can be compared.")
    said += _later_work(w, stated, shown, found, verdict)
    return tuple(Ask(text) for text in dict.fromkeys(said))


def no_bait() -> tuple[Ask, ...]:
    """What to ask for when no picture shows a bait."""
    return (Ask("For a picture of the whole bait from its side, sharp, on a plain ground."),)


def _settling(w: Weighed, verdict: Finding) -> list[str]:
    """What sets the stated model apart from those that fit about as well."""
    if verdict == "disagrees":
        return []
    what_if, said = WhatIf(w.case), []
    for rival, value in w.rivals[:RIVALS]:
        if value < OPEN_RIVAL or not np.isin([w.best, rival], what_if.chosen).all():
            continue
        settling = what_if.would_settle(w.best, rival)
        for one in settling[:2]:
            said.append(f"For {REQUESTS[one.key]}: {one.text.partition(': ')[2]}.")
    return said


def _views(shown: Sequence[Measurement]) -> list[str]:
    said = []
    codes = [{n.code for n in m.warnings} for m in shown]
    if not any(m.view.kind == "side" for m in shown):
        said.append("For a picture of the bait's side, straight on: its shape shows only there.")
    if all("touches-edge" in c for c in codes):
        said.append("For a picture with the whole bait inside the frame.")
    elif all("outline-unclear" in c for c in codes):
        said.append("For a picture on a plain ground of another colour than the bait: its outline is not clear.")
    if all(m.line_ties is None or m.line_ties.count is None for m in shown):
        said.append("For a larger, sharper picture of nose and back: the line ties cannot be counted here.")
    return said


def _scale(w: Weighed, stated: Stated) -> list[str]:
    if w.r.scaled:
        return []
    model = int(w.p.model[w.best])
    sizes = {f.size: f.length_mm for i, f in enumerate(w.p.forms) if int(w.p.model[i]) == model}
    lengths = ", ".join(f"{length:.1f} mm for size {size}" for size, length in sizes.items())
    if len(sizes) == 1:
        lengths = f"{next(iter(sizes.values())):.1f} mm for {stated.model}"
    return [
        f"For the length of the body without hardware, or a picture with a ruler or a grey card beside it: {lengths}."
    ]


def _later_work(
    w: Weighed, stated: Stated, shown: Sequence[Measurement], found: Sequence[Point], verdict: Finding
) -> list[str]:
    """Signs of repaint and replaced parts; where the words do not hold anyway there is nothing to explain."""
    said = []
    if any(m.line_ties is not None and m.line_ties.traces for m in shown):
        said.append("What the hole or stump is that is seen where a line tie may sit: lost, moved or stopped up?")
    if verdict == "disagrees":
        return said
    form, by_name = w.p.forms[w.best], {point.feature: point for point in found}
    odd = {name for name, point in by_name.items() if point.finding == "disagrees"}
    if odd & {"hangers", "hanger places", "kind of hangers"}:
        said.append(f"Whether hook hangers were replaced or moved: they are not where {stated.short} has them.")
    if odd & {"line ties", "tie places", "kind of line ties"}:
        said.append(f"Whether line ties were added, moved or lost: they are not as {stated.short} has them.")
    if w.r.hooks is not None and form.hooks is not None and w.r.hooks > form.hooks:
        said.append("Whether the hooks are its own: there are more than it had when new.")
    if form.eye is not None and form.eye.kind != "none" and all(m.eye is None for m in shown):
        said.append("Whether the eye was painted over or lost: none is seen.")
    paint = by_name.get("colourway") or by_name.get("colours")
    if paint is not None and paint.finding != "agrees" and (paint.weight or 0.0) < 0:
        said.append(
            "Whether it was painted again, with close views of chips and of paint at eye and hardware: another colour "
            "below, or paint over metal, would show it."
        )
    return said
