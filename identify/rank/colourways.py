"""Colours: strong for the colourway, weak for the model, since no list of colours is ever complete.

A model's pieces wear one of its listed colourways or, with a stated probability, a colour that is on no list; so a
foreign colour costs a model little, and never more than that.  All logarithms here are ratios against the broad
density of colours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from identify.rank.densities import log_multi_t
from identify.rank.noise import Noise
from identify.rank.readings import Readings, ZoneKind
from identify.rank.rings import UNKNOWN, Indices, Single
from identify.records import Colour, Lab
from identify.reference.profile import Colourway, Form

PatternKind = Literal["plain", "dots", "bars", "blend", "other"]
PATTERNS: tuple[PatternKind, ...] = ("plain", "blend", "dots", "bars")
"""`other` is not among them: it takes no weight."""
HARD = ("leaf", "clear")
ZONES: tuple[ZoneKind, ...] = ("head", "side", "tail", "throat")


@dataclass(frozen=True, eq=False)
class Palette:
    """All colourways of a set, c of them, and which forms list them.

    `back`, `belly` (c, 3) CIELAB, NaN where not known; `zones` the same for each zone kind, and
    `has_zone` (c, 4) 1 where there is one of ZONES; `photo` (c,) bool: known
    from photographs; `finish` (c,): 1 leaf or clear, 0 paint; `pattern` (c,) indexes PATTERNS.  Form i lists the
    colourways `listed[starts[k] : starts[k] + counts[k]]` with k = `list_of[i]`: sizes of one model share their list.
    """

    colourways: tuple[Colourway, ...]
    back: Single
    belly: Single
    zones: dict[ZoneKind, Single]
    has_zone: Array
    photo: NDArray[np.bool_]
    finish: Indices
    pattern: Indices
    listed: Indices
    starts: Indices
    counts: Indices
    list_of: Indices

    def mean_over_forms(self, values: Array) -> Array:
        """The mean (n,) over each form's colourways of values (c,); 0 for forms that list none."""
        running = np.concatenate([[0.0], np.cumsum(values[self.listed])])
        sums = running[self.starts + self.counts] - running[self.starts]
        means: Array = (sums / np.maximum(self.counts, 1))[self.list_of]
        return means

    @property
    def lists_any(self) -> NDArray[np.bool_]:
        """Whether each form (n,) lists any colourway."""
        return self.counts[self.list_of] > 0

    def of(self, form: int) -> Indices:
        """The colourways (indices) that a form lists."""
        k = self.list_of[form]
        return self.listed[self.starts[k] : self.starts[k] + self.counts[k]]


def _labs(values: Sequence[Lab | None]) -> Single:
    return np.array([(np.nan,) * 3 if v is None else v for v in values], float).reshape(-1, 3).astype(np.float32)


def _pattern_index(kind: str | None) -> int:
    return PATTERNS.index(kind) if kind in PATTERNS else UNKNOWN


def palette(forms: Sequence[Form], noise: Noise) -> Palette:
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
    return Palette(
        colourways=tuple(colourways),
        back=_labs([c.back_lab for c in colourways]),
        belly=_labs([c.belly_lab for c in colourways]),
        zones={kind: _labs([z.get(kind) for z in zone_labs]) for kind in ZONES},
        has_zone=np.array([[kind in z for kind in ZONES] for z in zone_labs], float).reshape(-1, len(ZONES)),
        photo=np.array([c.basis == "photo" for c in colourways], bool),
        finish=np.array([UNKNOWN if c.finish is None else int(c.finish in HARD) for c in colourways], np.int64),
        pattern=np.array([_pattern_index(c.pattern) for c in colourways], np.int64),
        listed=np.array(listed, np.int64),
        starts=np.array(starts, np.int64),
        counts=np.array(counts, np.int64),
        list_of=list_of,
    )


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


def _zone_ratio(colour: Colour, labs: Single, which: Palette, noise: Noise) -> Array:
    """Log ratio (c,) of one zone's colour under each colourway; 0 where the colourway does not say."""
    ratio = _near(colour.lab, colour.u_lch, labs, which, noise)
    if which.photo.any():
        scale = colour.u_seen / colour.u if colour.u > 0 else 1.0
        u_seen = (colour.u_lch[0] * scale, colour.u_lch[1] * scale, colour.u_lch[2] * scale)
        ratio = np.where(which.photo, _near(colour.lab_seen, u_seen, labs, which, noise), ratio)
    return np.nan_to_num(ratio, copy=False, nan=0.0)


def _near(lab: Lab, u_lch: tuple[float, float, float], labs: Single, which: Palette, noise: Noise) -> Array:
    matrix, log_scale = whitening(lab, u_lch, noise)
    own = matrix.astype(np.float32)
    z = labs @ own - np.array(lab, np.float32) @ own
    hard = noise.hard_finish
    narrow = np.array([1.0, 1 / hard**2, 1.0], np.float32)[which.finish]
    scale = np.array([0.0, 3 * np.log(hard), 0.0], np.float32)[which.finish] + np.float32(log_scale)
    squared = np.einsum("ij,ij->i", z, z) * narrow
    return log_multi_t(squared, scale, 3, noise.colour_tail) - _log_broad(lab, noise)


def _zones_there(readings: Readings, which: Palette, noise: Noise) -> Array:
    """Log ratio (c,) of which zones were found, and of their colours."""
    seen = dict(readings.zones)
    found = np.array([kind in seen for kind in ZONES])
    with_zone, without = (np.where(found, p, 1 - p) for p in (1 - noise.zone_missed, noise.zone_false))
    broad = np.where(found, noise.zone_broad, 1 - noise.zone_broad)
    ratio: Array = which.has_zone @ np.log(with_zone / without) + np.log(without / broad).sum()
    for kind, colour in seen.items():
        has = which.has_zone[:, ZONES.index(kind)] > 0
        ratio[has] += _zone_ratio(colour, which.zones[kind], which, noise)[has]
    return ratio


def pattern_chances(noise: Noise) -> Array:
    """P(pattern read | pattern painted), a row for each of PATTERNS painted; plain and blend look alike."""
    read, painted = np.indices((4, 4))
    alike = (read < 2) & (painted < 2)
    rest = np.where(painted < 2, (1 - noise.pattern_same - noise.pattern_near) / 2, (1 - noise.pattern_same) / 3)
    chances: Array = np.where(read == painted, noise.pattern_same, np.where(alike, noise.pattern_near, rest)).T
    return chances


def _pattern(readings: Readings, which: Palette, noise: Noise) -> Array:
    """Log ratio (c,) of pattern and of a flagged finish."""
    ratio = np.zeros(len(which.colourways))
    pattern = readings.pattern
    if pattern is not None and pattern.kind in PATTERNS:
        k, broad = PATTERNS.index(pattern.kind), np.array(noise.pattern_broad)
        p = pattern.certainty * pattern_chances(noise)[:, k] + (1 - pattern.certainty) * broad[k]
        by_kind = np.append(np.log(p / broad[k]), 0.0)  # the last one: a set that does not say
        ratio += by_kind[which.pattern]
    p = np.array([noise.finish_flagged_false, noise.finish_flagged])
    p = p if readings.hard_to_read else 1 - p
    broad_p = (1 - noise.finish_broad) * p[0] + noise.finish_broad * p[1]
    ratio += np.append(np.log(p / broad_p), 0.0)[which.finish]
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


def _forms(values: Array, which: Palette, share: Array, noise: Noise) -> tuple[Array, float]:
    """Log ratios (2, n) of forms against an unlisted bait, and that bait's own ratio against the broad density."""
    listed = np.array([which.mean_over_forms(np.exp(v)) for v in values])
    say = which.lists_any
    pooled = float(share[say] @ listed[0][say] / share[say].sum()) if say.any() else 1.0
    unlisted = 1 - noise.colour_pool + noise.colour_pool * pooled
    forms = (1 - noise.colour_unlisted) * listed + noise.colour_unlisted * unlisted
    return np.where(say, np.log(forms / unlisted), 0.0), unlisted


def speak(readings: Readings, which: Palette, share: Array, noise: Noise, swapped: bool = True) -> ColourSpeech | None:
    """How the colours speak for each form; None when no colour was read or the set lists none.  Without
    `swapped` there is only the row of back and belly as read."""
    if (readings.back is None and readings.belly is None) or not which.colourways:
        return None
    zones = _zones_there(readings, which, noise)
    colours = np.array([zones, zones] if swapped else [zones])
    for row, (back, belly) in zip(colours, ((which.back, which.belly), (which.belly, which.back)), strict=False):
        for colour, labs in ((readings.back, back), (readings.belly, belly)):
            if colour is not None:
                row += _zone_ratio(colour, labs, which, noise)
    by_colourway = colours + _pattern(readings, which, noise)
    of_colours, _ = _forms(colours, which, share, noise)
    of_both, unlisted = _forms(by_colourway, which, share, noise)
    return ColourSpeech(of_colours, of_both - of_colours, by_colourway, unlisted)


def posterior(speech: ColourSpeech, which: Palette, form: int, swapped: bool, noise: Noise) -> tuple[Array, float]:
    """Probabilities of a form's colourways, in the order of `Palette.of`, and of a colour that is not listed."""
    chosen = which.of(form)
    listed = (1 - noise.colour_unlisted) / max(1, len(chosen)) * np.exp(speech.by_colourway[int(swapped), chosen])
    new = noise.colour_unlisted * speech.unlisted
    total = float(listed.sum() + new)
    return listed / total, new / total
