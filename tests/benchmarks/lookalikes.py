"""Holds what `refs lookalikes` predicts against drawn photos of the pairs that are confused most.

    python -m tests.benchmarks.lookalikes SET [--photos fair] [--pairs 5] [--scenes 200] [--jobs N] [--json FILE]

SET is a reference set's folder.  Half of a pair's scenes show a true piece of the one form and half one of the other,
by what ranking assumes of pieces (`tests/scenes/made.py`), photographed by the quick drawer.  Each is measured as any
photo and counts as confused where ranking's likelihoods speak for the other form; without a card, which the
prediction takes to be found, it does not count.  FILE keeps a line for each scene done: a run that was stopped goes on
from there, and one with more scenes adds to it.  Prediction and observation agree where they are within a factor of 1.5
or the prediction lies in the 95 % (Wilson) interval of what was observed.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from identify.measure import measure
from identify.rank import Prepared, prepare
from identify.rank.lookalikes import CAMERAS, Lookalikes, log_ratio, lookalikes
from identify.rank.readings import read as readings
from identify.rank.simulate import Camera
from identify.reference import read
from identify.report.alike import full_name
from tests.benchmarks.stats import wilson
from tests.scenes.drawer import draw
from tests.scenes.made import any_piece, shot_of

FACTOR = 1.5
Row = dict[str, Any]


@lru_cache(maxsize=1)
def _prepared(folder: str) -> Prepared:
    return prepare(read(Path(folder)).forms())


def scene(task: tuple[str, str, int, int, int]) -> Row:
    """Draw, measure and weigh scene `number` of the pair (two indices of the set's forms); even numbers show the
    first."""
    folder, photos, one, other, number = task
    cv2.setNumThreads(1)
    p = _prepared(folder)
    names = [full_name(p.forms[i]) for i in (one, other)]
    text = f"{photos}|{names[0]}|{names[1]}|{number}".encode()
    rng = np.random.default_rng(int.from_bytes(hashlib.sha256(text).digest()[:8], "big"))
    own, foreign = (one, other) if number % 2 == 0 else (other, one)
    drawn = draw(any_piece(rng, p, own), shot_of(rng, photos))
    row: Row = {"photos": photos, "pair": names, "scene": number}
    record = measure(drawn.photo)
    found = [b.measurement for b in record.baits]
    if len(found) != 1:
        return {**row, "found": False}
    m = found[0]
    ratio, features = log_ratio(readings(m), p)
    tells = {name: float(values[own] - values[foreign]) for name, values in features.items()}
    long = m.length_mm
    return {
        **row,
        "found": True,
        "ratio": float(ratio[own] - ratio[foreign]),
        "tells": {name: round(value, 3) for name, value in tells.items() if abs(value) > 0.05},
        "u_length": None if long is None else long.u / long.value,
        "u_aspect": m.depth_to_length.u / m.depth_to_length.value,
        "length_off": None if long is None else long.value / drawn.piece.length_mm - 1,
        "aspect_off": m.depth_to_length.value * drawn.piece.length_mm / drawn.piece.depth_mm - 1,
        "u_lch": None if m.back_colour is None else list(m.back_colour.u_lch),
        "depth_px": drawn.px_per_mm * drawn.piece.depth_mm,
        "ties": [len(drawn.ties_px), None if m.line_ties is None else m.line_ties.count],
    }


def rows_of(done: Sequence[Row], photos: str, names: Sequence[str], scenes: int) -> list[Row]:
    """The lines of one pair, the first `scenes` of them."""
    return [r for r in done if r["photos"] == photos and r["pair"] == list(names) and r["scene"] < scenes]


def scaled(rows: Sequence[Row]) -> list[Row]:
    """Those whose bait and card were found."""
    return [r for r in rows if r["found"] and r["u_length"] is not None]


def verdict(predicted: float, rows: Sequence[Row]) -> str:
    """What was observed beside what was predicted."""
    found = scaled(rows)
    wrong, n = sum(r["ratio"] < 0 for r in found), len(found)
    low, high = wilson(wrong, n)
    own = float(np.mean([1 / (1 + np.exp(min(abs(r["ratio"]), 500))) for r in found])) if found else float("nan")
    share = wrong / n if n else float("nan")
    agrees = low <= predicted <= high or (share > 0 and 1 / FACTOR <= predicted / share <= FACTOR)
    return (
        f"predicted {100 * predicted:.1f} %, observed {wrong} of {n}: {100 * share:.1f} % ({100 * low:.1f} to "
        f"{100 * high:.1f}), by their own odds {100 * own:.1f} %: {'agrees' if agrees else 'DISAGREES'}"
    )


def stated(rows: Sequence[Row], photos: str) -> Camera:
    """A camera as good as the photos' readings say in the middle."""
    found = [r for r in scaled(rows) if r["u_lch"]]
    u_lch = np.median([r["u_lch"] for r in found], axis=0)
    u_length, u_aspect, depth_px = (
        float(np.median([r[k] for r in found])) for k in ("u_length", "u_aspect", "depth_px")
    )
    lch = (float(u_lch[0]), float(u_lch[1]), float(u_lch[2]))
    return replace(CAMERAS[photos], u_length=u_length, u_aspect=u_aspect, u_lch=lch, depth_px=depth_px)


def noise_line(rows: Sequence[Row]) -> str:
    """The medians of what the photos' readings state, beside how far they were off."""
    found = scaled(rows)

    def middle(values: Iterator[float]) -> float:
        return float(np.median(list(values)))

    return (
        f"photos as drawn: u of length {100 * middle(r['u_length'] for r in found):.2f} %, of depth to length "
        f"{100 * middle(r['u_aspect'] for r in found):.2f} %, of colours "
        f"{middle(float(np.mean(r['u_lch'])) for r in found if r['u_lch']):.1f}, depth "
        f"{middle(r['depth_px'] for r in found):.0f} px; off by (root mean square of the middle 95 %) "
        f"{100 * _spread([r['length_off'] for r in found]):.2f} % and "
        f"{100 * _spread([r['aspect_off'] for r in found]):.2f} %; "
        f"ties misread {sum(r['ties'][0] != r['ties'][1] for r in found)} of {len(found)}; "
        f"not one bait {sum(not r['found'] for r in rows)} of {len(rows)}, no card "
        f"{sum(r['found'] for r in rows) - len(found)}"
    )


def _spread(off: Sequence[float]) -> float:
    size = np.sort(np.abs(off))[: max(1, int(0.95 * len(off)))]
    return float(np.sqrt(np.mean(size**2)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("set", type=Path)
    parser.add_argument("--photos", choices=list(CAMERAS), default="fair")
    parser.add_argument("--pairs", type=int, default=5)
    parser.add_argument("--scenes", type=int, default=200, help="for each pair")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--json", type=Path, help="keep a line for each scene here, and go on from it")
    options = parser.parse_args()
    p = _prepared(str(options.set))
    pairs = worst(p, options.photos, options.pairs)
    kept: Path | None = options.json
    done = [json.loads(line) for line in kept.read_text("utf-8").splitlines()] if kept and kept.exists() else []
    known = {(r["photos"], *r["pair"], r["scene"]) for r in done}
    tasks = [
        (str(options.set), options.photos, pair.one, pair.other, k)
        for k in range(options.scenes)
        for pair in pairs
        if (options.photos, *(full_name(p.forms[i]) for i in (pair.one, pair.other)), k) not in known
    ]
    for row in _done(tasks, options.jobs):
        done.append(row)
        if kept is not None:
            with kept.open("a", encoding="utf-8") as lines:
                lines.write(json.dumps(row) + "\n")
    named = [(pair, [full_name(p.forms[i]) for i in (pair.one, pair.other)]) for pair in pairs]
    every = [row for _, names in named for row in rows_of(done, options.photos, names, options.scenes)]
    as_stated = lookalikes(p, {"own": stated(every, options.photos)})
    own = {(pair.one, pair.other): pair.confused["own"] for pair in as_stated}
    for pair, names in named:
        rows = rows_of(done, options.photos, names, options.scenes)
        print(f"{names[0]} and {names[1]}: {verdict(pair.confused[options.photos], rows)}")
        print(f"    at the noise that these photos state: {verdict(own.get((pair.one, pair.other), 0.0), rows)}")
    print(noise_line(every))


def worst(p: Prepared, photos: str, pairs: int) -> list[Lookalikes]:
    """The pairs that such photos confuse most, as `refs lookalikes` finds them."""
    return sorted(lookalikes(p), key=lambda pair: -pair.confused[photos])[:pairs]


def _done(tasks: Sequence[tuple[str, str, int, int, int]], jobs: int) -> Iterator[Row]:
    if jobs == 1:
        yield from map(scene, tasks)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(scene, tasks, chunksize=4)


if __name__ == "__main__":
    main()
