"""A large box: a photo set repeated under other names with small changes, sorted, and killed at random points.

    python -m tests.benchmarks.box PHOTO_SET --photos 5000 --work DIR [--jobs N] [--kills 10] [--refs SET]

Prints time for each photo and core, the largest memory of any one process (Linux), and whether the result after all
kills is that of an undisturbed run.  Run by hand: 5,000 photos take about half an hour on two cores, once more with
kills.
"""

from __future__ import annotations

import argparse
import random
import shutil
import subprocess
import sys
import time
from pathlib import Path

from PIL import Image

QUALITY = 88


def fill(photo_set: Path, box: Path, count: int) -> None:
    """`count` photos: those of the set in turn, each time a little brighter or darker, so that no two are one file."""
    sources = sorted(p for p in photo_set.rglob("*") if p.suffix.lower() in (".jpg", ".jpeg"))
    for i in range(count):
        source = sources[i % len(sources)]
        place = box / f"lot {i // 500}" / f"{i:05}-{source.name}"
        if place.exists():
            continue
        place.parent.mkdir(parents=True, exist_ok=True)
        with Image.open(source) as photo:
            factor = 1 - 0.002 * (i // len(sources))
            changed = photo.convert("RGB").point(lambda v, f=factor: v * f)
            changed.save(place, quality=QUALITY, exif=photo.info.get("exif", b""))


def peak_mb(pid: int) -> float:
    """Largest memory that a process or one of its children has had, in MB; 0 where that cannot be told."""
    found = 0.0
    for task in [pid, *_children(pid)]:
        try:
            status = Path(f"/proc/{task}/status").read_text("utf-8")
        except OSError:
            continue
        found = max(
            [found, *(float(line.split()[1]) / 1024 for line in status.splitlines() if line.startswith("VmHWM"))]
        )
    return found


def _children(pid: int) -> list[int]:
    try:
        tasks = list(Path(f"/proc/{pid}/task").iterdir())
        return [int(c) for task in tasks for c in (task / "children").read_text("utf-8").split()]
    except OSError:
        return []


def sort(box: Path, out: Path, jobs: int, refs: Path | None, until: float | None = None) -> tuple[float, float, bool]:
    """One run; killed after `until` seconds.  Seconds it took, peak memory in MB, whether it ended by itself."""
    command = [sys.executable, "-m", "identify", "sort", str(box), "--out", str(out), "--jobs", str(jobs), "--json"]
    command += ["--refs", str(refs)] if refs else []
    begun, peak = time.perf_counter(), 0.0
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        while process.poll() is None:
            time.sleep(0.2)
            peak = max(peak, peak_mb(process.pid))
            if until is not None and time.perf_counter() - begun > until:
                process.kill()
        ended = process.returncode in (0, 1)
    return time.perf_counter() - begun, peak, ended


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--photos", type=int, default=5000)
    parser.add_argument("--work", type=Path, required=True, help="a folder for the photos and the results")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--kills", type=int, default=10)
    parser.add_argument("--refs", type=Path)
    options = parser.parse_args()
    box = options.work / f"box-{options.photos}"
    fill(options.photo_set, box, options.photos)

    calm = options.work / "calm"
    shutil.rmtree(calm, ignore_errors=True)
    seconds, peak, ended = sort(box, calm, options.jobs, options.refs)
    each = seconds * options.jobs / options.photos
    print(f"{options.photos} photos in {seconds:.0f} s by {options.jobs}: {each:.2f} s a photo and core, ended {ended}")
    print(f"largest process {peak:.0f} MB")
    again, _, _ = sort(box, calm, options.jobs, options.refs)
    print(f"nothing new: {again:.1f} s")

    killed = options.work / "killed"
    shutil.rmtree(killed, ignore_errors=True)
    chance = random.Random(1)
    for i in range(options.kills):
        took, _, ended = sort(
            box, killed, options.jobs, options.refs, chance.uniform(3, max(4, seconds / options.kills))
        )
        print(f"kill {i + 1} after {took:.0f} s{' (had ended)' if ended else ''}")
    sort(box, killed, options.jobs, options.refs)
    same = (calm / "piles.json").read_bytes() == (killed / "piles.json").read_bytes()
    print(f"after {options.kills} kills the piles are {'the same' if same else 'NOT the same'}")


if __name__ == "__main__":
    main()
