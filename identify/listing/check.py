"""The job: pictures of one offer, measured, and held against the words that it is sold by."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePath
from typing import Literal

from identify import __version__
from identify.answer import References, rank_bait, rank_photo
from identify.errors import BadOption
from identify.listing import ask, points
from identify.listing.ask import Ask
from identify.listing.paints import weigh_paints
from identify.listing.pictures import measure_picture, overlaid
from identify.listing.points import PAINTS_DISAGREE, Finding, Point, verdict_of
from identify.listing.weigh import CLEARLY_BETTER, Weighed, weigh_words
from identify.listing.words import Stated, known_by, look_up
from identify.rank import read
from identify.rank.telling import tell
from identify.rank.whatif import form_name
from identify.records import Bait, Candidate, Measurement, Notice, PhotoRecord, PieceRecord
from identify.report.rests import known_words
from identify.same_piece import join_photos
from identify.settings import Settings
from identify.told import Told, of_bait
from identify.told import parse as parse_told

Which = int | Literal["all"] | None
SELLERS_U = 1.0
"""Standard uncertainty in mm of a length that a seller tells, when none is given: read off a ruler."""
LISTED = 5
"""Candidates that a photo's own line lists."""
BETTER = 3
STATED = ("size", "colourway")
LIKELY = 0.1
"""A better candidate is shown from this probability on."""


@dataclass(frozen=True)
class Judged:
    """One bait of the offer, from all pictures that show it: the photos with the bait's number in each, the probability
    of the words, and what it comes to.  `form`: the stated form that fits best (an index of the sets made ready), and
    `way` how it lies: 1 back and belly, 2 nose and tail turned round.  `hidden`: letters or the like lie over it in
    every picture, so that it cannot be said to disagree."""

    photos: tuple[str, ...]
    numbers: tuple[int, ...]
    probability: float
    verdict: Finding
    points: tuple[Point, ...]
    better: tuple[Candidate, ...]
    ask: tuple[Ask, ...]
    form: int
    way: int
    hidden: bool


@dataclass(frozen=True)
class LeftOut:
    """A picture that the verdict does not rest on, and why; what its own bait would come to, if it has one."""

    photo: str
    why_not: str
    verdict: Finding | None = None


@dataclass(frozen=True)
class Check:
    """An offer's pictures against its words.

    `baits`: one body of evidence each, one for the whole offer unless all baits of the pictures were asked about;
    `points`, `better` and `ask` are theirs, one after the other.  `known_by`: the weakest link of how the set knows
    what the words name, since agreeing with this program's own earlier answer proves nothing; None where it does not
    say.  `seen_before` stays empty until offers are kept.
    """

    photos: tuple[str, ...]
    version: str
    sold_as: str
    known_by: str | None
    verdict: Finding
    text: str
    points: tuple[Point, ...]
    better: tuple[Candidate, ...]
    ask: tuple[Ask, ...]
    seen_before: tuple[str, ...]
    baits: tuple[Judged, ...]
    left_out: tuple[LeftOut, ...]
    warnings: tuple[Notice, ...]
    photo_reports: tuple[PhotoRecord, ...]


def length_told(text: str) -> Told:
    """A seller's length: as `--told length_mm`, but read off a ruler where no ± is given.  Raises BadOption."""
    try:
        told = parse_told([f"length_mm={text}"])[0]
    except BadOption as fault:
        raise BadOption(str(fault).replace("--told length_mm=", "--length-mm "), fault.what_to_do) from None
    return told if any(sign in text for sign in ("+", "±")) else replace(told, u=SELLERS_U)


def with_length(settings: Settings, length_mm: str | float | None) -> Settings:
    """Settings with a length that was told.  Raises BadOption when it is told twice."""
    if length_mm is None:
        return settings
    if any(t.key == "length_mm" for t in settings.told):
        raise BadOption("The length is told twice, by --length-mm and by --told.", "Keep one of them.")
    return replace(settings, told=(*settings.told, length_told(str(length_mm))))


def check_photos(
    paths: Sequence[str | Path],
    sold_as: str,
    references: References,
    settings: Settings | None = None,
    length_mm: str | float | None = None,
    bait: Which = None,
) -> Check:
    """Hold the pictures of one offer against what it is sold as: "MAKER / MODEL[ / SIZE[ / COLOURWAY]]".

    `length_mm`: the body's length as the seller tells it, in mm or with its unit, with ± if known ("63+-1").  `bait`:
    the number of the bait meant, or "all" for every bait of every picture by itself; None takes the one that the
    pictures share, or the largest.  Raises BadOption for words that name nothing, listing the nearest names, and for a
    bait that no picture has.
    """
    stated = look_up(sold_as, references)
    settings = with_length(settings or Settings(), length_mm)
    return check_records([measure_picture(path, settings)[0] for path in paths], stated, references, settings, bait)


def check_records(
    records: Sequence[PhotoRecord],
    stated: Stated,
    references: References,
    settings: Settings | None = None,
    bait: Which = None,
) -> Check:
    """The same from photos that were measured with these settings."""
    settings = settings or Settings()
    most = max((len(record.baits) for record in records), default=0)
    if isinstance(bait, int) and bait > most > 0:
        has = "only one bait" if most == 1 else f"{most} baits at most"
        raise BadOption(f"There is no bait {bait}.", f"A picture here has {has}, numbered as in the output of measure.")
    ranked = tuple(rank_photo(_only(record, bait), references, LISTED) for record in records)
    ranked = tuple(replace(record, warnings=_without_unused(record, settings)) for record in ranked)
    left: list[LeftOut] = []
    if bait == "all":
        judged = [_judge_one(record, b, stated, references, settings) for record in ranked for b in record.baits]
        left = [LeftOut(r.photo, _why_nothing(r)) for r in ranked if not r.baits]
    else:
        judged, left = _judge_together(ranked, stated, references, settings)
    verdict = _together([j.verdict for j in judged])
    if verdict == "agrees" and any(one.verdict == "disagrees" for one in left):
        verdict = "cannot-tell"
    known = known_by(stated, references)
    said = [_in_words(verdict, judged), *(_beside(one) for one in left if one.verdict is not None)]
    if judged and known is not None:
        said.append(known_words(f"{stated.maker} / {stated.model}", known))
    return Check(
        photos=tuple(record.photo for record in records),
        version=__version__,
        sold_as=stated.name,
        known_by=known,
        verdict=verdict,
        text=" ".join(said),
        points=tuple(point for j in judged for point in j.points),
        better=tuple(c for j in judged for c in j.better),
        ask=tuple(dict.fromkeys(a for j in judged for a in j.ask)) if judged else ask.no_bait(),
        seen_before=(),
        baits=tuple(judged),
        left_out=tuple(left),
        warnings=references.notices + _several(ranked, judged, bait),
        photo_reports=ranked,
    )


def _only(record: PhotoRecord, bait: Which) -> PhotoRecord:
    """The record with the bait asked for alone; of a picture with one bait there is nothing to choose."""
    if not isinstance(bait, int) or len(record.baits) < 2:
        return record
    return replace(record, baits=tuple(b for b in record.baits if b.measurement.number == bait))


def _without_unused(record: PhotoRecord, settings: Settings) -> tuple[Notice, ...]:
    """What was told of the offer counts for the bait that is judged, so it was used."""
    if any(t.bait is not None for t in settings.told):
        return record.warnings
    return tuple(n for n in record.warnings if n.code != "told-unused")


def _why_nothing(record: PhotoRecord) -> str:
    return record.error.text if record.error is not None else "no bait was found in it"


def _judge_together(
    records: Sequence[PhotoRecord], stated: Stated, references: References, settings: Settings
) -> tuple[list[Judged], list[LeftOut]]:
    """All pictures as one body of evidence; the same file given twice counts once."""
    whole, records = records, tuple({r.sha256 or r.photo: r for r in reversed(records)}.values())[::-1]
    again = [LeftOut(r.photo, "it is the same file as another one") for r in whole if not any(r is k for k in records)]
    if not any(record.baits for record in records):
        return [], [*(LeftOut(record.photo, _why_nothing(record)) for record in records), *again]
    piece = join_photos(records, references, settings)
    used = [(r, s.bait) for r, s in zip(records, piece.shots, strict=True) if s.used and s.bait is not None]
    left = again
    for record, shot in zip(records, piece.shots, strict=True):
        if not shot.used:
            own = next((b for b in record.baits if b.measurement.number == shot.bait), None)
            alone = None if own is None else _judge_one(record, own, stated, references, settings).verdict
            left.append(LeftOut(shot.photo, shot.why_not or _why_nothing(record), alone))
    baits = [next(b for b in r.baits if b.measurement.number == number) for r, number in used]
    if len(baits) == 1:
        return [_judge_one(used[0][0], baits[0], stated, references, settings)], left
    return [_judged(piece, used, baits, stated, references)], left


def _judge_one(
    record: PhotoRecord, bait: Bait, stated: Stated, references: References, settings: Settings
) -> Judged:  # fmt: skip
    number = bait.measurement.number
    told = of_bait(settings.told, number, 1)
    whole = rank_bait(replace(bait, told=told or bait.told), references)
    return _verdict(whole, [bait.measurement], ((record.photo,), (number,)), stated, references)


def _judged(
    piece: PieceRecord,
    used: Sequence[tuple[PhotoRecord, int]],
    baits: Sequence[Bait],
    stated: Stated,
    references: References,
) -> Judged:
    if piece.bait is None:
        raise ValueError("photos of a piece were used and gave no bait")
    where = tuple(record.photo for record, _ in used), tuple(number for _, number in used)
    return _verdict(piece.bait, [b.measurement for b in baits], where, stated, references)


def _verdict(
    bait: Bait,
    shown: Sequence[Measurement],
    where: tuple[tuple[str, ...], tuple[int, ...]],
    stated: Stated,
    references: References,
) -> Judged:
    """`bait`: ranked, from all pictures `shown` together."""
    r = tell(read(bait.measurement), bait.told or ())
    calibrated = not any(n.code == "colour-uncorrected" for m in shown for n in m.warnings)
    w = weigh_words(r, references.prepared, stated, calibrated)
    colours = weigh_paints(r, references.prepared, stated, w.way, calibrated)
    found = points.points(w, stated, colours)
    verdict = verdict_of(w.stated)
    if verdict == "agrees" and points.contradicted(found):
        verdict = "cannot-tell"
    if colours is not None and verdict_of(colours.stated, PAINTS_DISAGREE) == "disagrees":
        verdict = "disagrees"
    hidden = all(overlaid(m) for m in shown)
    if hidden and verdict == "disagrees":
        verdict = "cannot-tell"
    asked = ask.questions(w, stated, shown, found, colours, verdict, calibrated, hidden)
    return Judged(*where, w.stated, verdict, found, _better(w, bait), asked, w.best, w.way, hidden)


def _better(w: Weighed, bait: Bait) -> tuple[Candidate, ...]:
    """Candidates of the set that fit clearly better than the words."""
    if bait.identification is None:
        return ()
    names = [
        form_name(w.p.forms[i], w.r.scaled) for i, value in w.rivals if value > CLEARLY_BETTER and value > w.unlisted
    ]
    by_name = {c.name: c for c in bait.identification.candidates}
    likely = [by_name[name] for name in names if name in by_name and by_name[name].probability > LIKELY]
    return tuple(likely[:BETTER])


def _together(verdicts: Sequence[Finding]) -> Finding:
    """Of several baits: they agree when each does, and do not when one does not."""
    if not verdicts:
        return "cannot-tell"
    if "disagrees" in verdicts:
        return "disagrees"
    return "agrees" if all(v == "agrees" for v in verdicts) else "cannot-tell"


def _several(records: Sequence[PhotoRecord], judged: Sequence[Judged], bait: Which) -> tuple[Notice, ...]:
    """Which bait was taken where a picture has several and none was named."""
    if bait is not None:
        return ()
    taken = {photo: number for j in judged for photo, number in zip(j.photos, j.numbers, strict=True)}
    return tuple(
        Notice(
            "several-baits",
            f"{PurePath(r.photo).name} has {len(r.baits)} baits; bait {taken[r.photo]} was taken. "
            "Name another with --bait N, or look at each with --bait all.",
        )
        for r in records
        if len(r.baits) > 1 and r.photo in taken
    )


def _in_words(verdict: Finding, judged: Sequence[Judged]) -> str:
    """The verdict in a sentence or two."""
    one = len({photo for j in judged for photo in j.photos}) == 1
    these, do, agree = ("This picture", "does", "agrees") if one else ("These pictures", "do", "agree")
    if not judged:
        return "Nothing in these pictures looks like a bait, so they cannot tell."
    if verdict == "agrees":
        text = f"{these} {agree} with the words."
    elif verdict == "disagrees":
        text = f"{these} {do} not agree with the words."
    else:
        text = f"{these} cannot tell whether the words hold."
    if len(judged) > 1:
        counts = Counter(j.verdict for j in judged)
        said = {"agrees": "agree", "disagrees": "do not agree", "cannot-tell": "cannot tell"}
        return f"{text} Of {len(judged)} baits, {', '.join(f'{n} {said[v]}' for v, n in counts.items())}."
    against = [p.feature for p in judged[0].points if p.finding == "disagrees"]
    unseen = [p.feature for p in judged[0].points if p.feature in STATED and p.finding == "cannot-tell"]
    if verdict == "agrees" and unseen:
        text += f" {'It' if one else 'They'} cannot tell the {' and the '.join(unseen)}."
    if judged[0].hidden:
        text += " Letters, glare or the like seem to lie over the bait, so its shape and rings are read badly."
    if verdict != "agrees" and against:
        text += f" Against them: {', '.join(against)}."
    return text


def _beside(one: LeftOut) -> str:
    """What a picture that seems to show another bait says by itself."""
    said = {"agrees": "agrees", "disagrees": "does not agree", "cannot-tell": "cannot tell"}
    does = said[one.verdict or "cannot-tell"]
    return f"{PurePath(one.photo).name} seems to show another bait, and by itself {does}."
