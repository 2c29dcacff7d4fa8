"""What `refs add --table` costs beside measuring the same photos alone, in as many processes.

    python -m tests.benchmarks.table PHOTO_SET [--photos 100] [--jobs 2] [--rounds 3] [--together]

The photos are a set's enrolment photos, then its singles and twice of listed models, with what a collector would tell
of each.  Each round measures them and then adds them to a new set, in programs of their own.  Seconds are those of the
clock, and of the processors in all processes together.  Where other programs use the machine, --together runs both side
by side, so that whatever slows the one slows the other: only the processors' seconds can be compared then.  Linux and
macOS.
"""

from __future__ import annotations

import argparse
import csv
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from identify.reference import write
from identify.reference.enrol import Wish
from tests.benchmarks.figures import Names
from tests.benchmarks.learned import FURTHER, wish_for
from tests.benchmarks.refs_from_truth import world_of
from tests.benchmarks.truth import photos

COLUMNS = ("photo", "maker", "model", "size", "colourway", "name", "piece")


def wishes_of(photo_set: Path, number: int) -> list[Wish]:
    """So many photos of a set, each with what it shows."""
    world = world_of(photo_set)
    names = Names(world["maker_names"], world["model_names"])
    chosen = [*photos(photo_set, ("enrol",)), *(p for p in photos(photo_set, FURTHER) if p.baits[0]["known"])]
    return [wish_for(photo, names, world) for photo in chosen[:number]]


def write_table(wishes: Sequence[Wish], path: Path) -> None:
    """The table that tells `refs add` of them."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(COLUMNS)
        for wish in wishes:
            facts = wish.facts
            told = (wish.maker, wish.model, facts.size, facts.colourway, facts.name, wish.piece)
            rows.writerow([wish.photo.resolve(), *(value or "" for value in told)])


class Running:
    """A program, and what it takes with the processes that it starts."""

    def __init__(self, log: Path, *arguments: str) -> None:
        self.log, self.began = log, time.perf_counter()
        with log.open("wb") as said:
            self.process = subprocess.Popen([sys.executable, "-m", *arguments], stdout=said, stderr=said)

    def ended(self) -> tuple[float, float]:
        """Seconds of the clock and of the processors, when it has ended."""
        _, status, use = os.wait4(self.process.pid, 0)
        clock = time.perf_counter() - self.began
        self.process.returncode = os.waitstatus_to_exitcode(status)
        if self.process.returncode not in (0, 1):  # 1: some photos were refused
            raise SystemExit(self.log.read_text("utf-8"))
        return clock, use.ru_utime + use.ru_stime


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--photos", type=int, default=100)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--together", action="store_true", help="side by side, on a machine that others use too")
    options = parser.parse_args()
    wishes = wishes_of(options.photo_set, options.photos)
    found = []
    with tempfile.TemporaryDirectory() as scratch:
        table, jobs = Path(scratch) / "table.csv", str(options.jobs)
        write_table(wishes, table)
        for k in range(options.rounds):
            folder = Path(scratch) / f"set-{k}"
            write.put(folder / "set.toml", write.set_toml({"title": "Table"}))
            log, added_log = Path(scratch) / "alone.txt", Path(scratch) / "added.txt"
            add = (added_log, "identify", "refs", "add", str(folder), "--table", str(table), "--jobs", jobs)
            first = Running(log, "tests.benchmarks.measure_alone", str(table), jobs)
            second = Running(*add) if options.together else None
            alone = first.ended()
            added = (second or Running(*add)).ended()
            found.append((*alone, *added))
            _say(f"round {k + 1}", found[-1:], options.together)
    print(f"{len(wishes)} photos, {options.jobs} processes, medians of {options.rounds}:")
    _say("all", found, options.together)


def _say(what: str, found: Sequence[Sequence[float]], together: bool) -> None:
    clock, used, added, added_used = np.median(found, axis=0)
    ratios = np.array(found)
    by_clock, by_use = np.median(ratios[:, 2] / ratios[:, 0]), np.median(ratios[:, 3] / ratios[:, 1])
    print(f"{what}: processors {used:.1f} s to measure, {added_used:.1f} s to add: {by_use:.2f} times", end="")
    print("" if together else f"; clock {clock:.1f} s and {added:.1f} s: {by_clock:.2f} times", flush=True)


if __name__ == "__main__":
    main()
