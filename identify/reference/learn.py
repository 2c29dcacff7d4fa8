"""From pieces to a profile: the values and outlines that a model's files should hold, a pure function of the pieces.

Pieces that only this program named say nothing while there are others: their likeness was what chose them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from identify.geometry import Array
from identify.reference import votes
from identify.reference.average import Centre, Place, centre, places, robust_mean, tolerance_of
from identify.reference.clashes import clashes
from identify.reference.forms import WEAKEST_LAST, first
from identify.reference.frame import closed
from identify.reference.lengths import piece_aspect, piece_length
from identify.reference.pieces import Piece, Shot
from identify.reference.shapes import Seen, apart, average_sides, tolerance
from identify.reference.slugs import slug

Path = tuple[str, ...]
"""A value of a model file: its key, or table, code and keys, such as ("size", "2", "eye", "at_mm")."""
LENGTH_SPREAD, ASPECT_SPREAD = 0.006, 0.010
"""Usual scatter between true pieces, relative (bench, as in ranking)."""
FIRST = ""
"""Among extents: those of the file's first size."""
OWN_SHAPE, OWN_SHAPE_ONE = 0.025, 0.03
"""How far (rms, fraction of depth) a size's outline must lie from the model's to be another one: this much, and this
much more divided by the number of its pieces."""
SAME_RING_MM = 2.5
TIE_MM, HANGER_MM, EYE_MM = 0.35, 0.35, 0.4
"""How far one piece's rings and eye, in one photo, lie off their model's, in x and in y (bench: drilled by hand to
0.3 mm; render: read to 0.1 to 0.2 mm, the eye's place less well)."""
CLEARLY_LESS = 0.5
"""A ring that is one too many is seen in so much smaller a share of the pieces than those that are line ties."""
SEEN = 0.4
"""Share of pieces that must show a hanger or an eye: one is missed more often than one is seen where none is."""


@dataclass(frozen=True)
class SizeFound:
    """What pieces say of a size: length, proportion, and how many of them say it."""

    length: Centre | None
    aspect: Centre
    counted: int
    pieces: int
    photos: int


@dataclass(frozen=True)
class Doubt:
    """In words, and what it is about: a value, or a table of the model file."""

    about: Path
    text: str


@dataclass
class Learned:
    """`values` in the order in which they are written; `drawn` outlines (n, 2) in mm by the name of their file, with
    their title; what is doubtful."""

    values: dict[Path, Any] = field(default_factory=dict)
    drawn: dict[str, Array] = field(default_factory=dict)
    sizes: dict[str, SizeFound] = field(default_factory=dict)
    doubts: list[Doubt] = field(default_factory=list)


@dataclass(frozen=True)
class Held:
    """What stands in the file already and stays: each size's length_mm and depth_mm as a person wrote them, by (size,
    key); and the file's first size, for which outline and variants' places are drawn, with its length and depth."""

    sizes: Mapping[tuple[str, str], float] = field(default_factory=dict)
    first: tuple[str, float, float | None] | None = None


def counted(pieces: Sequence[Piece]) -> list[Piece]:
    """Those pieces that say something: the independent ones, or all when there is none."""
    return [p for p in pieces if p.independent] or list(pieces)


def learn(maker: str, model: str, pieces: Sequence[Piece], held: Held | None = None) -> Learned:
    """The profile that pieces of one model make (at least one piece)."""
    held, out = held or Held(), Learned()
    out.values[("maker",)] = maker
    out.values[("model",)] = model
    out.values[("view",)] = "side"
    _model(out, pieces)
    for size in {p.size: None for p in pieces}:
        _size(out, size, counted([p for p in pieces if p.size == size]), pieces)
    order = sorted(out.sizes, key=lambda s: _extent(out, held, s)[0])
    extents = {size: _extent(out, held, size) for size in order}
    extents[FIRST] = _first_extent(out, held, order, extents)
    _shapes(out, model, pieces, order, extents)
    for size in order:
        _places(out, ("size", size), [p for p in pieces if p.size == size and p.variant is None], extents)
    for variant in sorted({p.variant for p in pieces if p.variant is not None}):
        _variant(out, variant, [p for p in pieces if p.variant == variant], order, extents)
    for code in {p.colourway: None for p in pieces if p.colourway is not None}:
        _colourway(out, code, [p for p in pieces if p.colourway == code])
    out.values = _ordered(out.values, order)
    out.doubts += [Doubt(("size", size), text) for size, text in clashes(pieces)]
    return out


def _ordered(values: Mapping[Path, Any], sizes: Sequence[str]) -> dict[Path, Any]:
    """Plain keys first, then sizes by length, variants, colourways."""
    rank = {"size": 1, "variant": 2, "colourway": 3}

    def key(path: Path) -> tuple[int, int]:
        return (rank[path[0]], sizes.index(path[1]) if path[0] == "size" else 0) if len(path) > 1 else (0, 0)

    return {path: values[path] for path in sorted(values, key=key)}


def _model(out: Learned, pieces: Sequence[Piece]) -> None:
    _told(out, ("made",), [p for p in pieces if p.variant is None], "the model's years")
    if (known := strongest(pieces)) is not None:
        out.values[("known_by",)] = known
    if (kind := votes.lip(counted(pieces))) is not None:
        out.values[("lip",)] = kind


def strongest(pieces: Sequence[Piece]) -> str | None:
    """The best proof of what the pieces are."""
    known = [WEAKEST_LAST.index(p.known_by) for p in pieces if p.known_by is not None]
    return WEAKEST_LAST[min(known)] if known else None


def _told(out: Learned, path: Path, pieces: Sequence[Piece], what: str) -> None:
    """A value that was told of pieces: what is known best, of equals the last; where they differ, that is said."""
    told = [(p, str(value)) for p in pieces if (value := getattr(p, path[-1]))]
    if not told:
        return
    counts = max(range(len(told)), key=lambda k: (-_weakness(told[k][0].known_by), k))
    others = {value: p.photos[0].photo for p, value in told if value != told[counts][1]}
    if others:
        beside = ", ".join(f"{value} ({photo})" for value, photo in others.items())
        said = f"{what}: {told[counts][1]} counts, known best or told last; told too: {beside}"
        out.doubts.append(Doubt(path, said))
    out.values[path] = told[counts][1]


def _weakness(known_by: str | None) -> int:
    """How weakly something is known; what nobody says how stands before this program's own answers."""
    return WEAKEST_LAST.index("tool") * 2 - 1 if known_by is None else WEAKEST_LAST.index(known_by) * 2


def _size(out: Learned, size: str, said: Sequence[Piece], pieces: Sequence[Piece]) -> None:
    lengths = [found for p in said if (found := piece_length(p)) is not None]
    length = None
    if lengths:
        x, u, shared = zip(*lengths, strict=True)
        length = centre(x, u, float(np.mean(shared)), LENGTH_SPREAD)
    aspects, doubts = zip(*[piece_aspect(p) for p in said], strict=True)
    all_of_it = [p for p in pieces if p.size == size]
    photos = sum(len(p.photos) for p in all_of_it)
    out.sizes[size] = SizeFound(length, centre(aspects, doubts, 0.0, ASPECT_SPREAD), len(said), len(all_of_it), photos)


def _extent(out: Learned, held: Held, size: str) -> tuple[float, float]:
    """Length and depth of a size in mm, as a person wrote them, else as learned; and what was learned of them."""
    found, here = out.sizes[size], ("size", size)
    learned = None if found.length is None else round(math.exp(found.length.value), 2)
    length = first(held.sizes.get((size, "length_mm")), learned)
    if length is None:
        raise ValueError(f"no length is known of size {size}")
    depth = round(length * math.exp(found.aspect.value), 2)
    out.values[(*here, "code")] = size
    if found.length is not None:
        out.values[(*here, "length_mm")] = learned
    out.values[(*here, "depth_mm")] = depth
    if found.length is not None:
        out.values[(*here, "tolerance_mm")] = round(length * found.length.tolerance, 3)
    out.values[(*here, "depth_tolerance_mm")] = round(depth * depth_tolerance(found), 3)
    return length, first(held.sizes.get((size, "depth_mm")), depth) or depth


def depth_tolerance(found: SizeFound) -> float:
    """The tolerance of depth, relative: ranking takes length and depth to vary each by itself, so that proportion,
    which is what pieces tell (a photo's scale drops out), varies by both."""
    of_both = found.aspect.tolerance
    of_length = found.length.tolerance if found.length is not None else 0.0
    return max(math.sqrt(max(of_both**2 - of_length**2, 0.0)), of_both / 2)


def _first_extent(
    out: Learned, held: Held, order: Sequence[str], extents: Mapping[str, tuple[float, float]]
) -> tuple[float, float]:
    """Length and depth of the file's first size."""
    if held.first is None:
        return extents[order[0]]
    code, length, depth = held.first
    if code in extents:
        return extents[code]
    return length, depth or length * math.exp(float(np.median([s.aspect.value for s in out.sizes.values()])))


def _shapes(
    out: Learned,
    model: str,
    pieces: Sequence[Piece],
    order: Sequence[str],
    extents: Mapping[str, tuple[float, float]],
) -> None:
    """Draw the model's outline at its first size, and those of sizes and variants that have another."""
    plain = {size: counted([p for p in pieces if p.size == size and p.variant is None]) for size in order}
    cells = {size: found for size, found in plain.items() if found}
    if not cells:
        cells = {size: counted([p for p in pieces if p.size == size]) for size in order}
    seen = {size: [Seen.of(p) for p in found] for size, found in cells.items()}
    own = {size: average_sides(found) for size, found in seen.items()}
    anchor = max(seen, key=lambda size: (len(seen[size]), -order.index(size)))

    def alike(one: Array, pieces_of_it: int, other: Array) -> bool:
        return apart(one, other) < OWN_SHAPE + OWN_SHAPE_ONE / pieces_of_it

    group = [size for size in seen if alike(own[size], len(seen[size]), own[anchor])]
    grouped = [one for size in group for one in seen[size]]
    shape = average_sides(grouped)
    name = slug(model)
    _draw(out, (), f"{name}.svg", grouped, shape, extents[FIRST])
    for size in seen:
        if size not in group:
            _draw(out, ("size", size), f"{name}-{slug(size)}.svg", seen[size], own[size], extents[size])
    if not any(plain.values()):
        return
    for variant in sorted({p.variant for p in pieces if p.variant is not None}):
        of_it = [Seen.of(p) for p in counted([p for p in pieces if p.variant == variant])]
        other = average_sides(of_it)
        if not alike(other, len(of_it), shape):
            _draw(out, ("variant", variant), f"{name}-{slug(variant)}-variant.svg", of_it, other, extents[FIRST])


def _draw(out: Learned, here: Path, file: str, of: Sequence[Seen], sides: Array, extent: tuple[float, float]) -> None:
    """An outline that pieces make, and how far it may lie off; the model's own file needs no name."""
    if here:
        out.values[(*here, "outline")] = file
    out.values[(*here, "outline_tolerance_mm")] = round(tolerance(of, sides) * extent[1], 3)
    out.drawn[file] = closed(sides, *extent)


def _variant(
    out: Learned,
    variant: str,
    pieces: Sequence[Piece],
    order: Sequence[str],
    extents: Mapping[str, tuple[float, float]],
) -> None:
    """A variant's own values; its places stand for the first size."""
    here: Path = ("variant", variant)
    out.values[(*here, "code")] = variant
    _told(out, (*here, "made"), pieces, f"the years of variant {variant}")
    if (known := strongest(pieces)) is not None:
        out.values[(*here, "known_by")] = known
    out.values[(*here, "sizes")] = [size for size in order if any(p.size == size for p in pieces)]
    _places(out, here, pieces, extents, FIRST)


def _places(
    out: Learned,
    here: Path,
    pieces: Sequence[Piece],
    extents: Mapping[str, tuple[float, float]],
    at_size: str | None = None,
) -> None:
    """Line ties, hangers and eye of a size or variant, by vote and place; in the unit frame until they are written."""
    said = counted(pieces)
    if not said:
        return
    extent = np.array(extents[here[1] if at_size is None else at_size])
    label = f"{here[0]} {here[1]}"

    def rings(get: Callable[[Shot], Any]) -> list[list[Array]]:
        seen = [
            [np.array(at, float).reshape(-1, 2) * extent for s in p.photos if (at := get(s)) is not None] for p in said
        ]
        return [photos for photos in seen if photos]

    count, sure = votes.tie_count(said)
    if count is None:
        why = f"{label}: the number of line ties is open ({100 * sure:.0f} % sure at best); tell it: --ties"
        out.doubts.append(Doubt(here, why))
    else:
        out.values[(*here, "line_ties", "count")] = count
        found = places(rings(lambda s: s.tie_at), SAME_RING_MM) if count else []
        open_which = len(found) > (count or 0) > 0 and found[count].share > CLEARLY_LESS * found[count - 1].share
        found = found[:count]
        if open_which:
            why = (
                f"{label}: more rings are seen than the {count} line ties told; which of them are ties is open, so "
                "their places are left out until another photo tells"
            )
            out.doubts.append(Doubt(here, why))
        elif len(found) == count and count:
            out.values[(*here, "line_ties", "at_mm")] = _points([p.at for p in found])
            out.values[(*here, "line_ties", "tolerance_mm")] = _place_tolerance(found, TIE_MM)
    seen = rings(lambda s: s.hanger_at)
    if seen:
        hung = [p for p in places(seen, SAME_RING_MM) if p.share >= SEEN]
        out.values[(*here, "hooks")] = len(hung)  # one hangs on each; those that are on now may be fewer
        out.values[(*here, "hangers", "count")] = len(hung)
        if hung:
            out.values[(*here, "hangers", "at_mm")] = _points([p.at for p in hung])
            out.values[(*here, "hangers", "tolerance_mm")] = _place_tolerance(hung, HANGER_MM)
    eyes = [p for p in places(rings(lambda s: (s.eye.at,) if s.eye else ()), SAME_RING_MM) if p.share >= SEEN]
    if eyes:
        out.values[(*here, "eye", "at_mm")] = _points([eyes[0].at])[0]
        wide = [s.eye.diameter for p in said for s in p.photos if s.eye is not None and s.eye.diameter is not None]
        if wide:
            out.values[(*here, "eye", "diameter_mm")] = round(float(robust_mean(wide, 0.005)) * float(extent[0]), 2)
        out.values[(*here, "eye", "tolerance_mm")] = _place_tolerance(eyes[:1], EYE_MM)


def _place_tolerance(places_of_it: Sequence[Place], usual: float) -> float:
    """Of rings of one kind: along x or y, the same for all."""
    off = [distance / math.sqrt(2) for place in places_of_it for distance in place.off]
    share = [1 / len(place.off) for place in places_of_it for _ in place.off]
    return round(tolerance_of(off, share, usual, len(places_of_it)), 2)


def _points(at: Sequence[Array]) -> list[list[float]]:
    return sorted([round(float(x), 2) + 0.0, round(float(y), 2) + 0.0] for x, y in at)


def _colourway(out: Learned, code: str, pieces: Sequence[Piece]) -> None:
    here: Path = ("colourway", code)
    said = counted(pieces)
    shots = [s for p in said for s in p.photos]
    out.values[(*here, "code")] = code
    out.values[(*here, "name")] = code
    _told(out, (*here, "name"), pieces, f"the name of colourway {code}")
    for key, tints in (
        ("back_lab", [s.back_seen for s in shots if s.back_seen is not None]),
        ("belly_lab", [s.belly_seen for s in shots if s.belly_seen is not None]),
    ):
        if (lab := votes.colour(tints)) is not None:
            out.values[(*here, key)] = list(lab)
    out.values[(*here, "basis")] = "photo"
    if (kind := votes.pattern(shots)) is not None:
        out.values[(*here, "pattern")] = kind
    zones = []
    for zone in ("head", "side", "tail", "throat"):
        seen = [z for s in shots for z in s.zones if z.kind == zone]
        if 2 * len(seen) >= len(shots):
            lab = votes.colour(seen)
            zones.append({"kind": zone, "lab": list(lab or ())})
    if zones:
        out.values[(*here, "zones")] = zones
    if (made_of := votes.finish(shots)) is not None:
        out.values[(*here, "finish")] = made_of
    if (known := strongest(pieces)) is not None:
        out.values[(*here, "known_by")] = known
