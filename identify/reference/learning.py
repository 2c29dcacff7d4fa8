"""Many photos into a set: measured on all cores, learned from one after the other in the order given, so that the
result does not depend on which is measured first.  Each photo counts as soon as it is written: what was interrupted
goes on where it stopped."""

from __future__ import annotations

import hashlib
import os
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from identify.errors import BaitprintError, NotLearned, PhotoMissing
from identify.records import PhotoRecord
from identify.reference.enrol import Done, Editor, Wish
from identify.reference.measuring import measure_file, start
from identify.settings import Settings

FEW = 3
"""So few photos are measured before other processes would have started."""
AHEAD = 4
"""Photos measured ahead for each process: one that takes long must not keep the others waiting."""


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
    hashed = [_hashed(wish) for wish in wishes]
    needed: dict[str, Path] = {}
    for wish, found in zip(wishes, hashed, strict=True):
        if isinstance(found, str) and not _known(editor, wish, found):
            needed.setdefault(found, wish.photo)
    workers = min(jobs or cores(), len(needed)) if len(needed) > FEW else 1
    pool = ProcessPoolExecutor(workers, get_context("spawn"), start) if workers > 1 else None
    with pool or nullcontext():
        try:
            ahead = _Ahead(pool, settings, workers * AHEAD)
            ahead.want(needed)
            for wish, found in zip(wishes, hashed, strict=True):
                try:
                    if not isinstance(found, str):
                        raise found
                    record = None if editor.knows(wish, found) else ahead.get(wish.photo, found)
                    yield Outcome(wish, editor.add(wish, record, found), None)
                except Exception as why:
                    yield Outcome(wish, None, why)
        finally:
            if pool is not None:
                pool.shutdown(wait=True, cancel_futures=True)


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
    except NotLearned:
        return True  # as something else: said when its turn comes, and not measured


class _Ahead:
    """Measures photos in other processes, a few ahead of where they are asked for."""

    def __init__(self, pool: ProcessPoolExecutor | None, settings: Settings, ahead: int) -> None:
        self.pool, self.settings, self.ahead = pool, settings, ahead
        self.rest: deque[tuple[str, Path]] = deque()
        self.running: dict[str, Future[PhotoRecord]] = {}
        self.last: tuple[str, PhotoRecord] | None = None

    def want(self, photos: Mapping[str, Path]) -> None:
        self.rest.extend(photos.items())
        self._fill()

    def _fill(self) -> None:
        while self.pool is not None and self.rest and len(self.running) < self.ahead:
            sha256, path = self.rest.popleft()
            self.running[sha256] = self.pool.submit(measure_file, str(path), self.settings)

    def get(self, path: Path, sha256: str) -> PhotoRecord:
        """The measured photo; of one with several baits the last one is kept."""
        if self.last is not None and self.last[0] == sha256:
            return self.last[1]
        if sha256 in self.running:
            record = self.running.pop(sha256).result()
            self._fill()
        else:
            record = measure_file(str(path), self.settings)
        self.last = (sha256, record)
        return record
