"""The figures that README gives, computed from results: each with its n, and shares with their Wilson interval."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from identify.colour import delta_e
from identify.records import NONE_OF_THESE, NOT_COMPARABLE, Identification, Measurement
from identify.reference.profile import Form
from tests.benchmarks.collect import Match, Result
from tests.benchmarks.colours import colour_figures
from tests.benchmarks.figure import Figure, middle, share
from tests.benchmarks.hardware import truth_of
from tests.benchmarks.open_set import left_out_figures, new_colour_figures, settled_figures
from tests.benchmarks.stats import auroc, calibration_error
from tests.benchmarks.together import together_figures
from tests.benchmarks.truth import world

ORDINARY = ("single", "twice", "pieces")
EYE_FAR = 0.2


def _baits(results: Iterable[Result], subsets: tuple[str, ...]) -> list[Match]:
    return [m for r in results if r.photo.subset in subsets for m in r.matches]


def _lost(m: Match) -> bool:
    return bool(m.truth.get("ties_lost"))


def _measured(m: Match) -> Measurement | None:
    return m.bait.measurement if m.bait else None


def _identified(m: Match) -> Identification | None:
    return m.bait.identification if m.bait else None


def _px_per_mm(m: Match) -> float:
    return float(m.truth["length_px"]) / float(m.truth["length_mm"]) if "length_px" in m.truth else math.nan


# ------------------------------------------------------------------ card and finding
def card_figures(results: list[Result]) -> list[Figure]:
    """Cards found where they are, and found where there is none."""
    with_card = [r for r in results if r.photo.truth["card_corners_px"]]
    without = [r for r in results if not r.photo.truth["card_corners_px"]]
    right, off = [], []
    for r in with_card:
        card = r.record.card
        if card and card.found and card.corners_px:
            true = np.array(r.photo.truth["card_corners_px"])
            gaps = [np.hypot(*(np.array(c) - true).T).min() for c in card.corners_px]
            off.append(float(np.median(gaps)))
            right.append(max(gaps) < 0.02 * np.hypot(*(true[0] - true[2])))
        else:
            right.append(False)
    false = [bool(r.record.card and r.record.card.found) for r in without]
    return [
        share("card found", right, ">= 97 %"),
        share("false card", false, "<= 5 %"),
        middle("card corner, median", off, "px", "0.25 px"),
    ]


def finding_figures(results: list[Result]) -> list[Figure]:
    """Baits found (overlap at least 0.8) and other things taken for baits, by folder."""
    out = []
    for subset in sorted({r.photo.subset for r in results}):
        some = [r for r in results if r.photo.subset == subset]
        out.append(share(f"baits found, {subset}", [m.overlap >= 0.8 for r in some for m in r.matches], ">= 98 %"))
        extra = sum(r.extra for r in some)
        out.append(Figure(f"other things taken for baits, {subset}", float(extra), "", len(some), None, "0"))
    return out


# ------------------------------------------------------------------ sizes
def size_figures(matches: list[Match], label: str = "") -> list[Figure]:
    """Length and depth against what a caliper reads."""
    out: list[Figure] = []
    for what, aim in (("length", "<= 0.8 % (0.4)"), ("depth", "<= 0.9 %")):
        errors, ratios, given = [], [], []
        for m in matches:
            true = m.truth.get(f"feret_{what}_mm")
            measured = _measured(m)
            quantity = getattr(measured, f"{what}_mm") if measured else None
            if true is None:
                continue
            given.append(quantity is not None)
            if quantity is not None:
                errors.append(quantity.value / true - 1)
                ratios.append((quantity.value - true) / quantity.u)
        absolute = np.abs(errors)
        out += [
            middle(f"{what}: median error{label}", absolute * 100, "%", aim),
            Figure(f"{what}: 95th percentile{label}", _percentile(absolute, 95) * 100, "%", len(errors), None, ""),
            Figure(f"{what}: mean signed error{label}", _mean(errors) * 100, "%", len(errors), None, "<= 0.3 %"),
            share(f"{what}: given{label}", given, ">= 95 %"),
            share(f"{what}: truth within 2u{label}", [abs(r) <= 2 for r in ratios], ">= 88 %"),
            middle(f"{what}: median |error|/u{label}", np.abs(ratios), "", "0.5 to 0.85"),
        ]
    return out


def twice_figures(results: list[Result]) -> list[Figure]:
    """One piece in two photos: lengths against their combined uncertainty, and the colours seen."""
    pairs: dict[str, list[Measurement]] = {}
    hard: set[str] = set()
    for m in _baits(results, ("twice",)):
        measured = _measured(m)
        name = m.photo.truth["file"].rsplit("_", 1)[0]
        if measured and measured.length_mm:
            pairs.setdefault(name, []).append(measured)
        if m.truth.get("foil") or m.truth.get("translucent"):
            hard.add(name)
    agree, differ = [], []
    for name, pair in pairs.items():
        if len(pair) == 2:
            for zone in ("back_colour", "belly_colour") if name not in hard else ():
                one, other = (getattr(p, zone) for p in pair)
                if one is not None and other is not None:
                    differ.append(float(delta_e(one.lab_seen, other.lab_seen)))
            a, b = (p.length_mm for p in pair)
            assert a and b
            agree.append(abs(a.value - b.value) <= 2 * math.hypot(a.u, b.u))
    return [
        share("one piece in two photos: lengths agree within 2u", agree, ">= 93 %"),
        middle("one piece in two photos: colour seen, median CIEDE2000 (no leaf, none clear)", differ, "", "(<= 4)"),
    ]


# ------------------------------------------------------------------ hardware
def hardware_figures(matches: list[Match], label: str = "") -> list[Figure]:
    """Line ties counted, and nose and back the right way round."""
    out: list[Figure] = []
    classes: list[tuple[str, Callable[[float], bool], str]] = [
        (">= 10 px/mm", lambda s: s >= 10, ">= 90 % (97)"),
        ("5 to 10 px/mm", lambda s: 5 <= s < 10, ">= 95 %"),
    ]
    for name, holds, aim in classes:
        counts = [
            (
                measured.line_ties.count if (measured := _measured(m)) and measured.line_ties else None,
                m.truth["tie_count"],
            )
            for m in matches
            if "tie_count" in m.truth and holds(_px_per_mm(m))
        ]
        out.append(share(f"ties exact, {name}{label}", [c == t for c, t in counts if c is not None], aim))
        out.append(share(f"ties given, {name}{label}", [c is not None for c, _ in counts], ">= 95 %"))
    ends, backs = [], []
    for m in matches:
        measured = _measured(m)
        if measured is None or "nose_px" not in m.truth:
            continue
        to_nose, to_tail = (np.hypot(*(np.array(measured.nose_px) - m.truth[k])) for k in ("nose_px", "tail_px"))
        ends.append(to_nose < to_tail)
        true_left = not m.truth["mirrored"]
        backs.append((measured.shows == "left") == true_left)
    out.append(share(f"nose and tail told apart{label}", ends, ">= 99 %"))
    out.append(share(f"flank shown is right{label}", backs, ""))
    tie_off = []
    for m in matches:
        measured = _measured(m)
        if measured and measured.line_ties and m.truth.get("ties_px"):
            true = np.array(m.truth["ties_px"])
            tie_off += [float(np.hypot(*(true - p).T).min() / _px_per_mm(m)) for p in measured.line_ties.at_px]
    out.append(middle(f"tie position: median{label}", tie_off, "mm", "<= 0.5 mm"))
    hanger_off, eye_off, eye_far = [], [], []
    for m in matches:
        measured = _measured(m)
        if measured is None or "body_polygon_px" not in m.truth:
            continue
        true = truth_of(m.truth, world(m.photo.folder))
        if measured.hangers and len(true.hangers):
            places = measured.hangers.at_px
            hanger_off += [float(np.hypot(*(true.hangers - p).T).min() / true.px_per_mm) for p in places]
        if measured.eye and measured.eye.diameter_mm and true.eye is not None:
            diameter = true.eye_diameter / true.px_per_mm
            eye_off.append(abs(measured.eye.diameter_mm.value - diameter))
            eye_far.append(eye_off[-1] > EYE_FAR * diameter)
    out.append(middle(f"hanger position: median{label}", hanger_off, "mm", "(<= 0.5 mm)"))
    out.append(middle(f"eye diameter: median error{label}", eye_off, "mm", "(<= 0.3 mm)"))
    out.append(share(f"eye diameter: another edge measured (off by a fifth){label}", eye_far, ""))
    hooks = [
        measured.hooks.count == m.truth["hook_count"]
        for m in matches
        if (measured := _measured(m)) and measured.hooks and "hook_count" in m.truth
    ]
    out.append(share(f"hooks exact{label}", hooks, ""))
    return out


# ------------------------------------------------------------------ ranking
@dataclass(frozen=True)
class Names:
    """How the truth's codes read in the reference set."""

    makers: dict[str, str]
    models: dict[str, str]

    def of(self, truth: dict[str, object]) -> tuple[str, str]:
        """Maker and model of one true bait, as the reference set names them."""
        maker, model = str(truth["maker"]), str(truth["model"])
        return self.makers.get(maker, maker), self.models.get(model, model)


def ranking_figures(matches: list[Match], names: Names, label: str = "") -> list[Figure]:
    """Models ranked right among baits of known models (those not found count as wrong)."""
    first, third, size, of_truth = [], [], [], []
    for m in matches:
        if not m.truth.get("known"):
            continue
        answer = _identified(m)
        true = names.of(m.truth)
        order = [(s.maker, s.model) for s in answer.by_model] if answer else []
        first.append(bool(order) and order[0] == true and answer is not None and _beats_none(answer))
        third.append(true in order[:3])
        if answer and order and order[0] == true:
            code = m.truth.get("size") or str(int(m.truth["size_index"]) + 1)
            best = next((c for c in answer.candidates if (c.maker, c.model) == true), None)
            if best and best.size is not None:
                size.append(best.size == code)
        if answer:
            of_truth.append(next((s.probability for s in answer.by_model if (s.maker, s.model) == true), 0.0))
    return [
        share(f"model top-1{label}", first, ">= 85 % (97)"),
        share(f"model top-3{label}", third, ">= 95 % (98)"),
        share(f"size right given the model{label}", size, "(97)"),
        Figure(f"log score of the model{label}", _log_score(of_truth), "nat", len(of_truth), None, "report"),
    ]


def _log_score(of_truth: list[float]) -> float:
    """Mean of -ln of the probability given to the truth; nothing counts as less than one in a million."""
    return float(-np.log(np.maximum(of_truth, 1e-6)).mean()) if of_truth else math.nan


def answers(matches: list[Match], names: Names) -> list[tuple[str, str, float]]:
    """Truth, answer (a model's name, or that of none of these or not comparable) and its probability, of every bait
    that was ranked, unknown models among them."""
    found = []
    for m in matches:
        answer = _identified(m)
        if answer is not None:
            shares = {" / ".join((s.maker, s.model)): s.probability for s in answer.by_model}
            shares |= {NONE_OF_THESE: answer.none_of_these, NOT_COMPARABLE: answer.not_comparable}
            best = max(shares, key=lambda name: shares[name])
            true = " / ".join(names.of(m.truth)) if m.truth.get("known") else NONE_OF_THESE
            found.append((true, best, shares[best]))
    return found


def sureness_figures(matches: list[Match], names: Names, label: str = "") -> list[Figure]:
    """How sure answers are against how right, among models and none of these."""
    rows = answers(matches, names)
    top, right = [p for *_, p in rows], [true == best for true, best, _ in rows]
    sure = [r for p, r in zip(top, right, strict=True) if p > 0.9]
    return [
        share(f"wrong when p > 0.9{label}", [not r for r in sure], "(<= 1 %)"),
        Figure(f"expected calibration error{label}", calibration_error(top, right), "", len(top), None, "(<= 0.05)"),
    ]


def _beats_none(answer: Identification) -> bool:
    return bool(answer.by_model) and answer.by_model[0].probability >= answer.none_of_these


def stranger_figures(matches: list[Match]) -> list[Figure]:
    """How well "none of these" tells unknown models from known ones."""
    none = [(bool(m.truth.get("known")), a.none_of_these) for m in matches if (a := _identified(m))]
    strangers, known = [p for k, p in none if not k], [p for k, p in none if k]
    return [
        Figure(
            "AUROC of none of these, unknown models", auroc(strangers, known), "", len(strangers), None, ">= 0.9 (0.97)"
        )
    ]


def colourway_figures(matches: list[Match], names: Names) -> list[Figure]:
    """Listed colourways ranked first."""
    right = []
    for m in matches:
        answer = _identified(m)
        if answer and m.truth.get("known") and m.truth.get("listed"):
            best = next((c for c in answer.candidates if (c.maker, c.model) == names.of(m.truth)), None)
            if best and best.colourway:
                right.append(best.colourway.code == m.truth["colourway"])
    return [share("colourway top-1 among listed", right, ">= 85 %")]


def speed_figures(results: list[Result]) -> list[Figure]:
    """Seconds of whole photos, by size of picture."""
    single = [r.seconds for r in results if r.photo.subset in (*ORDINARY, "enrol")]
    decode = [r.decode_seconds for r in results if r.photo.subset in (*ORDINARY, "enrol")]
    figures = [
        middle("seconds a photo of one bait", single, "s", "<= 0.6"),
        middle("of which decoding", decode, "s", ""),
    ]
    many = np.array([(len(r.record.baits), r.seconds) for r in results if r.photo.subset in ("tray", "boxed")])
    if len(many) > 2 and np.ptp(many[:, 0]) > 0:
        slope = float(np.polyfit(many[:, 0], many[:, 1], 1)[0])
        figures.append(Figure("each further bait of trays and boxes", slope, "s", len(many), None, "(<= 0.06)"))
    return figures


def ranked_together(results: list[Result]) -> list[Match]:
    """Baits whose ranking is counted together: single, twice, pieces and clutter with a card, less pieces that lost a
    tie."""
    carded = [r for r in results if r.photo.subset != "clutter" or r.photo.truth["card_corners_px"]]
    return [m for m in _baits(carded, (*ORDINARY, "clutter")) if not _lost(m)]


def all_figures(results: list[Result], names: Names, forms: Sequence[Form]) -> list[tuple[str, list[Figure]]]:
    """Every figure, in groups; `forms` are those that were ranked."""
    ordinary = _baits(results, ("single", "twice"))
    pieces = _baits(results, ("pieces",))
    pooled = ordinary + pieces
    listing = _baits(results, ("listing",))
    trays = _baits(results, ("tray", "boxed"))
    together = ranked_together(results)
    known = [m for m in together if m.truth.get("known")]
    models = [names.of(m.truth) for m in known]
    groups = [
        ("Card", card_figures(results)),
        ("Finding baits", finding_figures(results)),
        ("Length and depth: single, twice, pieces", size_figures(pooled)),
        ("Length and depth: pieces alone", size_figures(pieces, ", pieces")),
        ("Length and depth: trays and boxes", size_figures(trays, ", trays")),
        ("One piece twice", twice_figures(results) + together_figures(results)),
        ("Hardware: single, twice, pieces", hardware_figures(pooled)),
        ("Colour: single, twice, pieces", colour_figures(pooled)),
        ("Ranking: single, twice, pieces, carded clutter", ranking_figures(together, names)),
        ("How sure: the same, unknown models among them", sureness_figures(together, names)),
        ("Ranking: pieces alone", ranking_figures([m for m in pieces if not _lost(m)], names, ", pieces")),
        ("Ranking: pieces that lost a tie", ranking_figures([m for m in pieces if _lost(m)], names, ", lost a tie")),
        ("Ranking: trays and boxes", ranking_figures(trays, names, ", trays")),
        ("Ranking: listing photos, no card", ranking_figures(listing, names, ", listing")),
        ("Strangers: single, twice, pieces, carded clutter", stranger_figures(together)),
        ("Models left out in turn: the same, known models", left_out_figures(known, models, forms)),
        ("Look-alikes: the same, known models", settled_figures(known, models, forms)),
        ("Colourways: the same, known models", colourway_figures(known, names)),
        ("New colours: the same, known models", new_colour_figures(known, models, forms)),
        ("Speed", speed_figures(results)),
    ]
    return [(title, [f for f in figures if f.n]) for title, figures in groups if any(f.n for f in figures)]


def _mean(values: list[float]) -> float:
    return float(np.mean(values)) if values else math.nan


def _percentile(values: object, q: float) -> float:
    array = np.asarray(values, float)
    return float(np.percentile(array, q)) if len(array) else math.nan
