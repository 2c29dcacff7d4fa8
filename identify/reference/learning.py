"""Many photos into a set: measured on all cores, learned from one after the other in the order given, so that the
result does not depend on which is measured first.  Each photo counts as soon as it is written: what was interrupted
goes on where it stopped."""

from __future__ import annotations

import hashlib
import os
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from identify.errors import BaitprintError, NotLearned, PhotoMissing
from identify.records import PhotoRecord
from identify.reference import measuring
from identify.reference.enrol import Done, Editor, Wish
from identify.settings import Settings

FEW = 3
"""So few photos are measured before other processes would have started."""
AHEAD = 4
"""Photos measured ahead for each process: one that takes long must not keep the others waiting."""
LOOK = 64
"""Photos looked at ahead, to see which are new."""


@dataclass(frozen=True)
class Outcome:
    """What came of one wish: `done`, or why not.  A fault that nobody foresaw costs its own photo only."""

    wish: Wish
    done: Done | None
    fault: Exception | None


def cores() -> int:
    """Cores that this program may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def learn_all(editor: Editor, wishes: Sequence[Wish], settings: Settings, jobs: int | None = None) -> Iterator[Outcome]:
    """Learn from photos, an outcome for each in their order."""
    ahead = _Ahead(editor, wishes, settings, jobs or cores())
    try:
        for wish, found in ahead:
            try:
                if not isinstance(found, str):
                    raise found
                record = None if editor.knows(wish, found) else ahead.measured(wish.photo, found)
                yield Outcome(wish, editor.add(wish, record, found), None)
            except Exception as why:
                yield Outcome(wish, None, why)
    finally:
        ahead.end()


def _hashed(wish: Wish) -> str | BaitprintError:
    try:
        with wish.photo.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except FileNotFoundError:
        return PhotoMissing(f"There is no photo {wish.photo}.", "Check the name and the folder.")
    except OSError as why:
        return NotLearned(f"{wish.photo} cannot be opened: {why.strerror or why}.", "Check that it may be read.")


def _known(editor: Editor, wish: Wish, sha256: str) -> bool:
    try:
        return editor.knows(wish, sha256)
    except BaitprintError:
        return True  # as something else: said when its turn comes, and not measured


class _Ahead:
    """Looks at photos a little before their turn comes, and measures those that are new in other processes."""

    def __init__(self, editor: Editor, wishes: Sequence[Wish], settings: Settings, workers: int) -> None:
        self.editor, self.settings, self.workers = editor, settings, workers
        self.rest = iter(wishes)
        self.seen: deque[tuple[Wish, str | BaitprintError]] = deque()
        self.new: set[str] = set()
        self.waiting: dict[str, Path] = {}
        self.running: dict[str, tuple[Path, Future[PhotoRecord]]] = {}
        self.last: tuple[str, PhotoRecord] | None = None
        self.pool: ProcessPoolExecutor | None = None

    def __iter__(self) -> Iterator[tuple[Wish, str | BaitprintError]]:
        """Each wish with its photo's hash, or why there is none."""
        self._look()
        while self.seen:
            yield self.seen.popleft()
            self._look()

    def _look(self) -> None:
        while len(self.waiting) + len(self.running) < self.workers * AHEAD and len(self.seen) < LOOK:
            if (wish := next(self.rest, None)) is None:
                break
            found = _hashed(wish)
            self.seen.append((wish, found))
            if isinstance(found, str) and found not in self.new and not _known(self.editor, wish, found):
                self.new.add(found)
                self.waiting[found] = wish.photo
        if self.pool is None and self.workers > 1 and len(self.waiting) > FEW:
            self.pool = _pool(self.workers)
        while self.pool is not None and self.waiting:
            sha256, path = next(iter(self.waiting.items()))
            try:
                future = self.pool.submit(measuring.measure_file, str(path), self.settings)
            except BrokenProcessPool:
                self._begin_again()
            else:
                self.running[sha256] = (self.waiting.pop(sha256), future)

    def measured(self, path: Path, sha256: str) -> PhotoRecord:
        """The measured photo; of one with several baits the last one is kept.  Raises NotLearned if it cannot be
        measured at all."""
        if self.last is not None and self.last[0] == sha256:
            return self.last[1]
        if sha256 in self.running:
            record = self._result(path, sha256)
            self._look()
        else:
            self.waiting.pop(sha256, None)
            record = measuring.measure_file(str(path), self.settings)
        self.last = (sha256, record)
        return record

    def _result(self, path: Path, sha256: str) -> PhotoRecord:
        try:
            return self.running.pop(sha256)[1].result()
        except BrokenProcessPool:  # a process has died, maybe over another photo
            self._begin_again()
        try:
            with _pool(1) as alone:
                return alone.submit(measuring.measure_file, str(path), self.settings).result()
        except BrokenProcessPool:
            raise NotLearned(
                f"{path} cannot be measured: the program that did so was ended by the system.",
                "Is there enough memory? Save the photo smaller.",
            ) from None

    def _begin_again(self) -> None:
        """Other processes in place of those that died; what these had begun is measured again."""
        self.end()
        self.waiting = {**{sha256: path for sha256, (path, _) in self.running.items()}, **self.waiting}
        self.running.clear()
        self.pool = _pool(self.workers)

    def end(self) -> None:
        """What is not being measured yet never will be."""
        if self.pool is not None:
            self.pool.shutdown(wait=True, cancel_futures=True)


def _pool(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(workers, get_context("spawn"), measuring.start)
