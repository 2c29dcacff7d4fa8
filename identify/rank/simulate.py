"""Baits drawn from ranking's own likelihoods: what a set could show, with the truth known.

Drawn so, answers must be as sure as they say; and how often two models are taken for one another tells how alike they
are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from identify.geometry import Array
from identify.outline import TURNED
from identify.rank import ageing, likelihood
from identify.rank.background import CELL, COUNTS, GRID
from identify.rank.colourways import pattern_chances, unlisted_share, whitening
from identify.rank.noise import Misread, Noise
from identify.rank.palette import PATTERNS, ZONES
from identify.rank.prepared import Prepared
from identify.rank.readings import Readings, ZoneKind
from identify.rank.rings import Indices, Rings
from identify.records import Colour, Lab, Pattern, Quantity
from identify.reference.profile import Colourway

Source = int | None
"""The form that a feature is drawn from; None for an unlisted bait's own."""
Age = tuple[float, float]
"""Yellowing and fading of a piece."""
NEW = (0.0, 0.0)


@dataclass(frozen=True)
class Camera:
    """How good the photos are: relative u of length and aspect, u of colours, depth of the bait in pixels."""

    u_length: float = 0.004
    u_aspect: float = 0.006
    u_lch: tuple[float, float, float] = (4.0, 2.5, 2.5)
    depth_px: float = 150.0
    p_nose: float = 0.98
    p_back: float = 0.98


def _t(rng: np.random.Generator, dof: float, k: int = 1) -> Array:
    z: Array = rng.standard_normal(k) * np.sqrt(dof / rng.chisquare(dof))
    return z


def _log_normal(
    rng: np.random.Generator, own: Array, tolerance: Array, broad: tuple[float, float], u: float, dof: float, i: Source
) -> float:
    """A size or ratio, from its logarithm."""
    centre, sd = (broad[0], broad[1]) if i is None else (float(own[i]), float(tolerance[i]))
    return float(np.exp(centre + np.hypot(sd, u) * _t(rng, dof)[0]))


def _outline(rng: np.random.Generator, p: Prepared, camera: Camera, i: Source, wider: float = 1.0) -> Array | None:
    if i is None:
        spread = np.linalg.inv(p.background.outline_whitener)
        own: Array = p.background.outline_mean + _t(rng, p.noise.tail, len(spread)) @ spread
        return own
    axes = p.axes
    sd = axes.with_edge(p.noise, camera.depth_px)
    listed: Array = axes.vectors @ (
        p.outline[i] + float(np.hypot(wider, p.outline_doubt[i])) * sd * _t(rng, p.noise.tail, len(sd))
    )
    return None if np.isnan(listed).any() else listed


def draw_body(
    rng: np.random.Generator, p: Prepared, camera: Camera, i: Source, misread: Misread | None = None
) -> Readings:
    """What is read of a body of form i, traced rightly or misread; what the set does not say of it is not read."""
    dof = p.noise.tail
    if misread is not None and i is not None:
        length = float(p.length_mm[i] * np.exp(misread.length * _t(rng, dof)[0]))
        aspect = float(np.exp(p.ln_aspect[i] + misread.aspect * _t(rng, dof)[0]))
        outline = _outline(rng, p, camera, i, misread.outline)
    else:
        ends = p.background
        length = _log_normal(rng, p.ln_length, p.length_tolerance, ends.ln_length, camera.u_length, dof, i)
        aspect = _log_normal(rng, p.ln_aspect, p.aspect_tolerance, ends.ln_aspect, camera.u_aspect, dof, i)
        outline = _outline(rng, p, camera, i)
    return Readings(
        length_mm=Quantity(length, camera.u_length * length),
        aspect=None if np.isnan(aspect) else Quantity(aspect, camera.u_aspect * aspect),
        outline=outline,
        depth_px=camera.depth_px,
        p_nose=camera.p_nose,
        p_back=camera.p_back,
    )


def _from_grid(rng: np.random.Generator, grid: Array, n: int) -> Array:
    below = np.cumsum(np.exp(grid))
    cells = np.searchsorted(below, rng.random(n) * below[-1])
    i, j = np.unravel_index(cells, grid.shape)
    at = np.column_stack([i, j]) + rng.random((n, 2))
    places: Array = np.array([GRID[0], GRID[2]]) + CELL * at
    return places


def draw_places(
    rng: np.random.Generator, rings: Rings, i: Source, seen: int, grid: Array, sd_mm: float, stray: float, p: Prepared
) -> Array | None:
    """Where `seen` rings of form i are read to sit, as fractions of the length."""
    if seen == 0:
        return None
    places = np.full((seen, 2), np.nan)
    if i is not None:
        made = int(rings.placed[i])
        for row, k in enumerate(np.sort(rng.permutation(made)[: min(made, seen)])):
            if rng.random() >= stray:
                sd = float(np.hypot(sd_mm / p.length_mm[i], rings.doubt[i]))
                places[row] = rings.places[i, k] + sd * _t(rng, p.noise.tail, 2)
    elsewhere = np.isnan(places[:, 0])
    if elsewhere.any():
        places[elsewhere] = _from_grid(rng, grid, int(elsewhere.sum()))
    return places


def _made(rng: np.random.Generator, count: Indices, i: Source, broad: Array) -> int:
    if i is None or count[i] < 0:
        return int(rng.choice(COUNTS, p=broad / broad.sum()))
    return min(int(count[i]), COUNTS - 1)


def _ties(rng: np.random.Generator, p: Prepared, i: Source) -> tuple[int, int]:
    """Ties counted, and traces seen."""
    noise = p.noise
    made = _made(rng, p.ties.count, i, p.background.tie_counts)
    now = int(rng.choice(COUNTS, p=likelihood.ties_present(noise)[made]))
    traces = int(rng.random() < (noise.trace_seen if made > now else noise.trace_false))
    counted = int(rng.integers(COUNTS)) if rng.random() < noise.tie_misread else now
    return counted, traces


def _colour(rng: np.random.Generator, paint: Lab, age: Age, camera: Camera, noise: Noise) -> Colour:
    shown = ageing.aged(paint, *age)
    lab = (float(shown[0]), float(shown[1]), float(shown[2]))
    matrix, _ = whitening(lab, camera.u_lch, noise)
    drawn = np.array(lab) + _t(rng, noise.colour_tail, 3) @ np.linalg.inv(matrix)
    seen = (float(drawn[0]), float(drawn[1]), float(drawn[2]))
    u = float(np.mean(camera.u_lch))
    return Colour(seen, u, camera.u_lch, seen, u, 1.0, "#808080", None, "drawn")


def _any_lab(rng: np.random.Generator, noise: Noise) -> Lab:
    lab = np.array(noise.colour_broad_mean) + np.array(noise.colour_broad_sd) * rng.standard_normal(3)
    return float(lab[0]), float(lab[1]), float(lab[2])


def _colourway(rng: np.random.Generator, p: Prepared, i: Source) -> tuple[Colourway | None, Age]:
    """A colourway of form i and how it has aged; or one of any form; or None for a colour on no list at all."""
    if i is not None and rng.random() >= unlisted_share(p.palette, p.noise)[i]:
        amounts = ageing.grid()
        k = int(rng.choice(len(amounts.chance), p=amounts.chance / amounts.chance.sum()))
        age = float(amounts.yellowing[k]), float(amounts.fading[k])
        return p.palette.colourways[int(rng.choice(p.palette.of(i)))], age
    share = p.share * p.palette.lists_any
    if rng.random() < p.noise.colour_pool and share.any():
        other = int(rng.choice(len(p.forms), p=share / share.sum()))
        return p.palette.colourways[int(rng.choice(p.palette.of(other)))], NEW
    return None, NEW


def _zones(
    rng: np.random.Generator, colourway: Colourway | None, age: Age, camera: Camera, noise: Noise
) -> tuple[tuple[ZoneKind, Colour], ...]:
    listed = {} if colourway is None else {z.kind: z.lab for z in colourway.zones}
    found: list[tuple[ZoneKind, Colour]] = []
    for kind in ZONES:
        chance = (
            noise.zone_broad if colourway is None else noise.zone_false if kind not in listed else 1 - noise.zone_missed
        )
        if rng.random() < chance:
            if kind in listed:
                found.append((kind, _colour(rng, listed[kind], age, camera, noise)))
            else:
                lab = _any_lab(rng, noise)
                found.append((kind, Colour(lab, 3.0, camera.u_lch, lab, 3.0, 1.0, "#808080", None, "drawn")))
    return tuple(found)


def _pattern(rng: np.random.Generator, colourway: Colourway | None, noise: Noise, certainty: float = 0.8) -> Pattern:
    broad = np.array(noise.pattern_broad)
    chance = broad
    if colourway is not None and colourway.pattern in PATTERNS:
        chance = certainty * pattern_chances(noise)[PATTERNS.index(colourway.pattern)] + (1 - certainty) * broad
    kind = PATTERNS[int(rng.choice(len(PATTERNS), p=chance / chance.sum()))]
    return Pattern(kind, None, 0.1, certainty)


def draw_coat(rng: np.random.Generator, p: Prepared, camera: Camera, i: Source) -> Readings:
    """What is read of the colours of a piece of form i; nothing where the set lists none."""
    if i is not None and not len(p.palette.of(i)):
        return Readings()
    noise = p.noise
    colourway, age = _colourway(rng, p, i)
    back = _any_lab(rng, noise) if colourway is None or colourway.back_lab is None else colourway.back_lab
    belly = _any_lab(rng, noise) if colourway is None or colourway.belly_lab is None else colourway.belly_lab
    painted = [
        Colour(lab, 3.0, camera.u_lch, lab, 3.0, 1.0, "#808080", None, "drawn") if colourway is None
        else _colour(rng, lab, age, camera, noise)
        for lab in (back, belly)
    ]  # fmt: skip
    hard = colourway is not None and colourway.finish in ("leaf", "clear")
    flagged = rng.random() < (noise.finish_flagged if hard else noise.finish_flagged_false)
    return Readings(
        back=painted[0],
        belly=painted[1],
        zones=_zones(rng, colourway, age, camera, noise),
        pattern=_pattern(rng, colourway, noise),
        hard_to_read=("leaf",) if flagged else (),
    )


def draw(rng: np.random.Generator, p: Prepared, camera: Camera | None = None) -> tuple[Readings, Source]:
    """One bait and its truth: the index of a form of `p`, or None for an unlisted bait.

    Every form must have a depth, an outline, rings and colourways.  Models weigh the same, as `Prepared.share` has it.
    """
    noise, camera = p.noise, camera or Camera()
    share = p.share / p.share.sum()
    if rng.random() >= noise.none:
        i = int(rng.choice(len(p.forms), p=share))
        return draw_from(rng, p, dict.fromkeys(GROUPS, i), camera), i
    if rng.random() >= noise.cousin:
        return draw_from(rng, p, dict.fromkeys(GROUPS), camera), None
    of = int(rng.choice(len(p.forms), p=share))
    if rng.random() >= noise.sized:
        return draw_from(rng, p, {g: of if rng.random() < noise.copied else None for g in GROUPS}, camera), None
    drawn = draw_from(rng, p, {g: of if rng.random() < noise.sized_copied else None for g in GROUPS}, camera)
    return replace(drawn, length_mm=draw_body(rng, p, camera, None).length_mm), None


GROUPS = ("body", "ties", "hangers", "eye", "lip", "colours")
"""Features that a cousin takes over together, as in `identify.rank.posterior.KIN`."""


def _turned(places: Array | None, way: int) -> Array | None:
    return None if places is None else likelihood.turn_places(places)[way]


def draw_from(rng: np.random.Generator, p: Prepared, source: dict[str, Source], camera: Camera) -> Readings:
    """One bait whose features come from the forms that `source` names for each of GROUPS."""
    noise = p.noise
    form = source["body"]
    body = draw_body(rng, p, camera, form)
    for misread in noise.misread_bodies:
        # the first ones' chances hardly change the next one's
        if form is not None and rng.random() < misread.chance:
            body = draw_body(rng, p, camera, form, misread)
    ties, traces = _ties(rng, p, source["ties"])
    at = draw_places(
        rng, p.ties, source["ties"], ties, p.background.tie_grid, noise.tie_sd_mm, noise.tie_stray, p
    )  # fmt: skip
    made = _made(rng, p.hangers.count, source["hangers"], p.background.hanger_counts)
    hangers = int(rng.choice(COUNTS, p=likelihood.hanger_table(noise)[made]))
    hang_at = draw_places(
        rng, p.hangers, source["hangers"], hangers, p.background.hanger_grid, noise.hanger_sd_mm, noise.hanger_stray, p
    )  # fmt: skip
    new = _made(rng, p.hooks, source["hangers"], np.array(noise.hook_broad))
    hooks = int(rng.choice(COUNTS, p=likelihood.hook_table(noise)[new]))
    has_lip = rng.random() < noise.lip_broad if source["lip"] is None else p.lip[source["lip"]] == 1
    lip = has_lip and rng.random() >= noise.lip_lost
    lip = lip != (rng.random() < noise.lip_misread / 2)
    coat = draw_coat(rng, p, camera, source["colours"])

    way = 0
    if form is not None:
        way = int(rng.choice(4, p=np.exp(likelihood.log_ways(body, noise))))
    back, belly = (coat.belly, coat.back) if likelihood.BACK_SWAPPED[way] else (coat.back, coat.belly)
    return replace(
        body,
        outline=None if body.outline is None else TURNED[way] * body.outline,
        tie_counts=tuple(float(k == ties) for k in range(COUNTS)),
        tie_count=ties,
        tie_places=_turned(at, way),
        traces=traces,
        hangers=hangers,
        hanger_places=_turned(hang_at, way),
        hooks=hooks,
        lip=float(lip),
        back=back,
        belly=belly,
        zones=coat.zones,
        pattern=coat.pattern,
        hard_to_read=coat.hard_to_read,
    )
