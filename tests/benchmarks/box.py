"""A large box: a photo set repeated under other names with small changes, sorted, and killed at random points.

    python -m tests.benchmarks.box PHOTO_SET --photos 5000 --work DIR [--jobs N] [--kills 10] [--refs SET]

Prints how long each 1,000 photos take, then time for each photo and core (by the clock, and of processors, which other
programs disturb less), the largest memory of any one process, and whether the result after all kills is that of an
undisturbed run: the same bytes of `piles.json`, `photos.jsonl` and all small pictures.  Linux and macOS.  Run by hand:
5,000 photos take about half an hour on two cores, once more with kills.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from PIL import Image

QUALITY = 88
EACH = 1000
LOOK_S = 0.2
KB_IN_MB = 1024 * 1024 if sys.platform == "darwin" else 1024


def fill(photo_set: Path, box: Path, count: int, jobs: int) -> None:
    """`count` photos: those of the set in turn, each time a little brighter or darker, so that no two are one file."""
    sources = sorted(p for p in photo_set.rglob("*") if p.suffix.lower() in (".jpg", ".jpeg"))
    for lot in range((count - 1) // 500 + 1):
        (box / f"lot {lot}").mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(jobs) as pool:
        for _ in pool.map(partial(_put, sources, box), range(count), chunksize=16):
            continue


def _put(sources: list[Path], box: Path, i: int) -> None:
    source = sources[i % len(sources)]
    place = box / f"lot {i // 500}" / f"{i:05}-{source.name}"
    if place.exists():
        return
    with Image.open(source) as photo:
        factor = 1 - 0.002 * (i // len(sources))
        changed = photo.convert("RGB").point(lambda v: v * factor)
        changed.save(place, quality=QUALITY, exif=photo.info.get("exif", b""))


@dataclass(frozen=True)
class Run:
    """One sort: seconds by the clock and of processors, memory of the largest process in MB, whether it ended by
    itself, and when each 1,000 photos were done."""

    seconds: float
    processor_s: float
    peak_mb: float
    ended: bool
    marks: tuple[tuple[int, float], ...]


def sort(box: Path, out: Path, jobs: int, refs: Path | None, until: float | None = None) -> Run:
    """One sort; killed after `until` seconds (the workers of a killed one are not counted)."""
    command = [sys.executable, "-m", "identify", "sort", str(box), "--out", str(out), "--jobs", str(jobs), "--json"]
    command += ["--refs", str(refs)] if refs else []
    marks: list[tuple[int, float]] = []
    begun, counted = time.perf_counter(), Counted(out / "photos.jsonl")
    before = counted.now()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while True:
        ended, status, used = os.wait4(process.pid, os.WNOHANG)  # with those of all workers that it has waited for
        since = time.perf_counter() - begun
        if ended:
            process.returncode = os.waitstatus_to_exitcode(status)
            break
        if until is not None and since > until:
            process.kill()
        elif until is None and (counted.now() - before) // EACH > len(marks):
            marks.append((counted.lines, since))
            print(f"  {counted.lines} photos after {since:.0f} s", flush=True)
        time.sleep(LOOK_S)
    return Run(
        since, used.ru_utime + used.ru_stime, used.ru_maxrss / KB_IN_MB, process.returncode in (0, 1), tuple(marks)
    )


class Counted:
    """Counts the lines of a file that grows."""

    def __init__(self, path: Path) -> None:
        self._path, self._at, self.lines = path, 0, 0

    def now(self) -> int:
        """All lines by now."""
        try:
            with self._path.open("rb") as file:
                file.seek(self._at)
                new = file.read()
        except FileNotFoundError:
            return self.lines
        self._at += len(new)
        self.lines += new.count(b"\n")
        return self.lines


def digests(out: Path) -> Iterator[tuple[str, str]]:
    """What a sort has written: its files' names with the first figures of their hash, the small pictures as one."""
    for name in ("piles.json", "photos.jsonl"):
        yield name, hashlib.sha256((out / name).read_bytes()).hexdigest()[:16]
    pictures = hashlib.sha256()
    for place in sorted((out / "thumbs").iterdir()):
        pictures.update(place.name.encode() + hashlib.sha256(place.read_bytes()).digest())
    yield "small pictures", pictures.hexdigest()[:16]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--photos", type=int, default=5000)
    parser.add_argument("--work", type=Path, required=True, help="a folder for the photos and the results")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--kills", type=int, default=10)
    parser.add_argument("--refs", type=Path)
    options = parser.parse_args()
    n, jobs = options.photos, options.jobs
    box = options.work / f"box-{n}"
    begun = time.perf_counter()
    fill(options.photo_set, box, n, jobs)
    print(f"{n} photos laid out in {time.perf_counter() - begun:.0f} s", flush=True)

    calm = options.work / "calm"
    shutil.rmtree(calm, ignore_errors=True)
    run = sort(box, calm, jobs, options.refs)
    print(f"{n} photos in {run.seconds:.0f} s by {jobs}, ended {run.ended}")
    print(f"a photo and core: {run.seconds * jobs / n:.3f} s by the clock, {run.processor_s / n:.3f} s of processors")
    print(f"largest process {run.peak_mb:.0f} MB")
    if len(run.marks) > 1:
        gone = [b - a for (_, a), (_, b) in zip(((0, 0.0), *run.marks), run.marks, strict=False)]
        print(
            f"seconds for each {EACH}: {', '.join(f'{s:.0f}' for s in gone)}; {run.seconds - run.marks[-1][1]:.0f} more"
        )
    again = sort(box, calm, jobs, options.refs)
    print(f"nothing new: {again.seconds:.1f} s, largest process {again.peak_mb:.0f} MB", flush=True)

    killed = options.work / "killed"
    shutil.rmtree(killed, ignore_errors=True)
    chance = random.Random(1)
    for i in range(options.kills):
        # so that the last kills come near the end, some of them while piles are made and written
        stopped = sort(box, killed, jobs, options.refs, chance.uniform(1, max(4, 2.4 * run.seconds / options.kills)))
        done = Counted(killed / "photos.jsonl").now()
        had_ended = " (had ended)" if stopped.ended else ""
        print(f"kill {i + 1} after {stopped.seconds:.1f} s{had_ended}, {done} lines written", flush=True)
    sort(box, killed, jobs, options.refs)
    for (name, one), (_, other) in zip(digests(calm), digests(killed), strict=True):
        print(
            f"{name}: {one} undisturbed, {other} after {options.kills} kills: {'same' if one == other else 'NOT SAME'}"
        )


if __name__ == "__main__":
    main()
