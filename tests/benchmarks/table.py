"""What `refs add --table` costs beside measuring the same photos alone, in as many processes.

    python -m tests.benchmarks.table PHOTO_SET [--photos 100] [--jobs 2] [--rounds 3]

The photos are a set's enrolment photos, then its singles and twice of listed models, with what a collector would tell
of each.  Each round measures them and then adds them to a new set, in programs of their own, so that whatever else the
machine does meanwhile meets both.  Seconds are those of the clock, and of the processors in all processes together.
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


def timed(command: Sequence[str]) -> tuple[float, float]:
    """Seconds of the clock and of the processors that a program takes with the processes it starts."""
    before, start = os.times(), time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    clock, after = time.perf_counter() - start, os.times()
    if done.returncode not in (0, 1):  # 1: some photos were refused
        raise SystemExit(f"{' '.join(command)} ended with {done.returncode}: {done.stderr}")
    used = after.children_user + after.children_system - before.children_user - before.children_system
    return clock, used


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--photos", type=int, default=100)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args()
    wishes = wishes_of(options.photo_set, options.photos)
    found = []
    with tempfile.TemporaryDirectory() as scratch:
        table, jobs = Path(scratch) / "table.csv", str(options.jobs)
        write_table(wishes, table)
        for k in range(options.rounds):
            folder = Path(scratch) / f"set-{k}"
            write.put(folder / "set.toml", write.set_toml({"title": "Table"}))
            alone = timed([sys.executable, "-m", "tests.benchmarks.measure_alone", str(table), jobs])
            added = timed(
                [sys.executable, "-m", "identify", "refs", "add", str(folder), "--table", str(table), "--jobs", jobs]
            )
            found.append((*alone, *added))
            _say(f"round {k + 1}", found[-1:])
    print(f"{len(wishes)} photos, {options.jobs} processes, medians of {options.rounds}:")
    _say("all", found)


def _say(what: str, found: Sequence[Sequence[float]]) -> None:
    clock, used, added, added_used = np.median(found, axis=0)
    ratios = np.array(found)
    by_clock, by_use = np.median(ratios[:, 2] / ratios[:, 0]), np.median(ratios[:, 3] / ratios[:, 1])
    print(
        f"{what}: measured alone in {clock:.1f} s (processors {used:.1f} s), added in {added:.1f} s "
        f"({added_used:.1f} s): {by_clock:.2f} times the clock, {by_use:.2f} times the processors",
        flush=True,
    )


if __name__ == "__main__":
    main()
