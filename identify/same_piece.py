"""Several photos of one piece: each has its own record, and one more gives the joint answer."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from identify import __version__
from identify.answer import References, identify_photo, rank_bait
from identify.clash import clashes
from identify.piece import APART, Shot, against, join, settle
from identify.records import WARNINGS, Bait, Notice, PhotoRecord, PieceRecord, PieceShot
from identify.settings import Settings
from identify.told import of_bait

NO_BAIT = "no bait was found in it"
LOOKS_OTHER = "it does not seem to show the same piece"


def identify_piece(
    paths: Sequence[str | Path],
    references: References | None,
    settings: Settings | None = None,
    at_most: int | None = None,
) -> tuple[tuple[PhotoRecord, ...], PieceRecord]:
    """Read, measure and rank photos of one piece, each by itself and all together."""
    records = tuple(identify_photo(path, references, settings, at_most) for path in paths)
    return records, join_photos(records, references, settings, at_most)


def join_photos(
    records: Sequence[PhotoRecord],
    references: References | None,
    settings: Settings | None = None,
    at_most: int | None = None,
) -> PieceRecord:
    """The joint answer to measured photos of one piece.

    What was told of no bait by number holds for the piece.  A photo without a bait, and one whose bait does not look
    like the same piece, is left out: a warning names it.
    """
    settings = settings or Settings()
    chosen = _choose(records)
    shots = settle([shot for _, _, shot in chosen])
    used_refs = None if references is None else references.used
    photos = tuple(record.photo for record in records)
    seen: dict[int, PieceShot] = {}
    notices: list[Notice] = []
    bait = None
    if shots:
        together = join(shots)
        for i, (place, number, _) in enumerate(chosen):
            why = None
            if i in together.odd:
                differs = ", ".join(together.odd[i])
                why = f"{LOOKS_OTHER}: {differs} differ{'' if len(together.odd[i]) > 1 else 's'}"
                notices.append(_notice("piece-differs", f"{Path(photos[place]).name}: {differs}."))
            seen[place] = PieceShot(photos[place], number, shots[i].m.view, why is None, why)
        told = of_bait(settings.told, 1, 1)
        asked = bool(settings.told)
        found = together.measurement
        bait = Bait(found, told=told, clashes=clashes(told, found)) if asked else Bait(found)
        if references is not None:
            bait = rank_bait(bait, references, at_most)
    for place, record in enumerate(records):
        if place not in seen:
            why = NO_BAIT if record.error is None else record.error.text
            seen[place] = PieceShot(record.photo, None, None, False, why)
            notices.append(_notice("piece-unseen", f"{Path(record.photo).name}: {why}."))
    notices += references.notices if references is not None else (Notice("no-refs", WARNINGS["no-refs"]),)
    return PieceRecord(
        photos, __version__, used_refs, tuple(seen[i] for i in range(len(records))), tuple(notices), bait
    )  # fmt: skip


def _choose(records: Sequence[PhotoRecord]) -> list[tuple[int, int, Shot]]:
    """The bait of each photo that has any: its place among the photos, its number, and its shot.  Of several baits in
    one photo the one that agrees with most photos of one bait; without such photos the one with the most pixels."""
    each = {
        place: [Shot(record.photo, bait.measurement) for bait in record.baits]
        for place, record in enumerate(records)
        if record.baits
    }
    alone = [shots[0] for shots in each.values() if len(shots) == 1]

    def fitness(shot: Shot) -> tuple[int, float, float]:
        speaks = [sum(against(other, shot).values()) for other in alone]
        return sum(s > APART for s in speaks), max(speaks, default=0.0), shot.depth_px

    chosen = ((place, max(shots, key=fitness)) for place, shots in each.items())
    return [(place, shot.m.number, shot) for place, shot in chosen]


def _notice(code: str, of_what: str) -> Notice:
    return Notice(code, f"{WARNINGS[code]} {of_what}")
