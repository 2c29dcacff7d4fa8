"""Words for numbers, the same in the terminal and in the report: every number with its unit and ±."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from pathlib import PurePath
from typing import Literal

from identify.records import (
    Candidate,
    Card,
    Colour,
    Evidence,
    Eye,
    Hangers,
    Hooks,
    Identification,
    Lab,
    LineTies,
    Lip,
    Measurement,
    PieceRecord,
    Quantity,
    Scale,
    SetAside,
    Slip,
)
from identify.reference.years import in_words

Units = Literal["mm", "inch"]
MM_PER_INCH = 25.4
EVEN = 1.1
"""Below this factor evidence says nothing worth a word."""


NEVER_SURE = 0.9995
"""Readings are never quite sure, even where a float says 1."""


def percent(p: float) -> str:
    """A probability; never rounded to a certainty that it is not."""
    if p <= 0 or p >= 1:
        return f"{100 * p:.0f} %"
    if p < 0.001:
        return "< 0.1 %"
    if p > 0.999:
        return "> 99.9 %"
    return f"{100 * p:.1f} %" if p < 0.095 or p > 0.985 else f"{100 * p:.0f} %"


def sure(p: float) -> str:
    """How sure a reading is."""
    return f"{percent(min(p, NEVER_SURE))} sure"


def plus_minus(value: float, u: float, unit: str = "") -> str:
    """Value ± standard uncertainty, this to two figures (one from 1 up)."""
    digits = min(5, max(0, 1 - math.floor(math.log10(u)))) if u > 0 else 3
    return f"{value:.{digits}f} ± {u:.{digits}f}{' ' + unit if unit else ''}"


def length(q: Quantity | None, units: Units = "mm") -> str:
    """A length with ± and its unit."""
    if q is None:
        return "not measured without a scale"
    if units == "inch":
        return plus_minus(q.value / MM_PER_INCH, q.u / MM_PER_INCH, "in")
    return plus_minus(q.value, q.u, "mm")


_LENGTHS = re.compile(r"\d+(?:\.\d+)?(?:(?: ± | and |, )\d+(?:\.\d+)?)* mm\b")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def in_units(text: str, units: Units) -> str:
    """A text with its millimetres turned into inches, if those are wanted."""
    if units == "mm":
        return text

    def inches(found: re.Match[str]) -> str:
        numbers = _NUMBER.sub(lambda n: f"{float(n[0]) / MM_PER_INCH:.3f}", found[0].removesuffix(" mm"))
        return f"{numbers} in"

    return _LENGTHS.sub(inches, text)


def factor(weight: float) -> str:
    """10 to the power of a weight's size, as people say it: 1.3, 16, 2,400, a million."""
    return "more than a billion" if abs(weight) >= 9 else times(10 ** abs(weight))


def times(many: float) -> str:
    """How many times, to two figures."""
    if many >= 1e9:
        return "more than a billion"
    if many >= 999_500:
        return f"{many / 1e6:,.0f} million"
    if many >= 9.95:
        digits = max(0, math.floor(math.log10(many)) - 1)
        return f"{round(many / 10**digits) * 10**digits:,.0f}"
    return f"{many:.1f}"


def weight_in_words(weight: float) -> str:
    """A weight against an unlisted bait: "16 times likelier than for an unlisted bait"."""
    return f"{weight_in_short(weight)} {'as' if abs(weight) < math.log10(EVEN) else 'than'} for an unlisted bait"


def weight_in_short(weight: float) -> str:
    """The same without what it is held against: "16 times likelier"."""
    if abs(weight) < math.log10(EVEN):
        return "as likely"
    return f"{factor(weight)} times {'likelier' if weight > 0 else 'less likely'}"


WORDS_FOR_ROWS = {
    "prior": "what is assumed before looking",
    "calibration": "correction learned on known pieces",
    "look-alikes on no list": "look-alikes that no list has",
    "which way round": "nose and back",
    "sizes": "sizes left open",
    "a misread body": "an outline misread",
}
"""Rows of evidence that are no measured feature."""


def feature_name(row: Evidence) -> str:
    """A row of evidence as people call it; what a person told is marked so."""
    return f"{WORDS_FOR_ROWS.get(row.feature, row.feature)}{' (told)' if row.told else ''}"


def name(candidate: Candidate) -> str:
    """Maker, model, and size and variant as far as they are told apart."""
    return " ".join(filter(None, (f"{candidate.maker} / {candidate.model}", candidate.size, candidate.variant)))


def headline(found: Identification) -> str:
    """The answer in one line."""
    if not found.candidates or found.none_of_these > found.candidates[0].probability:
        how = "Probably" if found.none_of_these > 0.5 else "Perhaps"
        return f"{how} none of these ({percent(found.none_of_these)})"
    top = found.candidates[0]
    return f"{name(top)} ({percent(top.probability)})"


def together(candidate: Candidate) -> str:
    """All evidence of a candidate in one sentence."""
    weight = sum(row.weight for row in candidate.evidence)
    who = f"All together, what is assumed included: {name(candidate)} is"
    if abs(weight) < math.log10(EVEN):
        return f"{who} as likely as a bait on no list."
    return f"{who} {factor(weight)} times {'likelier' if weight > 0 else 'less likely'} than a bait on no list."


def strongest(candidate: Candidate) -> str:
    """What speaks most for and most against a candidate among what was measured, in one or two sentences."""
    rows = [row for row in candidate.evidence if row.feature not in WORDS_FOR_ROWS]
    said = []
    if rows and (best := max(rows, key=lambda row: row.weight)).weight >= math.log10(EVEN):
        said.append(f"Most for it speaks {feature_name(best)}: {weight_in_words(best.weight)}.")
    if rows and (worst := min(rows, key=lambda row: row.weight)).weight <= -math.log10(EVEN):
        said.append(f"Most against it speaks {feature_name(worst)}: {weight_in_words(worst.weight)}.")
    return " ".join(said)


def new_colour(found: Identification) -> tuple[str, ...]:
    """That the colours are on no list, and what that may come from; nothing when they probably are on one."""
    if found.colourway_new is None or found.colourway_new <= 0.5:
        return ()
    said = f"Its colours are probably on no list of this model ({percent(found.colourway_new)}). It may be:"
    return said, *(reason.text for reason in found.new_colour_reasons)


def leads(found: Identification) -> bool:
    """Whether the first candidate is no less likely than that the bait is on no list."""
    top = found.candidates[0].probability if found.candidates else -1.0
    return top >= max(found.none_of_these, found.not_comparable)


def years(made: str | None) -> str:
    """When something was made, from the set's EDTF, in words; a dash where the set does not say."""
    return "–" if made is None else in_words(made)


def made(found: Identification) -> str:
    """From when to when the first candidate was made; nothing where the set does not say, or where the bait is likelier
    on no list."""
    if not leads(found) or (top := found.candidates[0]).made is None:
        return ""
    return f"Made {in_words(top.made)}, as the set has it of {name(top)}."


def ageing(found: Identification) -> str:
    """How far the paint has yellowed and faded, if it is the colourway found; nothing where that cannot be told, or
    where the bait is likelier on no list."""
    if found.ageing is None or not leads(found) or (match := found.candidates[0].colourway) is None:
        return ""
    yellow, faded = (
        f"{100 * q.value:.0f} ± {100 * q.u:.0f} %" for q in (found.ageing.yellowing, found.ageing.fading)
    )  # fmt: skip
    return f"If it is {match.name}: yellowed {yellow} (blue light lost), faded {faded} (chroma lost)."


def ties(found: LineTies | None) -> str:
    if found is None:
        return "not measured"
    if found.probabilities is None:
        return "not sure" if found.count is None else str(found.count)
    labels = ("0", "1", "2", "3", "4", "5 or more")
    ranked = sorted(zip(found.probabilities, labels, strict=True), reverse=True)
    if found.count is None:
        likely = " or ".join(f"{label} ({percent(p)})" for p, label in ranked[:2])
        text = f"not sure: {likely}"
    else:
        text = f"{found.count} ({sure(found.probabilities[min(found.count, 5)])})"
    lost = len(found.traces)
    return text + (f"; {lost} lost" if lost else "")


def lip(found: Lip | None) -> str:
    if found is None:
        return "not measured"
    p = found.probability if found.present else 1 - found.probability
    return f"{'seen' if found.present else 'none seen'} ({sure(p)})"


def eye(found: Eye | None, units: Units) -> str:
    if found is None:
        return "none seen"
    return "seen" if found.diameter_mm is None else f"{length(found.diameter_mm, units)} across"


def count(found: Hangers | Hooks | None) -> str:
    return "not measured" if found is None else str(found.count)


def colour(found: Colour | None) -> str:
    """Name, Munsell notation and Lab with ± in CIEDE2000."""
    if found is None:
        return "not measured"
    munsell = f", Munsell {found.munsell}" if found.munsell else ""
    return f"{found.name}{munsell}, {lab(found.lab)} ± {found.u:.1f} ΔE00"


def lab(values: Lab) -> str:
    """A colour as "Lab 38, −2, −8"."""
    return "Lab " + ", ".join(f"{round(v) + 0:d}".replace("-", "−") for v in values)


def difference(delta_e: float | None) -> str:
    """A colour difference in words."""
    if delta_e is None:
        return "not compared"
    said = "hardly to be seen" if delta_e < 2 else "near" if delta_e < 5 else "some way off" if delta_e < 10 else "far"
    return f"{delta_e:.1f} ΔE00 apart ({said})"


def colourway(candidate: Candidate) -> str:
    """The best listed colourway in short."""
    match = candidate.colourway
    if match is None:
        return "–"
    if not match.listed:
        return f"none listed near (nearest {match.name})"
    return f"{match.name} ({percent(match.probability)})"


def set_aside(things: Sequence[SetAside]) -> tuple[str, ...]:
    """Why things were not measured, each reason once."""
    counted = Counter(thing.reason for thing in things)
    return tuple(reason if n == 1 else f"{reason} ({n} things)" for reason, n in counted.items())


def card(found: Card | None, scale: Scale | None) -> str:
    """How the photo was scaled, in one sentence."""
    if scale is not None and scale.source == "line" and scale.px_per_mm is not None:
        return f"scale from a told line, {scale.px_per_mm:.1f} px/mm"
    if found is None or not found.found:
        return "no card found"
    parts = ["card found"]
    if found.px_per_mm is not None:
        parts.append(f"{found.px_per_mm:.1f} px/mm")
    if found.tilt_deg is not None:
        parts.append(f"seen {found.tilt_deg:.0f}° from straight above")
    return ", ".join(parts)


LIES = "lies"
"""The row that holds for one photo only, not for a piece."""


def photos_used(record: PieceRecord) -> tuple[str, ...]:
    """Which photos a joint answer rests on, and which not."""
    used = [f"{PurePath(s.photo).name} ({s.view.kind})" for s in record.shots if s.used and s.view is not None]
    left = [f"{PurePath(s.photo).name}: {s.why_not}" for s in record.shots if not s.used]
    said = (f"From {', '.join(used)}.",) if used else ()
    return said + ((f"Left out: {'; '.join(left)}.",) if left else ())


def photo_facts(card_seen: Card | None, scale: Scale | None, slip: Slip | None) -> str:
    """How the photo was scaled and, where a slip lies in it, its number."""
    return ", ".join([card(card_seen, scale), *([] if slip is None else [f"slip {slip.number}"])])


def measured_rows(m: Measurement, units: Units) -> list[tuple[str, str]]:
    """What was measured, by name."""
    rows = [
        ("length", length(m.length_mm, units)),
        ("depth", length(m.depth_mm, units)),
        ("depth to length", plus_minus(m.depth_to_length.value, m.depth_to_length.u)),
        ("line ties", ties(m.line_ties)),
        ("hangers", count(m.hangers)),
        ("hooks on it", count(m.hooks)),
        ("eye", eye(m.eye, units)),
        ("lip", lip(m.lip)),
        ("back", colour(m.back_colour)),
        ("belly", colour(m.belly_colour)),
    ]
    rows += [(f"{zone.kind} zone", colour(zone.colour)) for zone in m.zones]
    if m.pattern is not None:
        rows.append(("pattern", f"{m.pattern.kind} ({sure(m.pattern.certainty)})"))
    if m.hard_to_read:
        rows.append(("finish", f"{' or '.join(m.hard_to_read)}: its colour depends on the light"))
    rows.append((LIES, f"nose {m.nose}, back {m.back}, {m.shows} flank shown ({sure(min(m.orientation_certainty))})"))
    return rows
