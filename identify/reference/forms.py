"""From a model file to forms: one for each size and variant, every value resolved.

A variant's value goes before its size's, a size's before the file's.  Places given at the top of the file or in a
variant are for the first size: they scale with length (x) and depth (y) to the others, an eye's diameter with length.
A model without variants has one form a size; with variants, the form without a variant stands beside them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeVar

import numpy as np

from identify.records import Polygon
from identify.reference.profile import Colourway, EyeProfile, Form, RingPlaces, ZoneColour
from identify.reference.schema import ColourwayTable, EyeTable, ModelFile, Places, RingsTable, SizeTable, VariantTable
from identify.reference.sets import Drawing, Profile
from identify.stages import as_polygon

T = TypeVar("T")


WEAKEST_LAST = ("marked", "paper", "told", "collectors", "tool")
"""How something is known, the strongest proof first."""


def weakest(*known: str | None) -> str | None:
    """The weakest of several ways in which something is known; None where nothing says how."""
    said = [WEAKEST_LAST.index(k) for k in known if k is not None]
    return WEAKEST_LAST[max(said)] if said else None


def first(*values: T | None) -> T | None:
    """The first value that is given."""
    return next((value for value in values if value is not None), None)


def _scaled(value_mm: float | None, scale: tuple[float, float]) -> float | None:
    return None if value_mm is None else value_mm * scale[0]


def _rings(table: RingsTable, scale: tuple[float, float]) -> RingPlaces:
    places = None if table.at_mm is None else tuple((x * scale[0], y * scale[1]) for x, y in table.at_mm)
    count = table.count if table.count is not None else len(places or ())
    return RingPlaces(count, places, table.known_by, _scaled(table.tolerance_mm, scale))


def _eye(table: EyeTable, scale: tuple[float, float]) -> EyeProfile:
    at = None if table.at_mm is None else (table.at_mm[0] * scale[0], table.at_mm[1] * scale[1])
    return EyeProfile(at, _scaled(table.diameter_mm, scale), table.kind, _scaled(table.tolerance_mm, scale))


def colourway(table: ColourwayTable) -> Colourway:
    """A colourway of the file as its record."""
    return Colourway(
        code=table.code,
        name=table.name if table.name is not None else table.code,
        back_lab=table.back_lab,
        belly_lab=table.belly_lab,
        basis=table.basis,
        pattern=table.pattern,
        pattern_lab=table.pattern_lab,
        zones=tuple(ZoneColour(z.kind, z.lab) for z in table.zones),
        finish=table.finish,
        sizes=table.sizes,
        made=table.made,
        known_by=table.known_by,
        source=table.source,
    )


def drawing_for(profile: Profile, size: SizeTable, variant: VariantTable | None) -> tuple[Drawing, SizeTable] | None:
    """The outline that counts for a size and variant, and the size that it is drawn for."""
    if variant is not None and variant.outline is not None:
        return profile.drawings[variant.outline], profile.data.size[0]
    if size.outline is not None:
        return profile.drawings[size.outline], size
    if None in profile.drawings:
        return profile.drawings[None], profile.data.size[0]
    return None


def outline_tolerance(
    profile: Profile, size: SizeTable, variant: VariantTable | None, depth_mm: float | None
) -> float | None:
    """How far the outline that counts for a size and variant may lie off the true one, at the size's own scale."""
    if (drawing := drawing_for(profile, size, variant)) is None:
        return None
    here: SizeTable | VariantTable | ModelFile = profile.data
    if variant is not None and variant.outline is not None:
        here = variant
    elif size.outline is not None:
        here = size
    if here.outline_tolerance_mm is None:
        return None
    drawn = drawing[0]
    scale = size.length_mm / drawn.length_mm if depth_mm is None else depth_mm / drawn.depth_mm
    return here.outline_tolerance_mm * scale


def depth_of(profile: Profile, size: SizeTable) -> float | None:
    """A size's depth: as stated, else its own outline's, else in proportion to the first size's or its outline's."""
    if size.depth_mm is not None:
        return size.depth_mm
    if size.outline is not None:
        own = profile.drawings[size.outline]
        return own.depth_mm * size.length_mm / own.length_mm
    if None in profile.drawings:
        base = profile.drawings[None]
        head = profile.data.size[0]
        depth = head.depth_mm if head.depth_mm is not None else base.depth_mm * head.length_mm / base.length_mm
        return depth * size.length_mm / head.length_mm
    return None


def scaled(drawing: Drawing, length_mm: float, depth_mm: float | None) -> Polygon:
    """A drawing brought to a length and depth (to the same proportions if no depth is known)."""
    kx = length_mm / drawing.length_mm
    ky = depth_mm / drawing.depth_mm if depth_mm is not None else kx
    return as_polygon(np.asarray(drawing.outline_mm) * (kx, ky))


def forms_of(profile: Profile, index: int) -> Iterator[Form]:
    """All forms of a model; `index` is its set's place among the sets that are asked."""
    file = profile.data
    head = file.size[0]
    colourways = tuple(colourway(c) for c in file.colourway)
    for code, size in zip(profile.sizes, file.size, strict=True):
        depth = depth_of(profile, size)
        head_depth = depth_of(profile, head)
        kx = size.length_mm / head.length_mm
        scale = (kx, depth / head_depth if depth and head_depth else kx)
        listed = tuple(c for c in colourways if not c.sizes or code in c.sizes)
        for variant in (None, *(v for v in file.variant if not v.sizes or code in v.sizes)):
            yield _form(profile, index, code, size, variant, depth, scale, listed)


def _form(
    profile: Profile,
    index: int,
    code: str,
    size: SizeTable,
    variant: VariantTable | None,
    depth: float | None,
    scale: tuple[float, float],
    colourways: tuple[Colourway, ...],
) -> Form:
    file = profile.data
    own = (1.0, 1.0)
    levels: tuple[tuple[Places, tuple[float, float]], ...] = ((size, own), (file, scale))
    if variant is not None:
        levels = ((variant, scale), *levels)
    order = tuple(level for level, _ in levels)
    drawing = drawing_for(profile, size, variant)
    ties = first(*(_rings(level.line_ties, k) if level.line_ties else None for level, k in levels))
    hangers = first(*(_rings(level.hangers, k) if level.hangers else None for level, k in levels))
    tolerance = size.tolerance_mm
    depth_tolerance = size.depth_tolerance_mm
    if depth_tolerance is None and tolerance is not None and depth is not None:
        depth_tolerance = tolerance * depth / size.length_mm
    return Form(
        set=index,
        maker=file.maker,
        model=file.model,
        size=code,
        variant=None if variant is None else variant.code,
        made=first(*(level.made for level in order)),
        known_by=weakest(
            first(*(level.known_by for level in order)),
            ties.known_by if ties else None,
            hangers.known_by if hangers else None,
        ),
        length_mm=size.length_mm,
        tolerance_mm=tolerance,
        depth_mm=depth,
        depth_tolerance_mm=depth_tolerance,
        thickness_mm=size.thickness_mm,
        weight_g=size.weight_g,
        outline_mm=None if drawing is None else scaled(drawing[0], size.length_mm, depth),
        line_ties=ties,
        hangers=hangers,
        eye=first(*(_eye(level.eye, k) if level.eye else None for level, k in levels)),
        hooks=first(*(level.hooks for level in order)),
        lip=first(*(level.lip for level in order)),
        tie_kind=first(*(level.tie_kind for level in order)),
        hanger_kind=first(*(level.hanger_kind for level in order)),
        material=first(*(level.material for level in order)),
        parts=first(*(level.parts for level in order)),
        colourways=colourways,
        outline_tolerance_mm=outline_tolerance(profile, size, variant, depth),
    )
