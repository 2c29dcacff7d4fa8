"""The points that a verdict follows from: what is stated, what was measured, and whether that agrees."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from identify.listing import paints as paintwork
from identify.listing.paints import Paints
from identify.listing.weigh import Weighed
from identify.listing.words import Stated
from identify.rank.telling import told_features
from identify.rank.words import NOT_SAID, expected, measured
from identify.report.words import factor

Finding = Literal["agrees", "disagrees", "cannot-tell"]
AGREES, DISAGREES = 0.1, -0.3
"""Weights (log10 of the likelihood under the words over that of an unlisted bait) from which on a point agrees, and
disagrees."""
LN10 = math.log(10)
WORDS_AGREE, WORDS_DISAGREE = 0.7, 0.05
"""Probability of the words from which on they agree with the pictures, and up to which they disagree (photos of the
tune split)."""
PAINTS_DISAGREE = 0.1
"""The same for a stated colourway, which is held against itself with back and belly exchanged."""
CLEARLY = -0.7
FIRM = ("length", "depth to length", "outline", "line ties", "lip")
"""One of these that speaks so strongly against the words keeps them from agreeing, whatever the others say: they are
not changed as easily as hooks, nor misread as easily as places."""
COLOURS = ("colours", "pattern")
CALLED = {"outline": "shape of the outline"}


@dataclass(frozen=True)
class Point:
    """One feature.  `weight`: log10 of how much likelier what was measured is under the words than for an unlisted
    bait; None where nothing could be weighed."""

    feature: str
    stated: str
    measured: str
    finding: Finding
    weight: float | None
    text: str


def verdict_of(probability: float, disagrees: float = WORDS_DISAGREE) -> Finding:
    """What a probability of the words comes to."""
    if probability >= WORDS_AGREE:
        return "agrees"
    return "disagrees" if probability <= disagrees else "cannot-tell"


def contradicted(found: Sequence[Point]) -> bool:
    """A firm point speaks clearly against the words."""
    return any(p.feature in FIRM and p.weight is not None and p.weight <= CLEARLY for p in found)


def points(w: Weighed, stated: Stated, colours: Paints | None) -> tuple[Point, ...]:
    """Every feature that was measured or told, in ranking's order, then what was stated and could not be seen."""
    r, p = w.r, w.p
    seen = measured(r, w.way)
    would = expected(r, p, w.best, w.way, None, w.features)
    told = told_features(r)
    found = []
    for name, value in w.features.items():
        if name in COLOURS:
            continue
        shown, listed = seen[name], would[name]
        if name == "outline":
            shown, listed = listed, f"the outline of {stated.short}"
        found.append(_point(name, listed, shown, value / LN10, stated, name in told))
    if stated.colourway is not None:
        found.append(_stated_colours(w, stated, colours))
    elif "colours" in w.features:
        found.append(_any_colours(w, w.features["colours"] / LN10, stated))
    if stated.size is not None and not r.scaled:
        length = p.forms[w.best].length_mm
        text = f"Size {stated.size} ({length:.1f} mm) cannot be told: nothing in these pictures shows how large it is."
        found.append(Point("size", stated.size, "no scale", "cannot-tell", None, text))
    return tuple(found)


def _point(name: str, listed: str, shown: str, weight: float, stated: Stated, told: bool) -> Point:
    finding: Finding = "agrees" if weight >= AGREES else "disagrees" if weight <= DISAGREES else "cannot-tell"
    called = CALLED.get(name, name)
    subject = f"{called[0].upper()}{called[1:]}{', as told' if told else ''}"
    if listed == NOT_SAID:
        return Point(name, listed, shown, "cannot-tell", weight, f"{subject}: {shown}; the set says nothing of it.")
    said = f"{subject}: {shown}" if name == "outline" else f"{subject}: {shown}; {stated.short} has {listed}"
    if finding == "agrees":
        text = f"{said}. That agrees."
    elif finding == "disagrees":
        text = f"{said}. That does not agree: {factor(weight)} times likelier for another bait."
    else:
        text = f"{said}. That tells little."
    return Point(name, listed, shown, finding, weight, text)


def _stated_colours(w: Weighed, stated: Stated, colours: Paints | None) -> Point:
    called = stated.colourway_name or ""
    shown = paintwork.seen_words(w.r.back, w.r.belly)
    if colours is None:
        text = f"Whether it is {called} cannot be told: back and belly were not both read."
        return Point("colourway", called, shown, "cannot-tell", None, text)
    listed, weight = paintwork.listed_words(colours.colourway), colours.against / LN10
    finding = verdict_of(colours.stated, PAINTS_DISAGREE)
    if finding == "disagrees" and colours.exchanged > 0.5:
        text = f"Back and belly look exchanged: {shown}, while {listed} is stated."
    elif finding == "disagrees":
        text = f"The colours do not agree: {shown}, while {listed} is stated."
    elif finding == "agrees":
        text = f"The colours agree as far as such a picture shows colours: {shown}; stated is {listed}."
    else:
        text = f"The colours leave it open: {shown}; stated is {listed}, and other paint fits about as well."
    return Point("colourway", listed, shown, finding, weight, text)


def _any_colours(w: Weighed, weight: float, stated: Stated) -> Point:
    """No colourway was stated.  Lists of colours are never complete, so colours never speak against a model."""
    shown = paintwork.seen_words(w.r.back, w.r.belly)
    if weight >= AGREES:
        text = f"Colours: {shown}. A listed colourway of {stated.short} looks so."
        return Point("colours", "any listed colourway", shown, "agrees", weight, text)
    text = f"Colours: {shown}. No listed colourway of {stated.short} looks much like it, but lists are never complete."
    return Point("colours", "any listed colourway", shown, "cannot-tell", weight, text)
