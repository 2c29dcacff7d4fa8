"""The main job for one photo: measured, then held against reference sets."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from identify import __version__, kept, reference
from identify.measure import measure_file
from identify.rank import Prepared, form_priors, prepare, rank
from identify.records import WARNINGS, Bait, Failure, Notice, PhotoRecord, RefsUsed
from identify.reference import Form, ReferenceSet
from identify.reference.bulk import all_kept
from identify.reference.hashing import set_digest
from identify.reference.journal import settle
from identify.settings import Settings

NAMED = 3
"""So many models are named in a warning."""


@dataclass(frozen=True, eq=False)
class References:
    """One or more reference sets made ready to be asked, once for many baits."""

    sets: tuple[ReferenceSet, ...]
    prepared: Prepared
    notices: tuple[Notice, ...]
    prior: tuple[tuple[str, float], ...] = ()
    """Weights of makers, 1 for those not named: of the sets, or set for this run."""

    def weighing(self, prior: Mapping[str, float]) -> References:
        """The same with makers weighed so; the sets' own weights hold for those not named.  Raises BadOption."""
        weights = dict(self.prior) | dict(prior)
        form_priors(self.prepared, weights)
        return replace(self, prior=tuple(sorted(weights.items())))

    @property
    def used(self) -> tuple[RefsUsed, ...]:
        return tuple(RefsUsed(s.title, s.sha256) for s in self.sets)

    def form(self, maker: str, model: str, size: str | None, variant: str | None) -> Form | None:
        """What the sets say of a candidate; of a maker and model alone, their first form."""
        for form in self.prepared.forms:
            if (form.maker, form.model) == (maker, model) and (
                size is None or (form.size, form.variant) == (size, variant)
            ):
                return form
        return None


def read_sets(
    folders: Iterable[str | Path], progress: Callable[[str, int, int], None] | None = None
) -> References:  # fmt: skip
    """Read reference sets, to be asked in this order: of the same maker and model in two sets, the first set's counts.

    Large sets are kept ready for the next time, outside their folders (`kept`).  `progress` is told the set and how
    many of how many files are done.  Raises SetMissing and SetFaulty.
    """
    places = [Path(folder) for folder in folders]
    sets, prepared = _kept(places) or _read(places, progress)
    notices = []
    if twice := _twice(sets):
        more = f" and {len(twice) - NAMED} more" if len(twice) > NAMED else ""
        text = f"{WARNINGS['same-model-twice']} This concerns {'; '.join(twice[:NAMED])}{more}."
        notices.append(Notice("same-model-twice", text))
    if not prepared.forms:
        notices.append(Notice("refs-empty", WARNINGS["refs-empty"]))
    weights = {maker: weight for one in reversed(sets) for maker, weight in one.prior if maker in prepared.makers}
    return References(sets, prepared, tuple(notices), tuple(sorted(weights.items())))


def _kept(places: list[Path]) -> tuple[tuple[ReferenceSet, ...], Prepared] | None:
    """Sets that were kept ready; None unless all of them are there as they lie in their folders now."""
    if not kept.cache_dir().is_dir() or not all(place.is_dir() for place in places):
        return None
    for place in places:
        settle(place)
    hashes = [set_digest(place) for place in places]
    found = kept.load([h for h in hashes if h is not None]) if None not in hashes else None
    if found is None:
        return None
    prepared, told = found
    try:
        return tuple(kept.kept_set(place, i, told[i]) for i, place in enumerate(places)), prepared
    except (KeyError, IndexError, TypeError, ValueError):
        return None


def _read(
    places: list[Path], progress: Callable[[str, int, int], None] | None
) -> tuple[tuple[ReferenceSet, ...], Prepared]:
    def told(place: Path) -> Callable[[int, int], None] | None:
        return None if progress is None else lambda done, of: progress(place.name, done, of)

    with all_kept():
        sets = tuple(reference.read(place, index, told(place)) for index, place in enumerate(places))
        prepared = prepare([form for one in sets for form in one.forms()])
        kept.save([one.sha256 for one in sets], prepared, kept.about(sets))
    return sets, prepared


def _twice(sets: tuple[ReferenceSet, ...]) -> list[str]:
    seen: set[str] = set()
    found = []
    for one in sets:
        names = set(one.names)
        found += sorted(names & seen)
        seen |= names
    return found


def rank_photo(record: PhotoRecord, references: References | None, at_most: int | None = None) -> PhotoRecord:
    """A measured photo with each bait ranked.

    `at_most`: so many candidates are listed, all when None; probabilities are over all of them either way.  Without
    references nothing is ranked and a warning says so.
    """
    if references is None:
        notice = Notice("no-refs", WARNINGS["no-refs"])
        return replace(record, warnings=(*record.warnings, notice)) if record.error is None else record
    baits = tuple(rank_bait(bait, references, at_most) for bait in record.baits)
    notices = references.notices if record.error is None else ()
    return replace(record, refs=references.used, baits=baits, warnings=(*record.warnings, *notices))


def rank_bait(bait: Bait, references: References, at_most: int | None = None) -> Bait:
    """One measured bait ranked."""
    forms = references.prepared
    measurement = bait.measurement
    told = bait.told or ()
    sized = measurement.length_mm is not None or any(t.key in ("length_mm", "depth_mm") for t in told)
    if not sized and forms.forms:
        notice = Notice("size-open", WARNINGS["size-open"])
        measurement = replace(measurement, warnings=(*measurement.warnings, notice))
    listed = max(1, len(forms.forms)) if at_most is None else at_most
    answer = rank(measurement, forms, dict(references.prior), listed, told, explain=True)
    if answer.ageing is None and answer.colourway_new is not None:
        notice = Notice("ageing-open", WARNINGS["ageing-open"])
        measurement = replace(measurement, warnings=(*measurement.warnings, notice))
    return replace(bait, measurement=measurement, identification=answer)


def identify_photo(
    path: str | Path, references: References | None, settings: Settings | None = None, at_most: int | None = None
) -> PhotoRecord:
    """Read, measure and rank one photo.  A photo that cannot be read gives a record whose `error` says why."""
    return rank_photo(measure_file(path, settings), references, at_most)


def unreadable(path: str | Path, code: str, text: str) -> PhotoRecord:
    """The record of a photo that nothing could be done with."""
    return PhotoRecord(
        str(path), None, None, None, __version__, None, None, None, None, (), Failure(code, text), (), ()
    )
