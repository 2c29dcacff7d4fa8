"""All colourways of a set as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from identify.rank.readings import ZoneKind
from identify.rank.rings import UNKNOWN, Indices, Single
from identify.records import Lab
from identify.reference.profile import Colourway, Form

PatternKind = Literal["plain", "dots", "bars", "blend", "other"]
PATTERNS: tuple[PatternKind, ...] = ("plain", "blend", "dots", "bars")
"""`other` is not among them: it takes no weight."""
HARD = ("leaf", "clear")
ZONES: tuple[ZoneKind, ...] = ("head", "side", "tail", "throat")
CENTRE = (50.0, 0.0, 10.0)
"""Colours are held less this one, so that their squares keep their digits in single precision."""


@dataclass(frozen=True, eq=False)
class Paints:
    """One zone's paint of c colourways: `known` (c,) bool, and `terms` (c, 10), the terms of a quadratic form in
    CIELAB: 1, the three coordinates, their squares, their products twice; 0 where not known."""

    known: NDArray[np.bool_]
    terms: Single

    def of(self, chosen: Indices) -> Paints:
        """Those of some colourways."""
        return Paints(self.known[chosen], self.terms[chosen])


def paints(labs: Sequence[Lab | None]) -> Paints:
    """One zone's paint of each colourway, None where the set does not say."""
    known = np.array([lab is not None for lab in labs], bool)
    at = np.array([CENTRE if lab is None else lab for lab in labs], float).reshape(-1, 3) - CENTRE
    x, y, z = at.T
    terms = np.column_stack([np.ones(len(at)), at, at**2, 2 * x * y, 2 * x * z, 2 * y * z])
    return Paints(known, (terms * known[:, None]).astype(np.float32))


@dataclass(frozen=True, eq=False)
class Coats:
    """How c colourways look: `back`, `belly` and `zones` of each zone kind; `has_zone` (c, 4) 1 where there is one of
    ZONES; `photo` (c,) bool: known from photographs; `finish` (c,): 1 leaf or clear, 0 paint; `pattern` (c,) indexes
    PATTERNS."""

    back: Paints
    belly: Paints
    zones: dict[ZoneKind, Paints]
    has_zone: Array
    photo: NDArray[np.bool_]
    finish: Indices
    pattern: Indices

    def of(self, chosen: Indices) -> Coats:
        """Those of some colourways."""
        return Coats(
            self.back.of(chosen),
            self.belly.of(chosen),
            {kind: zone.of(chosen) for kind, zone in self.zones.items()},
            self.has_zone[chosen],
            self.photo[chosen],
            self.finish[chosen],
            self.pattern[chosen],
        )


@dataclass(frozen=True, eq=False)
class Palette:
    """All colourways of a set, c of them, how they look, and which forms list them.

    Form i lists the colourways `listed[starts[k] : starts[k] + counts[k]]` with k = `list_of[i]`: sizes of one model
    share their list.
    """

    colourways: tuple[Colourway, ...]
    coats: Coats
    listed: Indices
    starts: Indices
    counts: Indices
    list_of: Indices

    def mean_over_forms(self, values: Array) -> Array:
        """The mean (n,) over each form's colourways of values (c,); 0 for forms that list none."""
        sums = np.zeros(len(self.starts))
        some = self.counts > 0
        if some.any():
            sums[some] = np.add.reduceat(values[self.listed], self.starts[some], dtype=float)
        means: Array = (sums / np.maximum(self.counts, 1))[self.list_of]
        return means

    @property
    def lists_any(self) -> NDArray[np.bool_]:
        """Whether each form (n,) lists any colourway."""
        return self.counts[self.list_of] > 0

    def listed_by(self, colourway: int) -> Indices:
        """The forms (indices) that list a colourway."""
        lists = np.repeat(np.arange(len(self.starts)), self.counts)[self.listed == colourway]
        found: Indices = np.flatnonzero(np.isin(self.list_of, lists))
        return found

    def of(self, form: int) -> Indices:
        """The colourways (indices) that a form lists."""
        k = self.list_of[form]
        return self.listed[self.starts[k] : self.starts[k] + self.counts[k]]


def _pattern_index(kind: str | None) -> int:
    return PATTERNS.index(kind) if kind in PATTERNS else UNKNOWN


def palette(forms: Sequence[Form]) -> Palette:
    """Gather the colourways of forms; one that several sizes share is held once."""
    places: dict[int, int] = {}
    colourways: list[Colourway] = []
    listed: list[int] = []
    starts: list[int] = []
    counts: list[int] = []
    lists: dict[tuple[int, ...], int] = {}
    list_of = np.zeros(len(forms), np.int64)
    for i, form in enumerate(forms):
        fitting = [c for c in form.colourways if not c.sizes or form.size in c.sizes]
        own = []
        for colourway in sorted(fitting, key=lambda c: (c.code, c.name)):
            if id(colourway) not in places:
                places[id(colourway)] = len(colourways)
                colourways.append(colourway)
            own.append(places[id(colourway)])
        if tuple(own) not in lists:
            lists[tuple(own)] = len(starts)
            starts.append(len(listed))
            counts.append(len(own))
            listed.extend(own)
        list_of[i] = lists[tuple(own)]
    zone_labs = [{z.kind: z.lab for z in c.zones} for c in colourways]
    coats = Coats(
        back=paints([c.back_lab for c in colourways]),
        belly=paints([c.belly_lab for c in colourways]),
        zones={kind: paints([z.get(kind) for z in zone_labs]) for kind in ZONES},
        has_zone=np.array([[kind in z for kind in ZONES] for z in zone_labs], float).reshape(-1, len(ZONES)),
        photo=np.array([c.basis == "photo" for c in colourways], bool),
        finish=np.array([UNKNOWN if c.finish is None else int(c.finish in HARD) for c in colourways], np.int64),
        pattern=np.array([_pattern_index(c.pattern) for c in colourways], np.int64),
    )
    return Palette(
        colourways=tuple(colourways),
        coats=coats,
        listed=np.array(listed, np.int64),
        starts=np.array(starts, np.int64),
        counts=np.array(counts, np.int64),
        list_of=list_of,
    )
