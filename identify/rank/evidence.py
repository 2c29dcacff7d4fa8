"""Evidence in words: what was measured, what a form would show, and how that speaks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from identify.geometry import Array
from identify.outline import TURNED, heights_from
from identify.rank.covariance import outline_axes
from identify.rank.prepared import Prepared
from identify.rank.readings import Readings
from identify.rank.rings import Rings
from identify.records import ColourwayMatch, Evidence
from identify.reference.profile import Form

LN10 = math.log(10)
NOT_SAID = "the set does not say"
UNLISTED = "an unlisted bait"


@dataclass(frozen=True, eq=False)
class Scored:
    """How the features speak for one form: natural log ratios by feature, the way round that fits best, and what adds
    up to its probability against none of these (`sizes` is None when sizes are ranked)."""

    index: int
    way: int
    features: dict[str, float]
    turned: float
    look_alikes: float
    sizes: float | None
    prior: float
    prior_share: float
    calibration: float

    @property
    def total(self) -> float:
        """ln of this form's probability over that of none of these."""
        rest = self.turned + self.look_alikes + (self.sizes or 0.0) + self.prior + self.calibration
        return sum(self.features.values()) + rest


def pm(value: float, u: float, unit: str = "") -> str:
    """A value with its standard uncertainty, which is given to two figures or whole."""
    digits = min(4, max(0, 1 - math.floor(math.log10(u)))) if u > 0 else 2
    digits = min(digits, 2 if unit else 4)
    return f"{value:.{digits}f} ± {u:.{digits}f}{' ' + unit if unit else ''}"


def percent(p: float) -> str:
    return f"{100 * p:.0f} %" if 0.005 <= p <= 0.995 else f"{100 * p:.2g} %"


def _along(places: Array, length_mm: float | None) -> str:
    """Places from the nose, in mm or as shares of the length."""
    x = np.sort(places[:, 0])
    if length_mm is None:
        return f"{' and '.join(f'{100 * v:.0f}' for v in x)} % of the length from the nose"
    return f"{' and '.join(f'{length_mm * v:.1f}' for v in x)} mm from the nose"


def _turned(places: Array, way: int) -> Array:
    return np.column_stack([1 - places[:, 0], places[:, 1]]) if way >= 2 else places


def _rings_expected(rings: Rings, i: int, length_mm: float | None) -> str:
    known = int(rings.placed[i])
    return _along(rings.places[i, :known], length_mm) if known else NOT_SAID


def _count(value: int) -> str:
    return NOT_SAID if value < 0 else str(value)


def _outline_texts(r: Readings, p: Prepared, s: Scored) -> tuple[str, str]:
    if r.outline is None or np.isnan(p.outline[s.index, 0]):
        return "measured", NOT_SAID
    axes = outline_axes(p.noise)
    gap = TURNED[s.way] * r.outline - axes.vectors @ p.outline[s.index]
    off = float(np.sqrt(np.square(heights_from(gap)).mean()))
    sd = axes.with_edge(p.noise, r.depth_px)
    spread = float(np.sqrt(np.square([heights_from(v) for v in (axes.vectors * sd).T]).sum(0).mean()))
    return f"{100 * off:.1f} % of the depth off, on average", f"about {100 * spread:.1f} % off"


def _colours(r: Readings) -> str:
    named = [("back", r.back), ("belly", r.belly), *r.zones]
    return ", ".join(f"{where} {c.name}" for where, c in named if c is not None)


def _texts(r: Readings, p: Prepared, s: Scored, match: ColourwayMatch | None) -> dict[str, tuple[str, str]]:
    """(measured, expected) for every feature that was measured."""
    i, form = s.index, p.forms[s.index]
    length = None if r.length_mm is None else r.length_mm.value
    own_length = None if length is None else form.length_mm
    texts: dict[str, tuple[str, str]] = {}
    if r.length_mm is not None:
        texts["length"] = (
            pm(r.length_mm.value, r.length_mm.u, "mm"),
            pm(form.length_mm, form.length_mm * float(p.length_tolerance[i]), "mm"),
        )
    if r.aspect is not None:
        ratio = float(np.exp(p.ln_aspect[i]))
        expected = NOT_SAID if math.isnan(ratio) else pm(ratio, ratio * float(p.aspect_tolerance[i]))
        texts["depth to length"] = pm(r.aspect.value, r.aspect.u), expected
    texts["outline"] = _outline_texts(r, p, s)
    if r.tie_counts is not None:
        most = int(np.argmax(r.tie_counts))
        said = f"{most if most < 5 else '5 or more'} ({percent(max(r.tie_counts) / sum(r.tie_counts))})"
        lost = f", {r.traces} lost" if r.traces else ""
        texts["line ties"] = said + lost, _count(int(p.ties.count[i]))
    if r.tie_places is not None:
        texts["tie places"] = _along(_turned(r.tie_places, s.way), length), _rings_expected(p.ties, i, own_length)
    if r.hangers is not None:
        texts["hangers"] = str(r.hangers), _count(int(p.hangers.count[i]))
    if r.hanger_places is not None:
        measured = _along(_turned(r.hanger_places, s.way), length)
        texts["hanger places"] = measured, _rings_expected(p.hangers, i, own_length)
    if r.hooks is not None:
        texts["hooks"] = str(r.hooks), NOT_SAID if form.hooks is None else f"{form.hooks} when new"
    if r.eye_place is not None:
        texts["eye"] = _eye_texts(r, p, s, form)
    if r.lip is not None:
        seen = f"seen ({percent(r.lip)})" if r.lip >= 0.5 else f"none seen ({percent(1 - r.lip)})"
        texts["lip"] = seen, form.lip or NOT_SAID
    if r.thickness_mm is not None:
        expected = NOT_SAID if form.thickness_mm is None else f"{form.thickness_mm:.1f} mm"
        texts["thickness"] = pm(r.thickness_mm.value, r.thickness_mm.u, "mm"), expected
    texts["colours"] = _colours(r), NOT_SAID if match is None else f"nearest: {match.name}"
    pattern = "not read" if r.pattern is None else f"{r.pattern.kind} ({percent(r.pattern.certainty)})"
    finish = f", {' or '.join(r.hard_to_read)} finish" if r.hard_to_read else ""
    texts["pattern"] = pattern + finish, NOT_SAID if match is None else f"as of {match.name}"
    return texts


def _eye_texts(r: Readings, p: Prepared, s: Scored, form: Form) -> tuple[str, str]:
    assert r.eye_place is not None
    scale = None if r.length_mm is None else r.length_mm.value
    measured = _along(_turned(r.eye_place, s.way), scale)
    if r.eye_diameter_mm is not None:
        measured += f", {pm(r.eye_diameter_mm.value, r.eye_diameter_mm.u, 'mm')} wide"
    if form.eye is None or p.eye[s.index] < 0:
        return measured, NOT_SAID
    if p.eye[s.index] == 0:
        return measured, "none"
    place = p.eye_place[s.index : s.index + 1]
    expected = "an eye" if np.isnan(place[0, 0]) else _along(place, None if scale is None else form.length_mm)
    if form.eye.diameter_mm is not None and scale is not None:
        expected += f", {form.eye.diameter_mm:.1f} mm wide"
    return measured, expected


def rows(r: Readings, p: Prepared, s: Scored, match: ColourwayMatch | None) -> tuple[Evidence, ...]:
    """The evidence for one form.  Weights are log10 of the likelihood ratio against an unlisted bait, and add up, prior
    and calibration included, to log10 of the form's probability over that of none of these."""
    texts = _texts(r, p, s, match)
    found = [Evidence(name, *texts[name], weight / LN10) for name, weight in s.features.items()]
    noise = p.noise
    certainty = f"nose {percent(r.p_nose)} sure, back {percent(r.p_back)} sure"
    fits = ("as read", "back and belly swapped", "nose and tail swapped", "both swapped")[s.way]
    found.append(Evidence("which way round", certainty, fits, s.turned / LN10))
    if s.sizes is not None:
        found.append(Evidence("sizes", "no scale", "any of its sizes, the best one shown", s.sizes / LN10))
    copies = f"{percent(noise.cousin)} of unlisted baits follow listed ones in part"
    found.append(Evidence("look-alikes on no list", copies, UNLISTED, s.look_alikes / LN10))
    prior = f"none of these {percent(noise.none)}", f"this one {percent(s.prior_share)}"
    found.append(Evidence("prior", *prior, s.prior / LN10))
    fitted = f"evidence divided by {noise.temperature:g}", f"then times {math.exp(noise.offset):.2g}"
    found.append(Evidence("calibration", *fitted, s.calibration / LN10))
    return tuple(found)
