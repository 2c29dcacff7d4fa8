"""A process that measures and ranks photos, one at a time, as it is asked over a pipe.

    python -m identify.box.worker

Its standard input gives one JSON object a line: first how to work (`Work`), then tasks; each is answered with one line
on its standard output, and of a photo of several baits lines before it say how many are done.  When its input ends it
ends at once, whatever it does: it does not outlive the one that asked.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import cv2
import numpy as np

from identify.answer import References, rank_photo, read_sets, unreadable
from identify.box.crew import DOING
from identify.box.thumbs import keep_thumbs
from identify.errors import INTERNAL, PhotoError, internal
from identify.measure import Progress, measure
from identify.photo import Photo, read
from identify.restore import photo_restored, restored
from identify.serialise import photo_json
from identify.settings import Settings

Json = dict[str, Any]
LISTED = 5
"""So many candidates are kept of each bait."""
FIGURES = 10


@dataclass(frozen=True)
class Work:
    """How all photos of one run are handled.  `out`: the folder that small pictures are written below."""

    settings: Settings
    refs: tuple[str, ...]
    prior: tuple[tuple[str, float], ...]
    out: str


@dataclass(frozen=True)
class Task:
    """One photo: a file to measure and rank, or a line to rank anew.  `name` is what the line calls it."""

    name: str
    path: str | None
    line: Json | None = None
    warm_up: bool = False
    """Only load what the first photo would have to wait for."""


class Worker:
    """What a worker process does with its tasks; reference sets are read once."""

    def __init__(self, work: Work) -> None:
        self._work = work
        self._references: References | None = read_sets(work.refs).weighing(dict(work.prior)) if work.refs else None

    def do(self, task: Task, progress: Progress | None = None) -> Json:
        """The photo's line.  A photo that cannot be used, or a fault of ours, gives a line that says so."""
        if task.warm_up:
            measure(_drawn(), self._work.settings)
            return {}
        try:
            measured = task.line if task.line is not None else self._measured(task, progress)
            return self._ranked(measured)
        except PhotoError as fault:
            failed = unreadable(task.name, fault.code, fault.message)
        except Exception as fault:
            failed = unreadable(task.name, INTERNAL, internal(fault))
        return photo_json(failed)

    def _measured(self, task: Task, progress: Progress | None) -> Json:
        photo = read(task.path or task.name, self._work.settings)
        record = measure(photo, self._work.settings, progress)
        keep_thumbs(Path(self._work.out), photo, record)
        return {**photo_json(record, ranked=False), "photo": task.name}

    def _ranked(self, measured: Json) -> Json:
        """Ranked from the line, not from what was measured just now: so a line ranked anew comes out the same."""
        line: Json = steady(photo_json(rank_photo(photo_restored(measured), self._references, LISTED)))
        return line


def steady(value: Any) -> Any:
    """JSON with all numbers to so many figures as come out the same at every run: sums of many products differ in
    their last bits with where numpy's arrays happen to lie in memory."""
    if isinstance(value, float):
        return float(f"{value:.{FIGURES}g}")
    if isinstance(value, dict):
        return {key: steady(v) for key, v in value.items()}
    return [steady(v) for v in value] if isinstance(value, list) else value


def _drawn() -> Photo:
    """A dark shape on a pale ground."""
    pixels = np.full((300, 400, 3), 190, np.uint8)
    cv2.ellipse(pixels, (200, 150), (90, 30), 0, 0, 360, (60, 50, 40), -1)
    return Photo("", "", pixels, None)


def main() -> None:
    """Answer tasks until the input ends."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # what a library prints must not stand among the answers
    cv2.setNumThreads(1)
    asked: SimpleQueue[bytes] = SimpleQueue()
    threading.Thread(target=_listen, args=(asked,), daemon=True).start()
    worker = Worker(restored(Work, json.loads(asked.get())))

    def say(value: Json) -> None:
        answers.write(json.dumps(value).encode() + b"\n")
        answers.flush()

    while True:
        told = json.loads(asked.get())
        say(worker.do(Task(**told), lambda done, of: say({DOING: [done, of]}) if of > 1 else None))


def _listen(asked: SimpleQueue[bytes]) -> None:
    for line in sys.stdin.buffer:
        asked.put(line)
    os._exit(0)  # whoever asked is gone, and so is the need for what is being done


if __name__ == "__main__":
    main()
