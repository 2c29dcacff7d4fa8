"""What was told, entered into the readings: it replaces the photo's reading of the same thing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from identify.geometry import Array
from identify.rank.background import COUNTS
from identify.rank.readings import Readings
from identify.records import Quantity, Thickness
from identify.told import Told

FEATURE_OF = {
    "length_mm": "length",
    "depth_mm": "depth",
    "thickness_mm": "thickness",
    "weight_g": "weight",
    "ties": "line ties",
    "hangers": "hangers",
    "hooks": "hooks",
    "eye": "kind of eye",
    "lip": "lip",
    "tie_kind": "kind of line ties",
    "hanger_kind": "kind of hangers",
    "material": "material",
    "parts": "parts",
}
"""The feature that each told key speaks through."""


def told_features(r: Readings) -> frozenset[str]:
    """Features that rest on what a person said."""
    return frozenset(FEATURE_OF[t.key] for t in r.told)


def tell(r: Readings, told: Sequence[Told]) -> Readings:
    """Readings with what was told in place of what the photo gave.  Rings whose number is more than a person counts
    are not held against the places of a form's: one of them at least is none."""
    for t in told:
        r = _tell(r, t)
    depth = next((t for t in told if t.key == "depth_mm"), None)
    if depth is not None and r.length_mm is not None:
        r = replace(r, aspect=None)  # the told depth speaks instead
    return replace(r, told=(*r.told, *told))


def _tell(r: Readings, t: Told) -> Readings:
    if t.u is not None:
        value = float(t.value)
        if t.key == "length_mm":
            return replace(r, length_mm=Quantity(value, t.u))
        if t.key == "depth_mm":
            return replace(r, depth_mm=Quantity(value, t.u))
        if t.key == "thickness_mm":
            return replace(r, thickness_mm=Thickness(value, t.u, "told"))
    elif t.key == "ties":
        count = min(int(t.value), COUNTS - 1)
        counts = tuple(float(k == count) for k in range(COUNTS))
        return replace(r, tie_counts=counts, tie_count=int(t.value), tie_places=_at_most(r.tie_places, int(t.value)))
    elif t.key == "hangers":
        return replace(r, hangers=int(t.value), hanger_places=_at_most(r.hanger_places, int(t.value)))
    elif t.key == "parts":
        return replace(r, joint=False)
    elif t.key == "hooks":
        return replace(r, hooks=int(t.value))
    elif t.key == "lip":
        return replace(r, lip=None)
    elif t.key == "eye" and t.value == "none":
        return replace(r, eye_place=None, eye_diameter_mm=None)
    return r


def _at_most(places: Array | None, count: int) -> Array | None:
    return places if places is not None and len(places) <= count else None
