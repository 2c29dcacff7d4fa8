"""Whether a photo is good enough, for what, and what to do better: a pure function of what was measured and of figures
of the picture itself.

Good for length: both length and depth are known well enough to tell sizes apart.  Good for ties: they are counted, and
the count is not in doubt.  Good for colour: it is set by the card, and glare, shadow and clipped light leave enough of
back and belly.  The limits on uncertainty are what collectors need (common practice, no published source); those on
blur and pixels follow from a line tie's wire, about 1 mm thick.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from identify.advice.codes import ADVICE
from identify.advice.figures import BaitFigures, PhotoFigures
from identify.records import Card, Failure, Measurement, PhotoRecord

Use = Literal["length", "ties", "colour"]
USES: tuple[Use, ...] = ("length", "ties", "colour")

U_LENGTH, U_DEPTH = 0.015, 0.05
"""Largest relative standard uncertainties of a good length and depth."""
SURE_COUNT = 0.85
U_COLOUR = 6.5
"""Largest standard uncertainty of a good colour, CIEDE2000."""
FEW_PX_PER_MM, ENOUGH_PX_PER_MM = 5.0, 6.5
FEW_PX, ENOUGH_PX = 300.0, 400.0
"""The same in pixels on a bait's length, where there is no scale."""
BLUR_TIES_MM, BLUR_LENGTH_MM = 0.3, 0.8
"""Standard deviation of blur at which rings and ends are lost."""
USUAL_MM = 70.0
"""Length that a bait is taken to have where there is no scale."""
NOISY, DARK_EV, BRIGHT_EV = 0.05, -2.5, 1.6
CLIPPED, GLARE = 0.06, 0.10
MUCH_SHADE = 0.8
"""Length of hard edges of shadow around a bait, as a share of its own."""
LIGHT_DIFFERS = 1.4
FAR, NEAR, CLOSE = 1.5, 0.008, 0.04
"""Distance from the card as a share of its longer side, and from another bait as a share of the length."""
CARD_SMALL_PX, STEEP_DEG, NEAR_CAMERA_MM = 250.0, 15.0, 200.0


@dataclass(frozen=True)
class GoodFor:
    """What a photo, or a bait in it, is good enough for."""

    length: bool
    ties: bool
    colour: bool


@dataclass(frozen=True)
class Tip:
    """One piece of advice.  `code` is one of ADVICE or the code of an error; `spoils`: what the photo is unfit for
    because of it, empty when it would only be better; `baits`: numbers of those it is about, empty when it is about the
    photo."""

    code: str
    text: str
    spoils: tuple[Use, ...] = ()
    baits: tuple[int, ...] = ()


@dataclass(frozen=True)
class BaitAdvice:
    """What one bait of a photo can be used for."""

    number: int
    good_for: GoodFor


@dataclass(frozen=True)
class Advice:
    """Whether a photo is good enough, for what, and what to do better.

    `good_for`: what holds of every bait in it.  `error`: why the photo could not be used at all.
    """

    photo: str
    good_for: GoodFor
    advice: tuple[Tip, ...]
    baits: tuple[BaitAdvice, ...]
    error: Failure | None


def advise(record: PhotoRecord, figures: PhotoFigures) -> Advice:
    """Advice on a photo that was measured as `record`; figures as `figures.look` reads them."""
    if record.error is not None:
        return unusable(record.photo, record.error.code, record.error.text)
    tips = list(_of_photo(record, figures))
    baits = []
    for bait, seen in zip(record.baits, figures.baits, strict=True):
        own = list(_of_bait(bait.measurement, seen, figures, record))
        baits.append(BaitAdvice(bait.measurement.number, _good(bait.measurement, [*tips, *own])))
        tips += [t for t in own if t.baits]
    good = (all(getattr(b.good_for, use) for b in baits) and bool(baits) for use in USES)
    return Advice(record.photo, GoodFor(*good), _together(tips), tuple(baits), None)


def unusable(photo: str, code: str, text: str) -> Advice:
    """Advice on a photo that nothing could be done with."""
    return Advice(photo, GoodFor(False, False, False), (Tip(code, text, USES),), (), Failure(code, text))


def _tip(code: str, *spoils: Use, text: str | None = None) -> Tip:
    return Tip(code, text or ADVICE[code], spoils)


def _good(m: Measurement, tips: list[Tip]) -> GoodFor:
    spoilt = {use for t in tips if not t.baits or m.number in t.baits for use in t.spoils}
    return GoodFor(*(use not in spoilt for use in USES))


def _together(tips: list[Tip]) -> tuple[Tip, ...]:
    """The same advice on several baits said once; what spoils most first, then in the order of the list."""
    merged: dict[tuple[str, str], Tip] = {}
    for t in tips:
        key = (t.code, t.text)
        old = merged.get(key)
        spoils = tuple(u for u in USES if u in t.spoils or (old is not None and u in old.spoils))
        merged[key] = replace(t, spoils=spoils, baits=(*(old.baits if old else ()), *t.baits))
    order = list(ADVICE)
    return tuple(sorted(merged.values(), key=lambda t: (-len(t.spoils), order.index(t.code))))


# about the whole photo


def _of_photo(record: PhotoRecord, figures: PhotoFigures) -> Iterator[Tip]:
    codes = {n.code for n in record.warnings}
    if not record.baits:
        yield _tip("no-bait", *USES)
    if "profile-unreadable" in codes:
        yield _tip("profile-unreadable")
    card, scale = record.card, record.scale
    if card is None or not card.found:
        why = f"No grey card: {card.why_not}." if card is not None and card.why_not else ADVICE["no-card"]
        unscaled = scale is None or scale.source == "none"
        yield _tip("no-card", *(("length", "colour") if unscaled else ("colour",)), text=why)
    else:
        yield from _of_card(card, codes)
    if "card-doubtful" in codes:
        yield _tip("card-doubtful", "length")
    for code in ("no-focal-length", "cropped"):
        if code in codes:
            yield _tip(code)
    if figures.noise is not None and figures.noise > NOISY:
        yield _tip("noisy")


def _of_card(card: Card, codes: set[str]) -> Iterator[Tip]:
    if card.exposure_ev is not None and card.exposure_ev < DARK_EV:
        yield _tip("dark", "colour")
    if "card-clipped" in codes or (card.exposure_ev is not None and card.exposure_ev > BRIGHT_EV):
        yield _tip("card-clipped", "colour")
    if "card-uneven" in codes:
        yield _tip("light-uneven")
    for code in ("card-small", "card-covered"):
        if code in codes:
            yield _tip(code)
    if card.tilt_deg is not None and card.tilt_deg > STEEP_DEG:
        yield _tip("camera-slanted")
    guessed = codes & {"no-focal-length", "cropped"}
    if card.camera_distance_mm is not None and card.camera_distance_mm < NEAR_CAMERA_MM and not guessed:
        text = f"The camera is only {card.camera_distance_mm:.0f} mm away, so that what stands higher looks larger"
        yield _tip("camera-close", text=f"{text}: step back and zoom in.")


# about one bait


def _of_bait(m: Measurement, seen: BaitFigures, figures: PhotoFigures, record: PhotoRecord) -> Iterator[Tip]:
    for tip in (*_place(m, seen, len(record.baits)), *_readings(m), *_pixels(m, seen, figures), *_light(seen)):
        yield replace(tip, baits=(m.number,))


def _place(m: Measurement, seen: BaitFigures, count: int) -> Iterator[Tip]:
    codes = {n.code for n in m.warnings}
    if "touches-edge" in codes:
        yield _tip("touches-edge", "length", "ties")
    if seen.gap_to_bait is not None and seen.gap_to_bait < CLOSE:
        yield _tip("baits-close")
    if seen.gap_to_card is not None and seen.gap_to_card < NEAR:
        yield _tip("card-close", "length")
    if seen.gap_to_card is not None and seen.gap_to_card > FAR and count == 1:
        yield _tip("card-far")
    if "not-side-view" in codes:
        yield _tip("not-side-view")
    if m.hooks is not None and m.hooks.count:
        yield _tip("lay-hooks")


def _readings(m: Measurement) -> Iterator[Tip]:
    codes = {n.code for n in m.warnings}
    if "outline-unclear" in codes:
        yield _tip("outline-unclear", *(() if m.length_mm is not None else ("length",)))
    if m.length_mm is not None and m.depth_mm is not None:
        u_length, u_depth = m.length_mm.u / m.length_mm.value, m.depth_mm.u / m.depth_mm.value
        if u_length > U_LENGTH or u_depth > U_DEPTH:
            worst = m.length_mm if u_length / U_LENGTH > u_depth / U_DEPTH else m.depth_mm
            part = max(worst.parts, key=lambda p: p.u)
            why = f"Length is known to {100 * u_length:.1f} %, depth to {100 * u_depth:.1f} %; most doubt: {part.what}."
            yield _tip("size-unsure", "length", text=f"{why} {_MEND.get(part.what, '')}".strip())
    ties = m.line_ties
    if ties is None or ties.count is None or max(ties.probabilities or (0.0,)) < SURE_COUNT:
        yield _tip("ties-unsure", "ties")
    if "colour-doubtful" in codes:
        yield _tip("colour-doubtful", "colour")
    if m.hard_to_read:
        yield _tip("hard-to-read", "colour")
    colours = (m.back_colour, m.belly_colour)
    if not m.hard_to_read and "colour-uncorrected" not in codes and any(c is None or c.u > U_COLOUR for c in colours):
        yield _tip("colour-doubtful", "colour")


_MEND = {
    "outline": ADVICE["outline-unclear"].split(": ", 1)[1].capitalize(),
    "angle of view": "Hold the camera straight above.",
    "slope": "Lay the bait level.",
    "scale": "Lay the card flat beside it and take both larger.",
    "height of the silhouette": "Step back and zoom in.",
    "camera distance": "Step back and zoom in, and send the camera's own file.",
}
"""What helps against each part of an uncertainty."""


def _pixels(m: Measurement, seen: BaitFigures, figures: PhotoFigures) -> Iterator[Tip]:
    length = math.dist(m.nose_px, m.tail_px)
    on_scale = m.px_per_mm if m.px_per_mm is not None else length
    few, enough = (FEW_PX_PER_MM, ENOUGH_PX_PER_MM) if m.px_per_mm is not None else (FEW_PX, ENOUGH_PX)
    if on_scale < few:
        yield _tip("bait-small", "ties")
    elif on_scale < enough:
        yield _tip("bait-small")
    blurs = [b for b in (figures.card_blur_px, seen.blur_px) if b is not None]
    scale = m.px_per_mm if m.px_per_mm is not None else length / USUAL_MM
    blur = max(figures.card_blur_px or 0.0, min(blurs, default=0.0)) / max(scale, 1e-6)
    if blur > BLUR_LENGTH_MM:
        yield _tip("blurred", *USES)
    elif blur > BLUR_TIES_MM:
        yield _tip("blurred", "ties")


def _light(seen: BaitFigures) -> Iterator[Tip]:
    if seen.clipped > CLIPPED:
        yield _tip("clipped")
    if seen.glare > GLARE:
        yield _tip("glare")
    if seen.hard_shade > MUCH_SHADE:
        yield _tip("shadow-hard")
    if seen.light_to_card is not None and not 1 / LIGHT_DIFFERS < seen.light_to_card < LIGHT_DIFFERS:
        yield _tip("light-uneven")
