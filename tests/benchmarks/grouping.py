"""How well baits of no known maker are laid like with like: a sort with an empty reference set against the true model
and size, by the adjusted Rand index (Hubert and Arabie 1985; scikit-learn).

    python -m tests.benchmarks.grouping PHOTO_SET [--subset single] [--subset twice] [--split tune|report] [--keep FILE]

Photos with one bait count; one that was not found, or was put aside to be looked at again, is a group of its own.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2
from sklearn.metrics import adjusted_rand_score

from identify.box.notes import sheet_of
from identify.box.piles import Joint, Piles, make_piles
from identify.measure import measure_file
from identify.restore import photo_restored
from identify.serialise import dumps, photo_json
from tests.benchmarks.truth import PhotoTruth, photos


def line_of(photo: PhotoTruth) -> str:
    """The photo's line, as a sort would keep it."""
    cv2.setNumThreads(1)
    return dumps({**photo_json(measure_file(photo.path)), "photo": photo.truth["file"]})


def _never(names: Any) -> Joint:
    raise AssertionError(f"no photo of the set has a slip: {names}")


def groups(piles: Piles) -> dict[str, str]:
    """The pile of each photo; None stands for those to be looked at again."""
    return {placed.photo: pile.name for pile in piles.unknown for placed in pile.photos}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--subset", action="append", help="single and twice if not given")
    parser.add_argument("--split", choices=("tune", "report"))
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="keep the measured lines here, or take them from here")
    options = parser.parse_args()
    chosen = [
        p
        for p in photos(options.photo_set, tuple(options.subset or ("single", "twice")), options.split)
        if len(p.baits) == 1
    ]
    if options.keep and options.keep.exists():
        lines = [json.loads(line) for line in options.keep.read_text("utf-8").splitlines()]
    else:
        with ProcessPoolExecutor(options.jobs) as pool:
            texts = list(pool.map(line_of, chosen, chunksize=4))
        if options.keep:
            options.keep.write_text("\n".join(texts) + "\n", "utf-8")
        lines = [json.loads(text) for text in texts]
    piles = make_piles([sheet_of(line, photo_restored(line)) for line in lines], _never)
    placed = groups(piles)
    names = [p.truth["file"] for p in chosen]
    found = [placed.get(name, f"alone: {name}") for name in names]
    true = [f"{p.baits[0]['model']} {p.baits[0]['size_index']}" for p in chosen]
    grouped = [i for i, name in enumerate(names) if name in placed]
    print(f"photos {len(names)}, grouped {len(grouped)}, to look at again {len(names) - len(grouped)}")
    print(f"true kinds {len(set(true))}, piles {len(piles.unknown)}")
    print(f"adjusted Rand index, all photos: {adjusted_rand_score(true, found):.3f}")
    some = adjusted_rand_score([true[i] for i in grouped], [found[i] for i in grouped])
    print(f"adjusted Rand index, grouped ones: {some:.3f}")
    for name, kinds in (
        (n, Counter(t for t, f in zip(true, found, strict=True) if f == n)) for n in dict.fromkeys(found)
    ):
        if len(kinds) > 1:
            print(f"  mixed: {name}: {', '.join(f'{k} ×{n}' for k, n in kinds.most_common())}")


if __name__ == "__main__":
    main()
