"""Sorting a folder of photos into piles: what is new is measured, the rest is known from the journal."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from identify import __version__
from identify.answer import References, read_sets
from identify.box.crew import Crew, usual_jobs, work_json
from identify.box.journal import STATE, Entry, Journal, stated
from identify.box.lock import WHO, locked
from identify.box.notes import Sheet, answer_found, sheet_of
from identify.box.piles import Joint, NotMeasured, Piles, make_piles
from identify.box.thumbs import FOLDER as THUMBS
from identify.box.thumbs import OURS, thumbs_of
from identify.box.walk import Found, Walked, walk
from identify.box.write import dumped, seen_from, write_index
from identify.errors import INTERNAL, BadOption, FolderUnreadable, PhotoMissing, WorkerLost
from identify.files import made, put_text
from identify.rank import read
from identify.restore import photo_restored
from identify.same_piece import join_photos
from identify.settings import Settings

Json = dict[str, Any]
JOURNAL, PILES = "photos.jsonl", "piles.json"
Doing = Callable[[str, int, int], None]
"""Is told of a photo that is being measured: how many of its baits are done, and of how many."""
AGAIN = (WorkerLost.code, INTERNAL)
"""Photos that ended so are tried again by the next sort."""


@dataclass(frozen=True)
class Step:
    """How far a sort has come: photos done of those to be done, and the one just done with its line."""

    done: int
    total: int
    photo: str
    line: Json


class Sorter:
    """One folder being sorted into another; a context that holds the lock, the journal and the workers.

    Raises BadOption for folders that cannot be, SetMissing, SetFaulty, CannotWrite and OutputInUse.
    """

    def __init__(
        self,
        folder: str | Path,
        out: str | Path,
        refs: Sequence[str | Path] = (),
        settings: Settings | None = None,
        jobs: int | None = None,
        prior: Mapping[str, float] | None = None,
    ) -> None:
        self.folder, self.out = Path(folder), Path(out)
        if not self.folder.is_dir():
            raise BadOption(f"There is no folder {folder}.", "Name the folder that holds the photos.")
        if self.out.exists() and self.out.resolve() == self.folder.resolve():
            raise BadOption("--out is the folder of the photos itself.", "Choose another folder, or one in it.")
        self.jobs = usual_jobs() if jobs is None else jobs
        if not 1 <= self.jobs <= 256:
            raise BadOption(f"--jobs {jobs} cannot be.", "Give 1 or more, about as many as the computer has cores.")
        self.settings = settings or Settings()
        self.refs = tuple(str(Path(r).resolve()) for r in refs)
        self.references: References | None = read_sets(self.refs) if self.refs else None
        if self.references is not None and prior:
            self.references = self.references.weighing(prior)
        self._measured_by = _fingerprint(__version__, asdict(self.settings))
        self._ranked_by = _fingerprint(
            __version__, [r.sha256 for r in self.references.used] if self.references else None
        )
        self._stack = ExitStack()
        self._crew: Crew | None = None
        self._sheets: dict[str, tuple[object, Sheet]] = {}
        self._joints: dict[object, Joint] = {}
        self._walked = Walked((), ())

    def __enter__(self) -> Sorter:
        with ExitStack() as stack:
            made(self.out)
            stack.enter_context(locked(self.out))
            _tidy(self.out)
            self.journal = stack.enter_context(Journal(self.out / JOURNAL))
            self._stack = stack.pop_all()
        return self

    def __exit__(self, *why: object) -> None:
        self._stack.close()

    def update(self) -> Iterator[Step]:
        """Look at the folder and do what is to be done, photo by photo; each is kept before it is given out."""
        walked = self.look()
        yield from self.do(walked.photos)

    def look(self) -> Walked:
        """Look at the folder: from now on piles are made of the photos that are in it."""
        self._walked = walk(self.folder, self.out)
        return self._walked

    def do(self, photos: Sequence[Found], doing: Doing | None = None) -> Iterator[Step]:
        """Measure and rank what is to be done of these photos of the folder; `doing` is told of each photo of several
        baits, by name, how many of them are done."""
        at = {photo.name: photo for photo in photos}
        tasks = self._tasks(photos)
        if not tasks:
            return

        def tell(task: Json, baits: int, of: int) -> None:
            if doing is not None:
                doing(task["name"], baits, of)

        for done, (task, line) in enumerate(self._workers().run(tasks, tell), 1):
            photo = at[task["name"]]
            if line["error"] is None or line["error"]["code"] != PhotoMissing.code:  # it went away meanwhile
                line = stated(line, photo, self._measured_by, self._ranked_by)
                self.journal.add(line)
            yield Step(done, len(tasks), photo.name, line)

    @property
    def photos(self) -> tuple[Found, ...]:
        """The photos of the folder when it was last looked at."""
        return self._walked.photos

    def known(self, photo: Found) -> bool:
        """Whether this very state of a photo's file has been measured."""
        entry = self.journal.entries.get(photo.name)
        return entry is not None and (entry.size, entry.mtime_ns) == (photo.size, photo.mtime_ns)

    def finish(self) -> Piles:
        """The piles as they are now, written."""
        self.journal.settle([photo.name for photo in self._walked.photos if photo.name in self.journal.entries])
        self._drop_thumbs()
        piles = self.piles()
        put_text(self.out / PILES, dumped(piles, seen_from(self.out, self.folder)))
        return piles

    def _drop_thumbs(self) -> None:
        """Remove small pictures of photos that are no longer there."""
        kept = {t for e in self.journal.entries.values() if e.sha256 for t in thumbs_of(e.sha256, e.baits)}
        for place in (self.out / THUMBS).glob("*.jpg"):
            if OURS.fullmatch(place.name) and f"{THUMBS}/{place.name}" not in kept:
                place.unlink(missing_ok=True)

    def index(self, piles: Piles, units: str = "mm") -> Path:
        """Write the index of these piles; returns its path."""
        used = self.references.used if self.references is not None else ()
        return write_index(self.out, self.folder, piles, self.hashes(), used, "inch" if units == "inch" else "mm")

    def hashes(self) -> dict[str, str | None]:
        """Photos by name, and the hash of each file."""
        return {name: entry.sha256 for name, entry in self.journal.entries.items()}

    def piles(self) -> Piles:
        """The piles as they are now."""
        found = make_piles(self.sheets(), self.join)
        closed = tuple(
            NotMeasured(name, FolderUnreadable.code, f"This folder cannot be looked into: {why}.")
            for name, why in self._walked.closed
        )
        return Piles(found.piles, found.look_again, found.unknown, found.unread_slips, closed + found.not_measured)

    # ------------------------------------------------------------------ what is to be done

    def _tasks(self, photos: Sequence[Found]) -> list[Json]:
        """Photos to measure, and lines to rank anew.  What was only moved, copied or touched is known by its hash."""
        by_size: dict[int, list[str]] = {}
        for name, known in self.journal.entries.items():
            by_size.setdefault(known.size, []).append(name)
        tasks: list[Json] = []
        for photo in photos:
            entry: Entry | None = self.journal.entries.get(photo.name)
            if not self.known(photo):
                entry = self._same(photo, by_size.get(photo.size, []))
            if entry is None or not self._holds(entry):
                tasks.append({"name": photo.name, "path": str(self.folder / photo.name)})
            elif entry.ranked_by != self._ranked_by:
                tasks.append({"name": photo.name, "path": None, "line": self.journal.line(photo.name)})
        return tasks

    def _holds(self, entry: Entry) -> bool:
        """Whether what was measured still counts."""
        if entry.error in AGAIN or entry.measured_by != self._measured_by:
            return False
        return entry.sha256 is None or all((self.out / t).exists() for t in thumbs_of(entry.sha256, entry.baits))

    def _same(self, photo: Found, names: Sequence[str]) -> Entry | None:
        """The entry of a photo that is the same file as another that was measured, now under its own name."""
        known = [name for name in names if self.journal.entries[name].sha256 is not None]
        if not known:
            return None
        try:
            sha256 = _hash(self.folder / photo.name)
        except OSError:
            return None  # reading it will say why
        for name in known:
            entry = self.journal.entries[name]
            if entry.sha256 == sha256 and self._holds(entry):
                line = self.journal.line(name)
                self.journal.add(stated(line, photo, entry.measured_by, entry.ranked_by))
                return self.journal.entries[photo.name]
        return None

    def warm_up(self) -> None:
        """Have all workers load what they need, so that the next photo is done at once."""
        for _ in self._workers().run([{"name": "", "path": None, "warm_up": True}] * self.jobs):
            continue

    def _workers(self) -> Crew:
        if self._crew is None:
            prior = self.references.prior if self.references is not None else ()
            work = work_json(self.settings, self.refs, prior, self.out.resolve())
            self._crew = self._stack.enter_context(Crew(self.jobs, work))
        return self._crew

    # ------------------------------------------------------------------ what was found

    def sheets(self) -> list[Sheet]:
        """What matters of every photo that is in the folder and has been measured."""
        return [self.sheet(p.name) for p in self._walked.photos if p.name in self.journal.entries]

    def sheet(self, name: str) -> Sheet:
        """What matters of a photo that has been measured."""
        entry = self.journal.entries[name]
        key = entry.sha256, entry.measured_by, entry.ranked_by, entry.mtime_ns, entry.error
        known = self._sheets.get(name)
        if known is None or known[0] != key:
            line = self.journal.line(name)
            known = key, sheet_of(line, photo_restored(line))
            self._sheets[name] = known
        return known[1]

    def join(self, photos: Sequence[str]) -> Joint:
        """What photos of one piece say together."""
        key = tuple((name, self.journal.entries[name].sha256) for name in photos)
        if key not in self._joints:
            records = [photo_restored(line) for line in self.journal.lines(photos)]
            piece = join_photos(records, self.references, self.settings)
            assert piece.bait is not None, "each of these photos shows a bait"
            answer = None if piece.bait.identification is None else answer_found(piece.bait.identification)
            odd = {shot.photo: shot.why_not for shot in piece.shots if shot.why_not is not None}
            self._joints[key] = Joint(answer, read(piece.bait.measurement), odd)
        return self._joints[key]


def sort_folder(
    folder: str | Path,
    out: str | Path,
    refs: Sequence[str | Path] = (),
    settings: Settings | None = None,
    jobs: int | None = None,
    prior: Mapping[str, float] | None = None,
    progress: Callable[[Step], None] | None = None,
) -> Piles:
    """Sort a folder of photos into piles: measured by `jobs` processes (one for each core if None), ranked by the
    reference sets in the folders `refs` (`prior`: weights of makers), like laid with like where none is known.

    Writes `piles.json`, `index.html` with small pictures and `photos.jsonl` to `out`; photos themselves are only read.
    After a stop at any point the next call goes on from there.  `progress` is told of each photo done.
    Raises BadOption, SetMissing, SetFaulty, CannotWrite, OutputInUse.
    """
    with Sorter(folder, out, refs, settings, jobs, prior) as sorter:
        for step in sorter.update():
            if progress is not None:
                progress(step)
        piles = sorter.finish()
        sorter.index(piles)
    return piles


def _tidy(out: Path) -> None:
    """Remove what a kill left half written: files put aside under names of ours."""
    left = [p for name in (JOURNAL, PILES, "index.html", "labels.pdf", WHO) for p in out.glob(f".{name}.*.part")]
    for place in (*left, *(out / THUMBS).glob(".*.jpg.*.part")):
        place.unlink(missing_ok=True)


def _fingerprint(*what: object) -> str:
    return hashlib.sha256(json.dumps(what, sort_keys=True).encode()).hexdigest()[:16]


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


__all__ = ["STATE", "Sorter", "Step", "sort_folder"]
