"""How well the whole way does on a photo set with known truth.

    python -m tests.benchmarks PHOTO_SET [--split tune|report] [--refs SET] [--json FILE] [--pictures DIR]

PHOTO_SET holds a truth.json, or photos with a CSV of caliper readings (photo, length_mm, depth_mm, maker, model, size).
Without --refs the reference set is written from the truth's own models into a temporary folder.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from dataclasses import asdict
from pathlib import Path

from identify.reference import read
from identify.reference.profile import Form
from tests.benchmarks.collect import Result, collect, photos_of
from tests.benchmarks.figure import Figure
from tests.benchmarks.figures import Names, all_figures, answers, ranked_together
from tests.benchmarks.pictures import confusion, reliability
from tests.benchmarks.refs_from_truth import world_of, write_refs

LAST = Path(__file__).with_name("last.json")
"""The last committed figures, of the report split of the photo set named in README."""


def reference_forms(folder: Path, refs: Path | None) -> tuple[tuple[Form, ...], Names]:
    """The forms to rank, and how the truth's codes read in them."""
    if refs is not None or not (folder / "truth.json").exists():
        forms = read(refs).forms() if refs is not None else ()
        names = Names({}, {})
        if (folder / "truth.json").exists():
            world = world_of(folder)
            names = Names(world["maker_names"], world["model_names"])
        return forms, names
    world = world_of(folder)
    with tempfile.TemporaryDirectory() as scratch:
        forms = read(write_refs(world, Path(scratch) / "set")).forms()
    return forms, Names(world["maker_names"], world["model_names"])


def print_figures(groups: list[tuple[str, list[Figure]]], last: dict[str, float]) -> None:
    """A table in Markdown, with the last committed value of each figure where there is one."""
    for title, figures in groups:
        print(f"\n{title}\n\n| figure | n | measured | aim | last |\n| --- | --- | --- | --- | --- |")
        for f in figures:
            before = f"{last[f.name]:.3g}" if f.name in last else ""
            print(f"| {f.name} | {f.n} | {f} | {f.aim} | {before} |")


def print_misses(results: list[Result], names: Names) -> None:
    """Photos to look at: baits not found, lengths far off, other models named."""
    for r in results:
        for m in r.matches:
            said = []
            if m.bait is None:
                said.append(f"not found (overlap {m.overlap:.2f})")
            else:
                measured, answer = m.bait.measurement, m.bait.identification
                true = m.truth.get("feret_length_mm")
                if measured.length_mm and true and abs(measured.length_mm.value / true - 1) > 0.015:
                    said.append(f"length {measured.length_mm.value:.1f} for {true:.1f} mm")
                if measured.line_ties and "tie_count" in m.truth and measured.line_ties.count != m.truth["tie_count"]:
                    said.append(f"ties {measured.line_ties.count} for {m.truth['tie_count']}")
                if answer and m.truth.get("known") and answer.by_model:
                    best = answer.by_model[0]
                    if (best.maker, best.model) != names.of(m.truth) or answer.none_of_these > best.probability:
                        said.append(
                            f"{best.model} {best.probability:.2f}, none {answer.none_of_these:.2f}"
                            f" for {names.of(m.truth)[1]}"
                        )
            if said:
                print(f"{r.photo.truth['file']} ({m.truth.get('model')}): {'; '.join(said)}")


def main() -> None:
    parser = argparse.ArgumentParser(description="Accuracy and speed on a photo set with known truth.")
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--split", choices=["tune", "report"])
    parser.add_argument("--refs", type=Path)
    parser.add_argument("--json", type=Path, help="also write the figures to this file")
    parser.add_argument("--subset", action="append", default=[], help="only this folder of the set (repeatable)")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--pictures", type=Path, help="also draw how sure answers are, and which models are confused")
    parser.add_argument("--misses", action="store_true", help="also list the photos that went wrong")
    options = parser.parse_args()
    forms, names = reference_forms(options.photo_set, options.refs)
    chosen = photos_of(options.photo_set, options.split, tuple(options.subset))
    results = collect(chosen, forms, options.jobs)
    groups = all_figures(results, names, forms)
    last = json.loads(LAST.read_text("utf-8")) if LAST.exists() else {}
    print_figures(groups, last)
    if options.misses:
        print()
        print_misses(results, names)
    if options.pictures:
        options.pictures.mkdir(parents=True, exist_ok=True)
        given = answers(ranked_together(results), names)
        reliability([p for *_, p in given], [a == b for a, b, _ in given], options.pictures / "reliability.svg")
        confusion([a for a, *_ in given], [b for _, b, _ in given], options.pictures / "confusion.svg")
    if options.json:
        rows = {f.name: asdict(f) for _, figures in groups for f in figures}
        options.json.write_text(json.dumps(rows, indent=1), "utf-8")


if __name__ == "__main__":
    main()
