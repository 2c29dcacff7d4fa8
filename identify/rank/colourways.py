"""Colours: strong for the colourway, weak for the model, since no list of colours is ever complete.

A model's pieces wear one of its listed colourways or, with a stated probability, a colour that is on no list; so a
foreign colour costs a model little, and never more than that.  All logarithms here are ratios against the broad
density of colours.  All paints of a piece age by one amount (`ageing`); that is weighed for the forms which everything
else leaves in question.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from identify.geometry import Array
from identify.rank import ageing
from identify.rank.densities import multi_t_constant
from identify.rank.noise import Noise
from identify.rank.palette import CENTRE, PATTERNS, ZONES, Coats, Looks, Palette
from identify.rank.readings import Readings
from identify.rank.rings import Indices, Single
from identify.records import Ageing, Colour, Lab

IN_QUESTION = 14.0
"""Natural log of how much less likely than the best a form may be for its paints' ageing to be weighed."""
AGED_AT_MOST = 200
"""So many forms, the likeliest ones."""


def whitening(lab: Lab, u_lch: tuple[float, float, float], noise: Noise) -> tuple[Array, float]:
    """A matrix (3, 3) that turns CIELAB differences from `lab` into standard deviations of lightness, chroma and hue,
    and the sum of the three's logarithms.

    The tolerance is in CIEDE2000, so it grows with chroma by that formula's S_C and S_H (CIE 142-2001).  Near grey hue
    has no direction, and chroma and hue share one figure.
    """
    chroma = float(np.hypot(lab[1], lab[2]))
    tolerance = noise.colour_tolerance * np.array([1.0, 1 + 0.045 * chroma, 1 + 0.015 * chroma])
    sd = np.hypot(u_lch, tolerance)
    directed = min(1.0, chroma / (2 * float(sd[2])))
    even = float(np.sqrt((sd[1] ** 2 + sd[2] ** 2) / 2))
    sd[1:] = np.sqrt(directed * sd[1:] ** 2 + (1 - directed) * even**2)
    c, s = (lab[1] / chroma, lab[2] / chroma) if chroma > 0 else (1.0, 0.0)
    axes = np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])
    return axes / sd, float(np.log(sd).sum())


def _log_broad(lab: Lab, noise: Noise) -> float:
    sd = np.array(noise.colour_broad_sd)
    z = (np.array(lab) - np.array(noise.colour_broad_mean)) / sd
    return float(-0.5 * (z**2).sum() - np.log(sd).sum() - 1.5 * np.log(2 * np.pi))


Read = tuple[Lab, tuple[float, float, float]]
"""A colour read, and its u by lightness, chroma and hue."""
Form = tuple[Single, float]
"""A quadratic form for each amount of ageing, (g, 10) over `palette.terms`, and what a paint that fits exactly gets:
the logarithm of its density over the broad one, without the constant of Student's t."""


@lru_cache(maxsize=64)
def _quadratics(reads: tuple[Read, ...], noise: Noise, with_age: bool) -> tuple[Form, ...]:
    """The squared distance of paints from each colour read, in standard deviations of what shows: once with the paints
    as they are, or for each amount of ageing, where what shows is linear in the paint close to the one that would show
    exactly this."""
    labs = np.array([lab for lab, _ in reads])
    new, slopes = (
        ageing.when_new(labs) if with_age else (labs[:, None], np.broadcast_to(np.eye(3), (len(labs), 1, 3, 3)))
    )
    new = new - CENTRE
    whitened = [whitening(lab, u_lch, noise) for lab, u_lch in reads]
    scaled = slopes @ np.array([matrix for matrix, _ in whitened])[:, None]
    form = scaled @ np.swapaxes(scaled, -1, -2)
    pulled = np.einsum("zgij,zgj->zgi", form, new)
    pieces = (
        np.einsum("zgi,zgi->zg", pulled, new)[..., None],
        -2 * pulled,
        form[..., range(3), range(3)],
        form[..., (0, 0, 1), (1, 2, 2)],
    )
    terms = np.concatenate(pieces, axis=-1).astype(np.float32)
    return tuple(
        (own, -log_scale - _log_broad(lab, noise))
        for own, (_, log_scale), (lab, _) in zip(terms, whitened, reads, strict=True)
    )


def _zones(readings: Readings, coats: Coats, swapped: bool) -> list[tuple[Colour, Single, Indices]]:
    """Every zone's colour that was read, the paints listed for it, and which looks (k,) say so."""
    looks = coats.looks
    ends = [(coats.back, looks.back), (coats.belly, looks.belly)]
    read = zip((readings.back, readings.belly), ends[::-1] if swapped else ends, strict=True)
    found = [(colour, *end) for colour, end in read if colour is not None]
    return found + [(c, coats.zones[kind], looks.has_zone[:, ZONES.index(kind)]) for kind, c in readings.zones]


def _as_seen(colour: Colour) -> Read:
    """What the surface shows, for colourways that are known from photographs."""
    seen = colour.u_seen / colour.u if colour.u > 0 else 1.0
    return colour.lab_seen, (colour.u_lch[0] * seen, colour.u_lch[1] * seen, colour.u_lch[2] * seen)


def _paints(readings: Readings, coats: Coats, swapped: bool, noise: Noise, of_look: Single | None = None) -> Single:
    """Log ratio (c,) of all zones' colours together under each colourway as it was painted, and what is to be added by
    its look (k,); a zone that the colourway does not say counts for nothing."""
    paints: Single = _by_age(readings, coats, swapped, noise, False, of_look)[0]
    return paints


def _aged(readings: Readings, coats: Coats, swapped: bool, noise: Noise, of_look: Single | None = None) -> Array:
    """As `_paints`, over all amounts of ageing."""
    paints = _by_age(readings, coats, swapped, noise, True, of_look)
    together: Array = np.log(ageing.grid().chance @ np.exp(paints))
    return together


def _by_age(
    readings: Readings, coats: Coats, swapped: bool, noise: Noise, with_age: bool, of_look: Single | None = None
) -> Single:
    """As `_paints`, under each amount of ageing (g, c), or one row without."""
    dof, hard, looks = noise.colour_tail, noise.hard_finish, coats.looks
    centre = multi_t_constant(3, dof) - np.array([0.0, 3 * np.log(hard), 0.0])[looks.finish]
    narrow = (np.array([1.0, 1 / hard**2, 1.0])[looks.finish] / dof).astype(np.float32).take(coats.look)
    photo = np.flatnonzero(looks.photo[coats.look]) if looks.photo.any() else ()
    zones = _zones(readings, coats, swapped)
    paint = _quadratics(tuple((c.lab, c.u_lch) for c, _, _ in zones), noise, with_age)
    shown = _quadratics(tuple(_as_seen(c) for c, _, _ in zones), noise, with_age) if len(photo) else paint
    together = np.ones((len(paint[0][0]), len(coats.look)), np.float32)
    constant = np.zeros(len(looks.photo))
    for (_, listed, known), (form, height), (seen_form, seen_height) in zip(zones, paint, shown, strict=True):
        constant += known * (centre + np.where(looks.photo, seen_height, height))
        rows = slice(None) if known.all() else np.flatnonzero(known[coats.look])
        squared = form @ listed[:, rows]
        if len(photo):
            squared = np.where(looks.photo[coats.look[rows]], seen_form @ listed[:, rows], squared)
        np.maximum(squared, 0, out=squared)  # rounding may leave a hair less
        squared *= narrow[rows]
        squared += 1
        together[:, rows] *= squared
    falls: Single = np.log(together, out=together)
    falls *= np.float32(-(dof + 3) / 2)
    if of_look is not None:
        constant = constant + of_look
    falls += constant.astype(np.float32).take(coats.look)
    return falls


def _zones_there(readings: Readings, looks: Looks, noise: Noise) -> Array:
    """Log ratio (k,) of which zones were found."""
    seen = dict(readings.zones)
    found = np.array([kind in seen for kind in ZONES])
    with_zone, without = (np.where(found, p, 1 - p) for p in (1 - noise.zone_missed, noise.zone_false))
    broad = np.where(found, noise.zone_broad, 1 - noise.zone_broad)
    ratio: Array = looks.has_zone @ np.log(with_zone / without) + np.log(without / broad).sum()
    return ratio


def pattern_chances(noise: Noise) -> Array:
    """P(pattern read | pattern painted), a row for each of PATTERNS painted; plain and blend look alike."""
    read, painted = np.indices((4, 4))
    alike = (read < 2) & (painted < 2)
    rest = np.where(painted < 2, (1 - noise.pattern_same - noise.pattern_near) / 2, (1 - noise.pattern_same) / 3)
    chances: Array = np.where(read == painted, noise.pattern_same, np.where(alike, noise.pattern_near, rest)).T
    return chances


def _pattern(readings: Readings, looks: Looks, noise: Noise) -> Array:
    """Log ratio (k,) of pattern and of a flagged finish."""
    ratio = np.zeros(len(looks.pattern))
    pattern = readings.pattern
    if pattern is not None and pattern.kind in PATTERNS:
        k, broad = PATTERNS.index(pattern.kind), np.array(noise.pattern_broad)
        p = pattern.certainty * pattern_chances(noise)[:, k] + (1 - pattern.certainty) * broad[k]
        by_kind = np.append(np.log(p / broad[k]), 0.0)  # the last one: a set that does not say
        ratio += by_kind[looks.pattern]
    p = np.array([noise.finish_flagged_false, noise.finish_flagged])
    p = p if readings.hard_to_read else 1 - p
    broad_p = (1 - noise.finish_broad) * p[0] + noise.finish_broad * p[1]
    ratio += np.append(np.log(p / broad_p), 0.0)[looks.finish]
    return ratio


@dataclass(frozen=True, eq=False)
class ColourSpeech:
    """How the colours speak: `colours` and `pattern` (2, n) log ratios against an unlisted bait for each form, with
    back and belly as read and swapped; `by_colourway` (2, c) log ratios, and `unlisted` the ratio of an unlisted
    colour."""

    colours: Array
    pattern: Array
    by_colourway: Array
    unlisted: float


def unlisted_share(which: Palette, noise: Noise) -> Array:
    """Probability (n,) that a piece of each form wears a colour that is not on its list."""
    share: Array = np.maximum(noise.colour_unlisted, noise.colour_met / (noise.colour_met + which.photographed))
    return share


def _forms(ratios: Array, which: Palette, share: Array, new: Array, noise: Noise) -> tuple[Array, float]:
    """Log ratios (2, n) of forms against an unlisted bait, and that bait's own ratio against the broad density; from
    the ratios (2, c) of colourways.  `new` (n,): `unlisted_share`."""
    listed = which.mean_over_forms(ratios)
    say = which.lists_any
    pooled = float((share * say) @ listed[0] / (share @ say)) if say.any() else 1.0
    unlisted = 1 - noise.colour_pool + noise.colour_pool * pooled
    forms = (1 - new) * listed + new * unlisted
    return np.where(say, np.log(forms / unlisted), 0.0), unlisted


def speak(
    readings: Readings,
    which: Palette,
    share: Array,
    noise: Noise,
    swapped: bool = True,
    otherwise: Array | None = None,
) -> ColourSpeech | None:
    """How the colours speak for each form; None when no colour was read or the set lists none.

    Without `swapped` there is only the row of back and belly as read.  `otherwise` (n,): log ratios of the forms by
    everything else, to choose those whose ageing is weighed; unlisted colours are always taken as new ones.
    """
    if (readings.back is None and readings.belly is None) or not which.colourways:
        return None
    ways = (False, True) if swapped else (False,)
    coats = which.coats
    looks = coats.looks
    there, pattern = (term(readings, looks, noise).astype(np.float32) for term in (_zones_there, _pattern))
    colours = np.array([_paints(readings, coats, way, noise, there) for way in ways])
    by_pattern = pattern.take(coats.look)
    ratios = np.exp(colours)
    new = unlisted_share(which, noise)
    of_colours, without_pattern = _forms(ratios, which, share, new, noise)
    of_both, unlisted = _forms(ratios * np.exp(pattern).take(coats.look), which, share, new, noise)

    live = _in_question(of_both.max(0) + (0.0 if otherwise is None else otherwise), which)
    if len(live):
        lists, of_list = np.unique(which.list_of[live], return_inverse=True)
        own, starts, counts = which.of_lists(lists)
        asked = coats.of(own, [kind for kind, _ in readings.zones])
        for k, way in enumerate(ways):
            colours[k, own] = _aged(readings, asked, way, noise, there)
        both = colours[:, own] + by_pattern[own]
        for rows, values, fresh in ((of_colours, colours[:, own], without_pattern), (of_both, both, unlisted)):
            means = np.add.reduceat(np.exp(values), starts, axis=1, dtype=float) / counts
            rows[:, live] = np.log((1 - new[live]) * means[:, of_list] / fresh + new[live])
    return ColourSpeech(of_colours, of_both - of_colours, colours + by_pattern, unlisted)


def _in_question(total: Array, which: Palette) -> Indices:
    """The likeliest forms that list colours."""
    likeliest = np.argpartition(-total, min(AGED_AT_MOST, len(total)) - 1)[:AGED_AT_MOST]
    near = (total[likeliest] > total.max() - IN_QUESTION) & which.lists_any[likeliest]
    found: Indices = np.sort(likeliest[near])
    return found


def posterior(speech: ColourSpeech, which: Palette, form: int, swapped: bool, noise: Noise) -> tuple[Array, float]:
    """Probabilities of a form's colourways, in the order of `Palette.of`, and of a colour that is not listed."""
    chosen = which.of(form)
    share = float(unlisted_share(which, noise)[form])
    listed = (1 - share) / max(1, len(chosen)) * np.exp(speech.by_colourway[int(swapped), chosen])
    new = share * speech.unlisted
    total = float(listed.sum() + new)
    return listed / total, new / total


def age(readings: Readings, which: Palette, colourway: int, swapped: bool, noise: Noise) -> Ageing:
    """How far the paints of a piece have yellowed and faded if it wears this colourway (an index)."""
    paints = _by_age(readings, which.coats.of(np.array([colourway])), swapped, noise, True)[:, 0]
    return ageing.estimate(ageing.grid().chance * np.exp(paints - paints.max()))


def gains_by_ageing(readings: Readings, which: Palette, own: Indices, swapped: bool, noise: Noise) -> Array:
    """Natural log (m,) of how much better colourways (indices) fit after the ageing that suits each best than with all
    amounts of it weighed by how common they are."""
    paints = _by_age(readings, which.coats.of(own), swapped, noise, True).astype(float)
    gains: Array = -np.log(ageing.grid().chance @ np.exp(paints - paints.max(0)))
    return gains
