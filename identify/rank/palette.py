"""All colourways of a set as arrays."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property
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


def terms(labs: Sequence[Lab | None]) -> Single:
    """Paints (10, c) as the terms of a quadratic form in CIELAB: 1, the three coordinates, their squares, their
    products twice; all 0 for None."""
    known = np.array([lab is not None for lab in labs], bool)
    at = np.array([CENTRE if lab is None else lab for lab in labs], float).reshape(-1, 3) - CENTRE
    x, y, z = at.T
    rows = np.vstack([np.ones(len(at)), at.T, at.T**2, 2 * x * y, 2 * x * z, 2 * y * z])
    single: Single = np.ascontiguousarray(rows * known, np.float32)
    return single


@dataclass(frozen=True, eq=False)
class Looks:
    """The k different ways in which a set's colourways look, their paints aside.

    `back`, `belly` (k,): 1 where that paint is known; `has_zone` (k, 4): 1 where there is one of ZONES; `photo` (k,):
    1 where known from photographs; `finish` (k,): 1 leaf or clear, 0 paint; `pattern` (k,) indexes PATTERNS.
    """

    back: Indices
    belly: Indices
    has_zone: Indices
    photo: Indices
    finish: Indices
    pattern: Indices


@dataclass(frozen=True, eq=False)
class Coats:
    """How c colourways look: `back`, `belly` and each kind of zone as `terms`, and `look` (c,), an index of `looks`."""

    back: Single
    belly: Single
    zones: dict[ZoneKind, Single]
    look: Indices
    looks: Looks

    def of(self, chosen: Indices, kinds: Collection[ZoneKind] = ZONES) -> Coats:
        """Those of some colourways, with zones of these kinds."""
        zones = {kind: self.zones[kind][:, chosen] for kind in kinds}
        return Coats(self.back[:, chosen], self.belly[:, chosen], zones, self.look[chosen], self.looks)


def coats(colourways: Sequence[Colourway]) -> Coats:
    """How colourways look."""
    zones = [{z.kind: z.lab for z in c.zones} for c in colourways]
    rows = [
        (
            c.back_lab is not None,
            c.belly_lab is not None,
            c.basis == "photo",
            UNKNOWN if c.finish is None else c.finish in HARD,
            PATTERNS.index(c.pattern) if c.pattern in PATTERNS else UNKNOWN,
            *(kind in own for kind in ZONES),
        )
        for c, own in zip(colourways, zones, strict=True)
    ]
    table = np.array(rows, np.int64).reshape(-1, 5 + len(ZONES))
    kinds, look = np.unique(table, axis=0, return_inverse=True)
    looks = Looks(kinds[:, 0], kinds[:, 1], kinds[:, 5:], kinds[:, 2], kinds[:, 3], kinds[:, 4])
    return Coats(
        back=terms([c.back_lab for c in colourways]),
        belly=terms([c.belly_lab for c in colourways]),
        zones={kind: terms([own.get(kind) for own in zones]) for kind in ZONES},
        look=look.reshape(-1).astype(np.int64),
        looks=looks,
    )


@dataclass(frozen=True, eq=False)
class Palette:
    """All colourways of a set, c of them, how they look, and which forms list them.

    Form i lists the colourways `listed[starts[k] : starts[k] + counts[k]]` with k = `list_of[i]`: sizes of one model
    share their list.
    """

    colourways: Sequence[Colourway]
    coats: Coats
    listed: Indices
    starts: Indices
    counts: Indices
    list_of: Indices

    def mean_over_forms(self, values: Array | Single) -> Array:
        """The mean (..., n) over each form's colourways of values (..., c); 0 for forms that list none."""
        sums = np.zeros((*values.shape[:-1], len(self.starts)))
        some = self.counts > 0
        if some.any():
            listed = values if self._in_order else values[..., self.listed]
            sums[..., some] = np.add.reduceat(listed.astype(float), self.starts[some], axis=-1)
        means: Array = (sums / np.maximum(self.counts, 1))[..., self.list_of]
        return means

    @cached_property
    def photographed(self) -> Array:
        """How many colourways each form (n,) lists if all of them are known from photographs, so that the list is what
        has been met so far; else infinity."""
        by_photo = self.mean_over_forms(self.coats.looks.photo[self.coats.look].astype(float)) == 1
        return np.where(by_photo, self.counts[self.list_of], np.inf)

    @cached_property
    def _in_order(self) -> bool:
        """Every colourway stands in one list, and lists follow one another."""
        return np.array_equal(self.listed, np.arange(len(self.colourways)))

    @cached_property
    def lists_any(self) -> NDArray[np.bool_]:
        """Whether each form (n,) lists any colourway."""
        some: NDArray[np.bool_] = self.counts[self.list_of] > 0
        return some

    def listed_by(self, colourway: int) -> Indices:
        """The forms (indices) that list a colourway."""
        lists = np.repeat(np.arange(len(self.starts)), self.counts)[self.listed == colourway]
        found: Indices = np.flatnonzero(np.isin(self.list_of, lists))
        return found

    def of_lists(self, lists: Indices) -> tuple[Indices, Indices, Indices]:
        """The colourways (indices) of lists that are not empty, one after the other, where each list's begin, and how
        many it has."""
        counts = self.counts[lists]
        ends = np.cumsum(counts)
        starts = ends - counts
        places = np.arange(ends[-1]) + np.repeat(self.starts[lists] - starts, counts)
        return self.listed[places], starts, counts

    def of(self, form: int) -> Indices:
        """The colourways (indices) that a form lists."""
        k = self.list_of[form]
        return self.listed[self.starts[k] : self.starts[k] + self.counts[k]]


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
    return Palette(
        colourways=tuple(colourways),
        coats=coats(colourways),
        listed=np.array(listed, np.int64),
        starts=np.array(starts, np.int64),
        counts=np.array(counts, np.int64),
        list_of=list_of,
    )
