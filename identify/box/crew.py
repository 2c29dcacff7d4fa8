"""Worker processes, as many as are wanted, and what is to be done when one of them is lost.

Each worker is handed one photo at a time by a thread of its own, so the loss of a worker is the loss of one photo: it
is given up with an answer that says so, and a new worker takes the next.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from queue import Empty, Queue, SimpleQueue
from typing import Any

import identify
from identify.errors import WorkerLost

Json = dict[str, Any]
DOING = "doing"
"""Key of a line of a worker that is no answer yet: baits of the photo that are done, and all."""
Doing = Callable[[Json, int, int], None]
"""Is told of a task that is under way: how many baits of its photo are done, and of how many."""
LONGEST_S = 300.0
"""A photo that takes longer hangs."""
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def usual_jobs() -> int:
    """As many workers as this process may use cores."""
    try:
        return max(1, len(os.sched_getaffinity(0)))
    except AttributeError:  # Windows and macOS
        return max(1, os.cpu_count() or 1)


class Crew:
    """`jobs` workers that all work alike.  Leaving the context ends them at once, whatever they do.

    `module`: what a worker runs.
    """

    def __init__(self, jobs: int, work: Json, module: str = "identify.box.worker") -> None:
        self._work, self._module = work, module
        self._tasks: SimpleQueue[tuple[Json, Queue[tuple[Json, Json]]] | None] = SimpleQueue()
        self._stopped = threading.Event()
        self._living: dict[int, subprocess.Popen[bytes]] = {}
        self._lock = threading.Lock()
        self._threads = [threading.Thread(target=self._serve, args=(i,), daemon=True) for i in range(jobs)]
        self._jobs = jobs

    def __enter__(self) -> Crew:
        for worker in self._threads:
            worker.start()
        return self

    def __exit__(self, *why: object) -> None:
        self._stopped.set()
        with self._lock:
            for process in self._living.values():
                process.kill()
        for _ in self._threads:
            self._tasks.put(None)
        for worker in self._threads:
            worker.join(10)

    def run(self, tasks: Iterable[Json], doing: Doing | None = None) -> Iterator[tuple[Json, Json]]:
        """Each task with its answer, as they come.  No more tasks are under way than there are workers and as many
        again, so that a long list is not held twice.  `doing` is called by the thread that waits for answers."""
        answers: Queue[tuple[Json, Json]] = Queue()
        waiting = 0
        for task in tasks:
            self._tasks.put((task, answers))
            waiting += 1
            while waiting >= 2 * self._jobs:
                yield self._next(answers, doing)
                waiting -= 1
        for _ in range(waiting):
            yield self._next(answers, doing)

    def _next(self, answers: Queue[tuple[Json, Json]], doing: Doing | None) -> tuple[Json, Json]:
        while True:
            try:
                task, answer = answers.get(timeout=0.5)  # with a time limit Ctrl-C is heard on every system
            except Empty:
                if not any(worker.is_alive() for worker in self._threads):
                    raise RuntimeError("all workers are gone") from None
                continue
            if DOING not in answer:
                return task, answer
            if doing is not None:
                doing(task, *answer[DOING])

    def _serve(self, number: int) -> None:
        process: subprocess.Popen[bytes] | None = None
        while (asked := self._tasks.get()) is not None and not self._stopped.is_set():
            task, answers = asked
            if process is None:
                process = self._started(number)
            answer = None if process is None else _asked(process, task, answers)
            if answer is None:
                how = "it could not be started" if process is None else _ended(process)
                process = None
                answer = _lost(task, how)
            if not self._stopped.is_set():
                answers.put((task, answer))
        if process is not None:
            process.kill()
            _ended(process)

    def _started(self, number: int) -> subprocess.Popen[bytes] | None:
        """A new worker, apart from the terminal: Ctrl-C is for the parent alone, which ends its workers itself."""
        package = str(Path(identify.__file__).resolve().parents[1])
        path = os.pathsep.join(filter(None, (package, os.environ.get("PYTHONPATH"))))
        environment = {**os.environ, **dict.fromkeys(ONE_THREAD, "1"), "PYTHONPATH": path}
        apart: dict[str, Any] = (
            {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}  # type: ignore[attr-defined]
            if os.name == "nt"
            else {"start_new_session": True}
        )
        with self._lock:
            if self._stopped.is_set():
                return None
            try:
                process = subprocess.Popen(
                    [sys.executable, "-P", "-m", self._module],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=None if os.environ.get("BAITPRINT_DEBUG") else subprocess.DEVNULL,
                    env=environment,
                    **apart,
                )
            except OSError:
                return None
            self._living[number] = process
        _told(process, self._work)  # one that cannot be told is gone, as its first task will show
        return process


def work_json(settings: Any, refs: Iterable[str], prior: Iterable[tuple[str, float]], out: Path) -> Json:
    """What workers are told first (`worker.Work`)."""
    return {"settings": asdict(settings), "refs": list(refs), "prior": [list(p) for p in prior], "out": str(out)}


def _told(process: subprocess.Popen[bytes], value: Json) -> bool:
    """Whether a line could be handed to a worker."""
    assert process.stdin is not None
    try:
        process.stdin.write(json.dumps(value).encode() + b"\n")
        process.stdin.flush()
    except OSError:
        return False
    return True


def _asked(process: subprocess.Popen[bytes], task: Json, said: Queue[tuple[Json, Json]]) -> Json | None:
    """A worker's answer; None when it ended over it, or took too long and was ended.  What it says before it answers is
    put where answers go."""
    assert process.stdout is not None
    if not _told(process, task):
        return None
    limit = threading.Timer(LONGEST_S, process.kill)
    limit.start()
    try:
        while (raw := process.stdout.readline()).endswith(b"\n"):
            answer: Json = json.loads(raw)
            if DOING not in answer:
                return answer
            said.put((task, answer))
    except OSError:
        return None
    finally:
        limit.cancel()
    return None


def _ended(process: subprocess.Popen[bytes]) -> str:
    """How a worker ended, in words; its pipes are closed."""
    process.kill()
    code = process.wait()
    for pipe in (process.stdin, process.stdout):
        if pipe is not None:
            try:
                pipe.close()
            except OSError:  # what was still to be written cannot be any more
                continue
    return f"signal {-code}" if code < 0 else f"exit code {code}"


def _lost(task: Json, how: str) -> Json:
    from identify.answer import unreadable
    from identify.serialise import photo_json

    fault = WorkerLost(
        f"The process that measured this photo ended unexpectedly ({how}).",
        "The next sort tries it again; if it fails again, measure the photo alone and report what happens.",
    )
    return photo_json(unreadable(task["name"], fault.code, fault.message))
