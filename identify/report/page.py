"""What the report's template shows, worked out beforehand: the template decides nothing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath

from identify.answer import References
from identify.colour import hex_of
from identify.records import (
    NONE_OF_THESE,
    NOT_COMPARABLE,
    Bait,
    Candidate,
    Colour,
    Identification,
    Lab,
    Notice,
    PhotoRecord,
    PieceRecord,
)
from identify.reference import Form
from identify.report import drawing, sheet, words
from identify.report.parts import BaitPage, Bar, PhotoPage, Row, Seen, Swatch
from identify.report.picture import Pictures
from identify.report.rests import rests_on
from identify.report.words import Units

BAR_FULL = 4.0
"""Weight (a factor of 10,000) at which a bar has its full length; beyond, it ends in an arrow."""
BAR_HALF = 100.0
CANDIDATES = 5


def photo_page(
    record: PhotoRecord, pictures: Pictures | None, references: References | None, units: Units
) -> PhotoPage:
    """One photo's part of the report."""
    name = PurePath(record.photo).name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    seen = None
    if pictures is not None:
        x0, y0, x1, y1 = pictures.whole.window
        shown = drawing.whole(record, x1 - x0, y1 - y0)
        alt = f"The whole photo {name} with {_count(len(record.baits), 'bait')} outlined and numbered"
        alt += ", and the card." if record.card is not None and record.card.found else "; no card."
        seen = Seen(pictures.whole.href, pictures.whole.window, shown, alt)
    baits = tuple(_bait_page(bait, pictures, i, references, units) for i, bait in enumerate(record.baits))
    size = f"{record.width} × {record.height} px" if record.width else ""
    return PhotoPage(
        name=name,
        facts=", ".join(filter(None, (size, words.photo_facts(record.card, record.scale, record.slip))))
        if record.error is None
        else "",
        error=None if record.error is None else record.error.text,
        notices=_texts(record.warnings),
        set_aside=words.set_aside(record.set_aside),
        seen=seen,
        baits=baits,
        sha256=record.sha256 or "",
        told=_told(record, units),
    )


def piece_page(
    record: PieceRecord, records: Sequence[PhotoRecord], references: References | None, units: Units
) -> PhotoPage:
    """The part of the report that takes all photos of one piece together; `records` are those photos'."""
    baits = () if record.bait is None else (_bait_page(record.bait, None, 0, references, units, "The piece"),)
    told = "" if record.bait is None else "; ".join(" ".join(row) for row in sheet.told_rows(record.bait, units))
    return PhotoPage(
        name="All photos together: one piece",
        facts=" ".join(words.photos_used(record)),
        error=None,
        notices=_texts(record.warnings),
        set_aside=(),
        seen=None,
        baits=baits,
        sha256=", ".join(r.sha256 for r in records if r.sha256),
        told=told,
    )


def _told(record: PhotoRecord, units: Units) -> str:
    """All that was told of the baits of a photo, in one line."""
    several = len(record.baits) > 1
    return "; ".join(
        f"{f'bait {bait.measurement.number}: ' if several else ''}{name.removesuffix(', as told')} {text}"
        for bait in record.baits
        for name, text in sheet.told_rows(bait, units)
    )


def _bait_page(
    bait: Bait,
    pictures: Pictures | None,
    index: int,
    references: References | None,
    units: Units,
    title: str | None = None,
) -> BaitPage:
    m, found = bait.measurement, bait.identification
    seen = None
    if pictures is not None:
        cut = pictures.baits[index]
        fitted = f"line ties {words.ties(m.line_ties)}, hooks {words.count(m.hooks)}"
        alt = f"Bait {m.number} close up: {fitted}, nose {m.nose}, back {m.back}."
        seen = Seen(cut.href, cut.window, drawing.bait(m, cut.window), alt)
    top = found.candidates[0] if found is not None and found.candidates else None
    second = found.candidates[1] if found is not None and len(found.candidates) > 1 else None
    form = None
    if top is not None and references is not None:
        form = references.form(top.maker, top.model, top.size, top.variant)
    laid = drawing.overlay(m, form) if form is not None else None
    name = words.name(top) if top is not None else ""
    rows = [row for row in words.measured_rows(m, units) if title is None or row[0] != words.LIES]
    return BaitPage(
        title=title or f"Bait {m.number}",
        number=m.number,
        rows=(*rows, *sheet.told_rows(bait, units)),
        notices=_texts(m.warnings),
        seen=seen,
        swatches=_swatches(bait, top, form),
        candidates=_rows(found) if found is not None else (),
        headline=sheet.headline(found, m) if found is not None else "",
        top=name,
        bars=tuple(_bars(top, second, units)) if top is not None else (),
        together=f"{words.strongest(top)} {words.together(top)}" if top is not None else "",
        overlay=laid,
        overlay_alt=f"The measured outline laid over that of {name}, nose left, back up." if laid else "",
        ageing=words.ageing(found) if found is not None else "",
        new_colour=words.new_colour(found) if found is not None else (),
        ranked=found is not None,
        first=sheet.outline_first(m),
        clashes=sheet.clashes(bait, units),
        in_part=sheet.in_part(found) if found is not None else "",
        other_size=sheet.other_size(found) if found is not None else "",
        runner_up=sheet.runner_up(found) if found is not None else "",
        second=words.name(second) if second is not None else "",
        settling=sheet.settling(found, units) if found is not None else (),
        nothing_settles=sheet.nothing_settles(found, units) if found is not None else "",
        without=(sheet.without(found) or tuple(filter(None, (sheet.firm(found),)))) if found is not None else (),
        rests=rests_on(found, references) if found is not None else (),
    )


def _texts(notices: tuple[Notice, ...]) -> tuple[str, ...]:
    return tuple(notice.text for notice in notices)


def _count(n: int, word: str) -> str:
    return f"{n} {word}{'' if n == 1 else 's'}"


def _rows(found: Identification) -> tuple[Row, ...]:
    rows = []
    beside = {NONE_OF_THESE: found.none_of_these, NOT_COMPARABLE: found.not_comparable}
    most = max(*beside.values(), found.candidates[0].probability if found.candidates else 0.0)
    for i, c in enumerate(found.candidates[:CANDIDATES], 1):
        size = " ".join(filter(None, (c.size, c.variant))) or "open"
        name = f"{c.maker} / {c.model}"
        shown = words.percent(c.probability)
        first = i == 1 and c.probability == most
        rows.append(Row(str(i), name, size, words.colourway(c), words.years(c.made), shown, c.probability, first))
    rest = max(0.0, 1 - sum(beside.values()) - sum(c.probability for c in found.candidates[:CANDIDATES]))
    if rest > 0.0005:
        rows.append(Row("", "all others of the set", "", "", "", words.percent(rest), rest, False))
    rows += [Row("", name, "", "", "", words.percent(p), p, p == most) for name, p in beside.items()]
    return tuple(rows)


def _bars(candidate: Candidate, second: Candidate | None, units: Units) -> list[Bar]:
    found = []
    for row in candidate.evidence:
        share = max(-1.0, min(1.0, row.weight / BAR_FULL))
        found.append(
            Bar(
                feature=words.feature_name(row),
                measured=words.in_units(row.measured, units),
                expected=words.in_units(row.expected, units),
                weight=_signed(row.weight),
                words=words.weight_in_words(row.weight),
                short=words.weight_in_short(row.weight),
                length=round(share * BAR_HALF, 1),
                beyond=abs(row.weight) > BAR_FULL,
                second="" if (other := sheet.weight_for(second, row.feature)) is None else _signed(other),
            )
        )
    return found


def _signed(weight: float) -> str:
    return f"{weight:+.2f}".replace("-", "−")


def _swatches(bait: Bait, top: Candidate | None, form: Form | None) -> tuple[Swatch, ...]:
    m = bait.measurement
    match = top.colourway if top is not None else None
    listed = next((c for c in form.colourways if match and c.code == match.code), None) if form is not None else None
    photo = listed is not None and listed.basis == "photo"
    whose = f"{match.name}" if match is not None else "–"
    found = [
        _swatch(
            "back",
            m.back_colour,
            listed.back_lab if listed else None,
            whose,
            match.delta_e_back if match else None,
            photo,
        ),
        _swatch(
            "belly",
            m.belly_colour,
            listed.belly_lab if listed else None,
            whose,
            match.delta_e_belly if match else None,
            photo,
        ),
    ]
    zones = {zone.kind: zone.lab for zone in listed.zones} if listed else {}
    for zone in m.zones:
        found.append(_swatch(zone.kind, zone.colour, zones.get(zone.kind), whose, None, photo))
    return tuple(swatch for swatch in found if swatch is not None)


def _swatch(
    zone: str, seen: Colour | None, lab: Lab | None, whose: str, apart: float | None, photo: bool
) -> Swatch | None:
    if seen is None:
        return None
    said = "" if lab is None else f"{whose}: {words.lab(lab)}"
    return Swatch(
        zone=zone,
        measured_hex=hex_of(seen.lab_seen) if photo else seen.hex,
        measured=words.colour(seen),
        expected_hex=None if lab is None else hex_of(lab),
        expected=said or "the set does not say",
        apart=words.difference(apart) if apart is not None else "",
    )
