"""Watching the folder that a phone copies into: each photo is placed within seconds of its arrival.

The folder is looked at again and again, which works on network drives too.  A file is taken for whole when its size
and time have not changed for a while; one that goes on growing later is measured again.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from identify.box.group import PRIOR, likeness, moulds
from identify.box.notes import Note
from identify.box.piles import Piles, make_piles
from identify.box.sort import Json, Sorter
from identify.box.walk import Found

EVERY_S = 0.4
"""Between two looks at the folder."""
SETTLED_S = 0.8
"""A file that has not changed for so long is whole."""
QUIET_S = 1.5
"""After so long without a new photo the piles are made anew and written."""
NEW_PILE = "a pile of its own"


@dataclass(frozen=True)
class Arrival:
    """One bait of a photo that has just come in.  `pile` None: look at it again, or it could not be measured;
    `look`: what a person should look at, the most important first."""

    photo: str
    bait: int | None
    piece: str | None
    pile: str | None
    probability: float | None
    look: tuple[str, ...]


Show = Callable[[Sequence[Arrival]], None]
"""Is told of all baits of a photo that has just come in; of one entry that says why when there is none."""
UnderWay = Mapping[str, tuple[int, int]]
"""Photos that have been seen and are not placed yet: how many of its baits are measured, of how many (0 of 0 while that
is not known)."""


class Watcher:
    """Looks at one folder through a `Sorter`; `look` is called again and again."""

    def __init__(
        self,
        sorter: Sorter,
        show: Show,
        clock: Callable[[], float] = time.monotonic,
        under_way: Callable[[UnderWay], None] = lambda photos: None,
    ):
        self._sorter, self._show, self._clock, self._tell = sorter, show, clock, under_way
        self._under_way: dict[str, tuple[int, int]] = {}
        self._seen: dict[str, tuple[Found, float]] = {}
        self._piles = Piles((), (), (), (), ())
        self._changed_at: float | None = None

    def start(self) -> None:
        """Take the piles as they are, and have the workers ready."""
        self._sorter.warm_up()
        self._write()

    def look(self) -> None:
        """Look once: measure and show what has arrived, and write the piles when it is quiet."""
        now = self._clock()
        before = {p.name for p in self._sorter.photos}
        walked = self._sorter.look()
        if before - {p.name for p in walked.photos}:
            self._changed_at = now
        new = [photo for photo in walked.photos if not self._sorter.known(photo)]
        self._seen = {p.name: self._since(p, now) for p in new}
        whole = [p for p in new if p.size and now - self._seen[p.name][1] >= SETTLED_S]
        self._is_under_way({name: self._under_way.get(name, (0, 0)) for name in self._seen})
        for step in self._sorter.do(whole, self._doing):
            self._is_under_way({name: done for name, done in self._under_way.items() if name != step.photo})
            self._show(self._arrivals(step.photo, step.line))
        if whole:
            self._changed_at = self._clock()
        elif not new and self._changed_at is not None and now - self._changed_at >= QUIET_S:
            self._write()

    def stop(self) -> None:
        """Write what is not yet written."""
        if self._changed_at is not None:
            self._write()

    def _doing(self, photo: str, done: int, of: int) -> None:
        self._is_under_way({**self._under_way, photo: (done, of)})

    def _is_under_way(self, photos: dict[str, tuple[int, int]]) -> None:
        if photos != self._under_way:
            self._under_way = photos
            self._tell(photos)

    def _since(self, photo: Found, now: float) -> tuple[Found, float]:
        seen = self._seen.get(photo.name)
        return seen if seen is not None and seen[0] == photo else (photo, now)

    def _write(self) -> None:
        self._piles = self._sorter.finish()
        self._sorter.index(self._piles)
        self._changed_at = None

    def _arrivals(self, photo: str, line: Json) -> list[Arrival]:
        if line["error"] is not None:
            return [Arrival(photo, None, None, None, None, (line["error"]["text"],))]
        sheet = self._sorter.sheet(photo)
        kin = [s for s in self._sorter.sheets() if s.slip is not None and s.slip == sheet.slip and s.photo != photo]
        placed = make_piles([sheet, *kin], self._sorter.join)
        look = [w["text"] for w in line["warnings"] if w["code"] not in ("no-refs", "several-baits", "no-bait")]
        out = []
        for pile in placed.piles:
            out += [
                Arrival(photo, p.bait, p.piece, pile.name, p.probability, tuple(look))
                for p in pile.photos
                if p.photo == photo
            ]
        for pile in placed.unknown:
            for p in pile.photos:
                if p.photo == photo:
                    note = next((n for n in sheet.notes if n.bait == p.bait), None)
                    name = NEW_PILE if note is None else self._nearest(note)
                    out.append(Arrival(photo, p.bait, p.piece, name, p.probability, tuple(look)))
        for again in placed.look_again:
            if again.photo == photo:
                out.append(Arrival(photo, again.bait, again.piece, None, None, (again.reason, *again.settle, *look)))
        return sorted(out, key=lambda a: a.bait or 0)

    def _nearest(self, note: Note) -> str:
        """The pile of unknown baits that a new one fits to, as the piles were when last made."""
        members = [
            (pile.name, other)
            for pile in self._piles.unknown
            for p in pile.photos
            if p.photo != note.photo and (other := self._note(p.photo, p.bait)) is not None
        ]
        if not members:
            return NEW_PILE
        like = likeness(moulds([note.readings, *(other.readings for _, other in members)]), slice(0, 1))[0, 1:]
        names = np.array([name for name, _ in members])
        fit = {name: float(like[names == name].mean()) for name in dict.fromkeys(names.tolist())}
        best = max(fit, key=lambda name: fit[name])
        return best if fit[best] > -PRIOR else NEW_PILE

    def _note(self, photo: str, bait: int | None) -> Note | None:
        if photo not in self._sorter.journal.entries:
            return None
        return next((n for n in self._sorter.sheet(photo).notes if n.bait == bait), None)


def watch(
    sorter: Sorter,
    show: Show,
    until: Callable[[], bool] = lambda: False,
    sleep: Callable[[float], None] = time.sleep,
    under_way: Callable[[UnderWay], None] = lambda photos: None,
) -> None:
    """Watch until `until` says so, or a KeyboardInterrupt, which is passed on when the piles are written.  `under_way`
    is told at once of each photo that arrives, and how far its measuring is."""
    watcher = Watcher(sorter, show, under_way=under_way)
    watcher.start()
    try:
        while not until():
            watcher.look()
            sleep(EVERY_S)
    finally:
        watcher.stop()
