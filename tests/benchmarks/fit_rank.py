"""Fits ranking's noise figures and its calibration on measured photos with known truth.

    python -m tests.benchmarks.fit_rank PHOTO_SET SET [--keep FILE]

Uses the split "tune" of single, twice and pieces, and the photos to learn from (enrol), known models only, less
pieces that lost a tie. Prints what the figures of identify.rank.noise would be; a person takes them over.
Temperature, offset and how often bodies are misread are fitted on each bait ranked twice: by the whole set, and by
the set without its model, where none of these is the truth. Models whose look-alike stays in the set are not left
out: no photo could tell that they are missing. FILE keeps the measured records between runs.
"""

from __future__ import annotations

import argparse
import pickle
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

from identify.geometry import Array
from identify.measure import measure_file
from identify.outline import TURNED
from identify.rank import Noise, Prepared, Readings, prepare, read
from identify.rank import likelihood as lik
from identify.reference import read as read_set
from identify.reference.profile import Form
from tests.benchmarks.collect import match
from tests.benchmarks.open_set import one_of_a_kind
from tests.benchmarks.rank import Scores, Truth, pooled, score
from tests.benchmarks.truth import photos, world


@dataclass(frozen=True, eq=False)
class Known:
    """Readings of one bait, and the index of its form in the prepared set."""

    name: str
    readings: Readings
    form: int


def known_baits(folder: Path, p: Prepared, keep: Path | None, only_kept: bool = False) -> list[Known]:
    """Measure the tune split, or take what is kept, and find each bait's form."""
    records: dict[str, Any] = pickle.loads(keep.read_bytes()) if keep and keep.exists() else {}
    about = world(folder)
    forms = {(f.maker, f.model, f.size): i for i, f in enumerate(p.forms)}
    found = []
    for photo in [*photos(folder, ("single", "twice", "pieces"), "tune"), *photos(folder, ("enrol",), None)]:
        if only_kept and photo.truth["file"] not in records:
            continue
        name = photo.truth["file"]
        if name not in records:
            records[name] = measure_file(photo.path)
        for m in match(photo, records[name])[0]:
            if m.bait is None or not m.truth["known"] or m.truth["ties_lost"]:
                continue
            maker, model = about["maker_names"][m.truth["maker"]], about["model_names"][m.truth["model"]]
            form = forms[maker, model, str(m.truth["size_index"] + 1)]
            found.append(Known(name, read(m.bait.measurement), form))
    if keep:
        keep.write_bytes(pickle.dumps(records))
    return found


def robust_sd(values: Array) -> tuple[float, float]:
    """Standard deviation from the median of absolute values, and the share beyond four of them."""
    sd = float(np.median(np.abs(values)) / 0.6745)
    return sd, float(np.mean(np.abs(values) > 4 * sd))


def residuals(baits: Sequence[Known], p: Prepared) -> dict[str, Array]:
    """What was read less what the form says: outlines as descriptors, sizes in units of u, places in mm."""
    found: dict[str, list[Any]] = defaultdict(list)
    for bait in baits:
        r, i = bait.readings, bait.form
        found["ways"].append(r.p_nose * r.p_back)
        way = 0
        if r.outline is not None:
            gaps = TURNED * r.outline - p.axes.vectors @ p.outline[i]
            way = int(np.argmin(np.square(gaps).sum(1)))
            found["turned"].append(way)
            found["outline"].append(gaps[way])
        for name, q, at, tolerance in (
            ("length", r.length_mm, p.ln_length[i], p.length_tolerance[i]),
            ("aspect", r.aspect, p.ln_aspect[i], p.aspect_tolerance[i]),
        ):
            if q is not None:
                gap = np.log(q.value) - at
                found[f"{name} gap"].append(gap)
                found[f"{name} z"].append(gap / np.hypot(q.u / q.value, tolerance))
        mm = float(p.length_mm[i])
        for name, places, rings in (("tie", r.tie_places, p.ties), ("hanger", r.hanger_places, p.hangers)):
            if places is not None and rings.placed[i]:
                at = rings.places[i, : rings.placed[i]]
                gap = np.linalg.norm(lik.turn_places(places)[way][:, None] - at, axis=-1) * mm
                found[f"{name} place"].extend(gap.min(1))
        if r.eye_place is not None and p.eye[i] == 1:
            gap = np.linalg.norm(lik.turn_places(r.eye_place)[way, 0] - p.eye_place[i]) * mm
            found["eye place"].append(gap)
            if r.eye_diameter_mm is not None:
                found["eye diameter"].append(r.eye_diameter_mm.value - p.eye_diameter_mm[i])
        if r.tie_counts is not None:
            found["tie count p"].append(r.tie_counts[min(int(p.ties.count[i]), 5)])
        if r.hangers is not None:
            found["hangers off"].append(r.hangers - int(p.hangers.count[i]))
        if r.hooks is not None:
            found["hooks off"].append(r.hooks - int(p.hooks[i]))
        if r.lip is not None:
            found["lip of one" if p.lip[i] else "lip of none"].append(r.lip)
    return {k: np.array(v) for k, v in found.items()}


def report(found: dict[str, Array]) -> None:
    np.set_printoptions(precision=4, suppress=True, linewidth=140)
    n = len(found["ways"])
    turned = found["turned"]
    print(f"{n} baits; turned round: {np.bincount(turned, minlength=4)}, believed {1 - found['ways'].mean():.3f} wrong")
    rows = [robust_sd(column) for column in found["outline"].T]
    print("outline_sd", np.array([r[0] for r in rows]), "beyond four", np.array([r[1] for r in rows]))
    for name in ("length z", "length gap", "aspect z", "aspect gap", "eye diameter"):
        sd, beyond = robust_sd(found[name])
        print(f"{name}: median {np.median(found[name]):.4f}, robust sd {sd:.4f}, beyond four {beyond:.3f}, n {n}")
    for name in ("tie place", "hanger place", "eye place"):
        gap = found[name]
        # of a two-dimensional normal the median distance is 1.177 sd
        print(f"{name}: sd {np.median(gap) / 1.1774:.3f} mm, beyond 3 mm {np.mean(gap > 3):.3f}, n {len(gap)}")
    p = found["tie count p"]
    print(f"tie count: right {np.mean(p > 0.5):.3f}, given less than 2 % {np.mean(p < 0.02):.3f}")
    for name in ("hangers off", "hooks off"):
        values, counts = np.unique(found[name], return_counts=True)
        print(name, dict(zip(values.tolist(), (counts / counts.sum()).round(3).tolist(), strict=True)))
    print("lip: seen of one", np.mean(found["lip of one"] > 0.5), "of none", np.mean(found["lip of none"] > 0.5))
    print("     p of one", np.sort(found["lip of one"]).round(2))


def both_ways(
    baits: Sequence[Known], forms: Sequence[Form], p: Prepared, noise: Noise, alone: set[tuple[str, str]]
) -> Scores:
    """Each bait ranked by the whole set and, if its model is one of `alone`, by the set without it."""
    by_model: dict[tuple[str, str], list[Readings]] = defaultdict(list)
    for b in baits:
        by_model[p.forms[b.form].maker, p.forms[b.form].model].append(b.readings)
    parts = []
    for model, readings in by_model.items():
        truths: list[Truth] = [model] * len(readings)
        parts.append(score(readings, truths, replace(p, noise=noise)))
        if model in alone:
            rest = prepare([f for f in forms if (f.maker, f.model) != model], noise)
            parts.append(score(readings, [None] * len(readings), rest))
    return pooled(parts)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("set", type=Path)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--only-kept", action="store_true")
    options = parser.parse_args()
    forms = read_set(options.set).forms()
    p = prepare(forms)
    baits = known_baits(options.photo_set, p, options.keep, options.only_kept)
    report(residuals(baits, p))
    alone = one_of_a_kind(forms)
    best = None
    for temperature, offset, rarer in product((0.8, 0.9, 1.0, 1.1, 1.25, 1.5, 2.0), (-1.0, 0.0, 1.0), (0.3, 1.0)):
        misread = tuple(replace(m, chance=m.chance * rarer) for m in p.noise.misread_bodies)
        noise = replace(p.noise, temperature=temperature, offset=offset, misread_bodies=misread)
        scores = both_ways(baits, forms, p, noise, alone)
        if best is None or scores.log_score() < best:
            best = scores.log_score()
        print(f"temperature {temperature}, offset {offset}, bodies misread x {rarer}: {scores.line()}")
    print(f"best log score {best:.4f}")


if __name__ == "__main__":
    main()
