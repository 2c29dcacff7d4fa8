"""How well a reference set learned with `refs add` ranks, beside one that holds the truth.

    python -m tests.benchmarks.learned PHOTO_SET [--jobs N] [--keep DIR]

One enrolment photo for each model and size makes the first set; the "tune" singles and twice of listed models are added
as further pieces for the second.  All are asked about the "report" singles, twice and pieces.  A photo that `refs add`
refuses stays out, as it would for a collector who has no better one.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2

from identify.errors import BaitprintError
from identify.measure import measure_file
from identify.rank import prepare, rank
from identify.records import PhotoRecord
from identify.reference import read, write
from identify.reference.enrol import Editor, Wish
from identify.reference.pieces import Facts
from tests.benchmarks.collect import match
from tests.benchmarks.figures import Names
from tests.benchmarks.refs_from_truth import world_of, write_refs
from tests.benchmarks.stats import auroc, wilson
from tests.benchmarks.truth import PhotoTruth, photos

ASKED = ("single", "twice", "pieces")
FURTHER = ("single", "twice")


def _measure(path: str) -> PhotoRecord:
    cv2.setNumThreads(1)
    return measure_file(path)


def measured(chosen: Sequence[PhotoTruth], jobs: int) -> list[PhotoRecord]:
    """All photos measured, in their order."""
    paths = [str(p.path) for p in chosen]
    if jobs == 1:
        return [_measure(path) for path in paths]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(_measure, paths, chunksize=2))


def wish_for(photo: PhotoTruth, names: Names, world: dict[str, Any]) -> Wish:
    """What a collector would tell of a photo: maker, model, size, colourway, and which piece it is."""
    true = photo.baits[0]
    maker, model = names.of(true)
    code = true["colourway"] if true.get("listed", True) else None
    name = world.get("colour_names", {}).get(code)
    piece = f"{photo.subset}-{true['piece']}" if true.get("piece") is not None else None
    size = str(1 + int(true["size_index"]))
    return Wish(photo.path, maker, model, Facts(size=size, colourway=code, name=name), piece)


def enrol(
    editor: Editor, chosen: Iterable[tuple[PhotoTruth, PhotoRecord]], names: Names, world: dict[str, Any]
) -> list[str]:
    """Learn from photos; says what was refused."""
    refused = []
    for photo, record in chosen:
        try:
            editor.add(wish_for(photo, names, world), record, record.sha256 or "")
        except BaitprintError as why:
            refused.append(f"{photo.truth['file']}: {why}")
    return refused


@dataclass(frozen=True)
class Score:
    """Whether each listed bait's model came first, and none_of_these of listed and unlisted ones."""

    right: dict[str, bool]
    listed: list[float]
    strangers: list[float]

    def line(self) -> str:
        n, hits = len(self.right), sum(self.right.values())
        low, high = wilson(hits, n)
        curve = auroc(self.strangers, self.listed) if self.strangers else float("nan")
        return f"model first {hits} of {n} ({100 * low:.0f} to {100 * high:.0f} %), AUROC of none {curve:.3f}"


def score(folder: Path, asked: Sequence[tuple[PhotoTruth, PhotoRecord]], names: Names) -> Score:
    """Rank all photos against one set; a bait that was not found is wrong whatever the set."""
    prepared = prepare(read(folder).forms())
    right: dict[str, bool] = {}
    listed, strangers = [], []
    for photo, record in asked:
        for m in match(photo, record)[0]:
            answer = rank(m.bait.measurement, prepared) if m.bait is not None else None
            if not m.truth["known"]:
                strangers += [answer.none_of_these] if answer is not None else []
                continue
            best = answer.by_model[0] if answer is not None and answer.by_model else None
            beaten = answer is None or best is None or answer.none_of_these > best.probability
            right[photo.truth["file"]] = (
                not beaten and best is not None and (best.maker, best.model) == names.of(m.truth)
            )
            listed += [answer.none_of_these] if answer is not None else []
    return Score(right, listed, strangers)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="write the learned sets here")
    options = parser.parse_args()
    world = world_of(options.photo_set)
    names = Names(world["maker_names"], world["model_names"])
    first = photos(options.photo_set, ("enrol",))
    further = [p for p in photos(options.photo_set, FURTHER, "tune") if p.baits[0]["known"]]
    asked = photos(options.photo_set, ASKED, "report")
    every = [*first, *further, *asked]
    records = dict(zip((p.truth["file"] for p in every), measured(every, options.jobs), strict=True))

    def with_records(chosen: Sequence[PhotoTruth]) -> list[tuple[PhotoTruth, PhotoRecord]]:
        return [(p, records[p.truth["file"]]) for p in chosen]

    with tempfile.TemporaryDirectory() as scratch:
        base = options.keep or Path(scratch)
        truth = score(write_refs(world, base / "truth"), with_records(asked), names)
        print(f"truth: {truth.line()}")
        for called, more in (("one enrolment photo a size", []), ("and tune pieces", further)):
            folder = base / called.replace(" ", "-")
            write.put(folder / "set.toml", write.set_toml({"title": called}))
            refused = enrol(Editor(folder), with_records([*first, *more]), names, world)
            learned = score(folder, with_records(asked), names)
            lost = sorted(f for f, right in truth.right.items() if right and not learned.right[f])
            won = sorted(f for f, right in truth.right.items() if not right and learned.right[f])
            print(f"{called}: {learned.line()}; {len(lost)} lost, {len(won)} won; {len(refused)} photos refused")
            for file in lost:
                print(f"    lost {file}")
            for text in refused:
                print(f"    refused {text}")


if __name__ == "__main__":
    main()
