"""How right ranking is, and how sure it says it is.

    python -m tests.benchmarks.rank SET                    by simulation: calibration, models left out in turn, speed
    python -m tests.benchmarks.rank SET --random 300       the same on a random set of 300 models
    python -m tests.benchmarks.rank SET --measured FILE --truth PHOTO_SET    on measured photos, noise fitted again

SET is a reference set's folder.  FILE holds one JSON line per photo (`baitprint measure --json`).
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from identify.geometry import Array
from identify.outline import STATIONS
from identify.rank import Noise, Prepared, Readings, form_priors, prepare
from identify.rank.ranking import ask
from identify.rank.simulate import GROUPS, Camera, draw, draw_from
from identify.records import NOT_COMPARABLE, Lab
from identify.reference.profile import Colourway, EyeProfile, Form, RingPlaces, ZoneColour

Truth = tuple[str, str] | None
"""Maker and model; None for a bait that the set does not have."""
OTHER: Truth = ("", NOT_COMPARABLE)
PARTS = 16
"""Simulated baits are drawn in so many parts, each with its own seed."""


@dataclass(frozen=True, eq=False)
class Scores:
    """Answers to n baits: the top answer's probability and whether it was right, the probability of none of these and
    whether that was the truth, the probability given to the truth, and seconds of processor time for each."""

    top: Array
    right: Array
    none: Array
    stranger: Array
    of_truth: Array
    seconds: float

    def calibration_error(self) -> float:
        """Expected calibration error over ten equal bins of the top answer's probability."""
        bins = np.minimum((self.top * 10).astype(int), 9)
        gaps = [abs(float((self.right - self.top)[bins == k].sum())) for k in range(10)]
        return sum(gaps) / len(self.top)

    def auroc(self) -> float:
        """Of none_of_these, strangers against listed baits (Mann and Whitney)."""
        strangers, listed = self.none[self.stranger], self.none[~self.stranger]
        return float(np.mean(strangers[:, None] > listed) + 0.5 * np.mean(strangers[:, None] == listed))

    def wrong_when_sure(self) -> float:
        sure = self.top > 0.9
        return float(1 - self.right[sure].mean()) if sure.any() else 0.0

    def log_score(self) -> float:
        return float(-np.log(np.maximum(self.of_truth, 1e-12)).mean())

    def line(self) -> str:
        listed = ~self.stranger
        auroc = f"{self.auroc():.4f}" if self.stranger.any() and listed.any() else "-"
        top1 = f"{self.right[listed].mean():.4f}" if listed.any() else "-"
        return (
            f"n {len(self.top)}  top-1 of listed {top1}  AUROC of none {auroc}  ECE {self.calibration_error():.4f}  "
            f"log score {self.log_score():.3f}  wrong when p > 0.9 {self.wrong_when_sure():.4f}  "
            f"{1000 * self.seconds:.1f} ms a bait"
        )


def score(baits: Sequence[Readings], truths: Sequence[Truth], p: Prepared) -> Scores:
    """Weigh baits against a set and compare with the truth: models are right or wrong, sizes are not looked at."""
    start = time.process_time()
    share = form_priors(p, {})
    answers: list[Truth] = [*p.models, None, OTHER]
    place = {answer: i for i, answer in enumerate(answers)}
    top, right, none, of_truth = [], [], [], []
    for r, truth in zip(baits, truths, strict=True):
        w = ask(r, p, share)[0].weighed
        by_model = np.bincount(p.model, w.probability, len(p.models))
        shares = np.append(by_model, [w.none_of_these, w.not_comparable])
        best = int(np.argmax(shares))
        top.append(float(shares[best]))
        right.append(answers[best] == truth)
        none.append(float(w.none_of_these))
        of_truth.append(float(shares[place[truth]]) if truth in place else 0.0)
    seconds = (time.process_time() - start) / max(1, len(baits))
    stranger = np.array([t is None for t in truths], bool)
    return Scores(np.array(top), np.array(right, bool), np.array(none), stranger, np.array(of_truth), seconds)


def simulated(p: Prepared, n: int, seed: int = 0) -> Scores:
    """n baits drawn from the ranking's own likelihoods, so without the temperature that real photos need; by as many
    processes as there are processors."""
    p = replace(p, noise=replace(p.noise, temperature=1.0, offset=0.0))
    parts = [(n // PARTS + (k < n % PARTS), [seed, k]) for k in range(PARTS)]
    with ProcessPoolExecutor(os.cpu_count(), initializer=_start, initargs=(p,)) as pool:
        return pooled(list(pool.map(_simulated, *zip(*parts, strict=True))))


_SET: list[Prepared] = []


def _start(p: Prepared) -> None:
    _SET[:] = [p]


def _simulated(n: int, seed: Sequence[int]) -> Scores:
    (p,) = _SET
    rng = np.random.default_rng(seed)
    drawn = [draw(rng, p) for _ in range(n)]
    truths = [None if i is None else (p.forms[i].maker, p.forms[i].model) for _, i in drawn]
    # a bait that cannot be compared may look like any that can
    other = rng.random(n) < p.noise.not_comparable
    shown = [OTHER if o else truth for o, truth in zip(other, truths, strict=True)]
    return score([r for r, _ in drawn], shown, p)


def left_out(
    forms: Sequence[Form], each: int, seed: int = 0, noise: Noise | None = None
) -> dict[tuple[str, str], Scores]:
    """For each model: `each` baits of it ranked by the set without it, beside as many of the models that stay."""
    rng = np.random.default_rng(seed)
    whole = prepare(forms, noise)
    camera = Camera()
    found = {}
    for model in whole.models:
        rest = prepare([f for f in forms if (f.maker, f.model) != model], noise)
        gone = np.flatnonzero([(f.maker, f.model) == model for f in whole.forms])
        readings, truths = [], []
        for _ in range(each):
            readings.append(draw_from(rng, whole, dict.fromkeys(GROUPS, int(rng.choice(gone))), camera))
            truths.append(None)
            i = int(rng.choice(len(rest.forms), p=rest.share))
            readings.append(draw_from(rng, rest, dict.fromkeys(GROUPS, i), camera))
            truths.append((rest.forms[i].maker, rest.forms[i].model))
        found[model] = score(readings, truths, rest)
    return found


def pooled(scores: Sequence[Scores]) -> Scores:
    arrays = [np.concatenate([getattr(s, k) for s in scores]) for k in ("top", "right", "none", "stranger", "of_truth")]
    return Scores(*arrays, float(np.mean([s.seconds for s in scores])))


# ------------------------------------------------------------------ a random set


def _lab(rng: np.random.Generator) -> Lab:
    return float(rng.uniform(15, 92)), float(rng.normal(2, 16)), float(rng.normal(12, 18))


def random_forms(n: int, seed: int = 0, sizes: int = 2) -> list[Form]:
    """A set of n models by n // 10 + 1 makers, each in some sizes, with bodies, rings and colours drawn at random."""
    rng = np.random.default_rng(seed)
    labs = [_lab(rng) for _ in range(40)]
    forms = []
    at = (1 - np.cos(np.linspace(0, np.pi, STATIONS))) / 2
    for k in range(n):
        thick = at ** rng.uniform(0.4, 1.0) * (1 - at) ** rng.uniform(0.4, 1.1)
        above = rng.uniform(0.42, 0.6)
        bend = rng.normal(0, 0.06) * np.sin(np.pi * at)
        upper, lower = above * thick / thick.max() + bend, (above - 1) * thick / thick.max() + bend
        shape = np.column_stack([np.append(at, at[-2:0:-1]), np.append(upper, lower[-2:0:-1])])
        depth = rng.uniform(0.18, 0.45)
        shape[:, 1] *= depth / np.ptp(shape[:, 1])
        ties, hangers = int(rng.choice([1, 2, 3], p=[0.6, 0.32, 0.08])), int(rng.integers(1, 4))
        back, belly = shape[:STATIONS], shape[STATIONS:]
        tie_at = back[np.sort(rng.choice(np.arange(0, 28), ties, replace=False))] + [0, 0.02]
        hang_at = belly[np.sort(rng.choice(len(belly), hangers, replace=False))][::-1] - [0, 0.02]
        chosen = rng.choice(len(labs), (int(rng.integers(5, 10)), 2))
        colourways = tuple(
            Colourway(
                f"{c}", f"colour {c}", labs[i], labs[j], finish="paint", pattern="plain" if c % 2 else "blend",
                zones=(ZoneColour("head", labs[(i + j) % 40]),) if rng.random() < 0.2 else (),
            )
            for c, (i, j) in enumerate(chosen)
        )  # fmt: skip
        lip, hooks = ("none", "metal", "plastic")[int(rng.choice(3, p=[0.7, 0.15, 0.15]))], int(rng.integers(1, 4))
        eye = np.array([rng.uniform(0.06, 0.16), rng.uniform(0.01, 0.08)])
        length = float(np.exp(rng.normal(4.1, 0.25)))
        for size in range(sizes):
            forms.append(
                Form(
                    0, f"maker {k % (n // 10 + 1)}", f"model {k}", str(size), None, None, None, length, None,
                    length * depth, None, None, None, _points(shape * length),
                    RingPlaces(ties, _points(tie_at * length)), RingPlaces(hangers, _points(hang_at * length)),
                    EyeProfile(_points([eye * length])[0], 0.06 * length, "painted"), hooks, lip,  # type: ignore[arg-type]
                    None, None, None, 1, colourways,
                )
            )  # fmt: skip
            length *= float(rng.uniform(1.15, 1.35))
    return forms


def _points(values: Array | list[Array]) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in values)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("set", type=Path)
    parser.add_argument("--random", type=int, default=0)
    parser.add_argument("--n", type=int, default=2000)
    parser.add_argument("--each", type=int, default=100)
    options = parser.parse_args()
    from identify.reference import read

    forms = random_forms(options.random) if options.random else list(read(options.set).forms())
    start = time.process_time()
    p = prepare(forms)
    print(f"{len(p.models)} models, {len(p.forms)} forms, made ready in {time.process_time() - start:.2f} s")
    print("drawn    ", simulated(p, options.n).line())
    if not options.random:
        out = left_out(forms, options.each)
        for (maker, model), scores in out.items():
            none = float(np.mean(scores.none[scores.stranger]))
            print(f"  without {maker} / {model}: AUROC {scores.auroc():.4f}, mean of none {none:.3f}")
        print("left out ", pooled(list(out.values())).line())


if __name__ == "__main__":
    main()
