"""How long a large reference set takes: read for the first time, from what was kept of it, and asked of one bait.

    python -m tests.benchmarks.big_set [--models 5000] [--sizes 1] [--set FOLDER] [--keep FOLDER]

The set is invented (`random_forms`) and written to a temporary folder, or to the one named by --keep; --set names one
that is there.  Times are of the processor, with one thread, the least of several where a thing is done several times:
other programs on the machine only add to them.
"""

from __future__ import annotations

import argparse
import gc
import os
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from identify.answer import References, read_sets
from identify.kept import store
from identify.rank import colourways, rank_readings
from identify.rank.simulate import draw
from identify.records import Polygon
from identify.reference import write
from identify.reference.profile import Colourway, Form, RingPlaces
from tests.benchmarks.rank import random_forms

T = TypeVar("T")
ROUNDS = 5
"""So many times each bait is ranked."""
BAITS = 20


def write_set(forms: Sequence[Form], folder: Path) -> Path:
    """Write forms as a reference set; those of one model stand together, its sizes from small to large."""
    write.put(folder / "set.toml", write.set_toml({"title": "An invented set"}))
    for (maker, model), same in groupby(forms, key=lambda f: (f.maker, f.model)):
        sizes = list(same)
        first = sizes[0]
        path = folder / write.model_path(maker, model)
        values = {
            "maker": maker, "model": model, "view": "side", "known_by": "collectors", "parts": first.parts,
            "hooks": first.hooks, "lip": first.lip, "size": [_size(form) for form in sizes],
            "colourway": [_colourway(c) for c in first.colourways],
        }  # fmt: skip
        write.put(path, write.model_toml(values))
        if first.outline_mm is not None:
            write.put(path.with_suffix(".svg"), _svg(first.outline_mm))
    return folder


def _svg(outline_mm: Polygon) -> str:
    """As drawn by hand with many points; `write.outline_svg` fits curves, which takes its time."""
    (x0, y0), (x1, y1) = np.min(outline_mm, axis=0), np.max(outline_mm, axis=0)
    points = " L ".join(f"{x:.3f} {-y:.3f}" for x, y in outline_mm)
    box = f"{x0 - 2:.1f} {-y1 - 2:.1f} {x1 - x0 + 4:.1f} {y1 - y0 + 4:.1f}"
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}"><path id="outline" d="M {points} Z"/></svg>\n'


def _rings(rings: RingPlaces | None) -> dict[str, Any] | None:
    return None if rings is None else {"count": rings.count, "at_mm": rings.at_mm}


def _size(form: Form) -> dict[str, Any]:
    eye = None if form.eye is None else {"at_mm": form.eye.at_mm, "diameter_mm": form.eye.diameter_mm}
    return {
        "code": form.size, "length_mm": form.length_mm, "depth_mm": form.depth_mm,
        "line_ties": _rings(form.line_ties), "hangers": _rings(form.hangers), "eye": eye,
    }  # fmt: skip


def _colourway(c: Colourway) -> dict[str, Any]:
    return {
        "code": c.code, "name": c.name, "back_lab": c.back_lab, "belly_lab": c.belly_lab, "pattern": c.pattern,
        "finish": c.finish, "zones": [{"kind": z.kind, "lab": z.lab} for z in c.zones] or None,
    }  # fmt: skip


def timed(do: Callable[[], T]) -> tuple[float, T]:
    """Seconds of processor time, and what came of it."""
    start = time.process_time()
    found = do()
    return time.process_time() - start, found


def ranking_times(references: References, explain: bool) -> list[float]:
    """Seconds that each of some baits drawn from the set takes, the least of several times."""
    p, rng = references.prepared, np.random.default_rng(1)
    baits = [draw(rng, p)[0] for _ in range(BAITS)]
    # a photo leaves some doubt: look-alikes in question are what takes long
    baits[::2] = [replace(r, outline=None, body_doubtful=True) for r in baits[::2]]
    rank_readings(baits[0], p, explain=explain)
    times = []
    for _ in range(ROUNDS):
        row = []
        for r in baits:
            colourways._quadratics.cache_clear()  # what is kept of one bait's colours is of no use to another
            row.append(timed(lambda r=r: rank_readings(r, p, explain=explain))[0])  # type: ignore[misc]
        times.append(row)
    return [float(v) for v in np.min(times, axis=0)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--models", type=int, default=5000)
    parser.add_argument("--sizes", type=int, default=1)
    parser.add_argument("--set", type=Path)
    parser.add_argument("--keep", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        os.environ[store.VARIABLE] = str(Path(scratch) / "cache")
        folder = options.set or options.keep or Path(scratch) / "set"
        if not (folder / "set.toml").exists():
            write_set(random_forms(options.models, sizes=options.sizes), folder)
        first, references = timed(lambda: read_sets([folder]))
        p = references.prepared
        print(f"{len(p.models)} models, {len(p.forms)} forms, {len(p.palette.colourways)} colourways")
        print(f"read for the first time, kept for the next: {first:.1f} s")
        del references, p  # another run would begin without
        gc.collect()
        again, references = timed(lambda: read_sets([folder]))
        print(f"the next time: {again:.2f} s")
        for explain in (False, True):
            times = 1000 * np.array(ranking_times(references, explain))
            what = "ranked, with what would change the answer" if explain else "ranked"
            print(f"{what}: median {np.median(times):.1f} ms a bait, most {times.max():.1f} ms")


if __name__ == "__main__":
    main()
