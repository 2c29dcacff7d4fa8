"""Two forms beside each other: how their makers' pieces are linked, and what tells them apart by hand."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from identify.reference.profile import Form, RingPlaces
from identify.reference.sets import ReferenceSet

LINKS = (
    ("same_mould_as", "from the same mould", "from the same mould"),
    ("cast_from", "the first cast from the second", "the second cast from the first"),
    ("copied_from", "the first copied from the second", "the second copied from the first"),
)
"""Keys of a model file, and what they say of two forms where the first's file has them, and where the second's has."""
USUAL_TOLERANCE = 0.006
"""Of the length, between true pieces, where a set states none (as in ranking)."""
SEEN_MM = 1.5
"""Rings that sit further apart than this are told apart with a ruler."""
SIGMAS = 3.0
LENGTH = "length"
ALIKE = 0.05
"""Bodies of lengths that differ by more than this are told apart by that; places and depths then differ with it."""


def name(form: Form) -> str:
    """MAKER / MODEL, size and variant."""
    return " ".join(filter(None, (f"{form.maker} / {form.model}", form.size, form.variant)))


def link(sets: Iterable[ReferenceSet], one: Form, other: Form) -> str | None:
    """How the set links two models, in words; None when it does not."""
    names = f"{one.maker} / {one.model}".casefold(), f"{other.maker} / {other.model}".casefold()
    for found in sets:
        for i, called in enumerate(names):
            if (profile := found.named(called)) is None:
                continue
            for key, *words in LINKS:
                if names[1 - i] in (linked.casefold() for linked in getattr(profile.data, key)):
                    return words[i]
    return None


def length_tolerance(form: Form) -> float:
    return form.tolerance_mm if form.tolerance_mm is not None else USUAL_TOLERANCE * form.length_mm


def size_difference(one: Form, other: Form) -> tuple[float, float]:
    """How much longer the first is, and how far single pieces scatter about that (1 sigma), mm."""
    return one.length_mm - other.length_mm, math.hypot(length_tolerance(one), length_tolerance(other))


def length_tells(one: Form, other: Form) -> bool:
    """Whether a caliper tells two forms apart by their lengths alone."""
    gap, scatter = size_difference(one, other)
    return abs(gap) > SIGMAS * scatter


def told_apart(one: Form, other: Form) -> tuple[str, ...]:
    """What a person can look at or measure to tell two forms apart, the plainest first."""
    found: list[str] = []
    alike = abs(math.log(one.length_mm / other.length_mm)) < ALIKE
    for what, a, b in (("line ties", one.line_ties, other.line_ties), ("hangers", one.hangers, other.hangers)):
        if a is not None and b is not None and (said := _rings(what, a, b, alike)) is not None:
            found.append(said)
    for what, this, that in (
        ("lip", one.lip, other.lip),
        ("eye", one.eye and one.eye.kind, other.eye and other.eye.kind),
        ("material", one.material, other.material),
        ("parts of the body", one.parts, other.parts),
        ("kind of line tie", one.tie_kind, other.tie_kind),
        ("kind of hanger", one.hanger_kind, other.hanger_kind),
        ("hooks when new", one.hooks, other.hooks),
    ):
        if this is not None and that is not None and this != that:
            found.append(f"{what}: {this} against {that}")
    if length_tells(one, other):
        found.append(f"{LENGTH}: {one.length_mm:.1f} against {other.length_mm:.1f} mm")
    measures: tuple[tuple[str, float | None, float | None, str, float], ...] = (
        ("depth", one.depth_mm, other.depth_mm, "mm", 0.025),
        ("thickness", one.thickness_mm, other.thickness_mm, "mm", 0.1),
        ("weight", one.weight_g, other.weight_g, "g", 0.15),
    )
    for what, mine, its, unit, share in measures if alike else measures[2:]:
        if mine is not None and its is not None and abs(math.log(mine / its)) > share:
            found.append(f"{what}: {mine:.1f} against {its:.1f} {unit}")
    return tuple(found)


def _rings(what: str, a: RingPlaces, b: RingPlaces, alike: bool) -> str | None:
    if a.count != b.count:
        return f"{what}: {a.count} against {b.count}"
    if not alike or a.at_mm is None or b.at_mm is None or not a.count:
        return None
    x, y = (np.sort([place[0] for place in rings.at_mm or ()]) for rings in (a, b))
    if len(x) != len(y) or np.abs(x - y).max() < SEEN_MM:
        return None
    here, there = (" and ".join(f"{v:.1f}" for v in at) for at in (x, y))
    return f"where the {what} sit: {here} against {there} mm from the nose"


def linked_words(words: str, one: Form, other: Form) -> str:
    """What to make of two linked forms: what tells them apart, since shape cannot where they are equally long."""
    gap, scatter = size_difference(one, other)
    by = tuple(feature for feature in told_apart(one, other) if not feature.startswith(LENGTH))
    if length_tells(one, other):
        found = f"{name(one)} and {name(other)} are linked ({words}), but length tells them apart"
        can = f", and so do these features: {'; '.join(by)}" if by else ""
    else:
        found = f"{name(one)} and {name(other)} are linked ({words}): shape cannot decide, "
        can = f"these features can: {'; '.join(by)}" if by else "nothing that the set knows can"
    if not round(gap, 1):
        size = f"Both are equally long (± {scatter:.1f} mm)"
    else:
        how = "longer" if gap > 0 else "shorter"
        size = f"{name(one)} is {abs(gap):.1f} ± {scatter:.1f} mm {how} than {name(other)}"
    return f"{found}{can}. {size}."
