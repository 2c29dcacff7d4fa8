"""Ranking by a set that was learned from few pieces: outlines and places of rings that are themselves in doubt.

That pooling estimates of one thing brings each nearer to it is Stein's result (James and Stein 1961; for groups Efron
and Morris 1973, JASA 68: 117); the mean of n readings of one sd is in doubt by sd / √n (GUM 4.2.3).  Both from memory.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from identify.geometry import Array
from identify.outline import DESCRIPTORS, descriptors, profile
from identify.rank import Noise, Prepared, prepare, rank_readings
from identify.rank.covariance import outline_axes
from identify.rank.drawn import shared
from identify.rank.posterior import cousins
from identify.rank.simulate import GROUPS, Camera, draw_from
from identify.records import Quantity
from identify.reference.average import tolerance_of
from identify.reference.profile import Form
from identify.report.sheet import other_size
from tests.unit.test_rank import FERRY, OTTER, PLUMS, SET, form, seen, stranger, total

AXES = outline_axes(Noise())
SD = np.sqrt(AXES.variances)
K = DESCRIPTORS


def off(found: Array, true: Array) -> float:
    return float(np.square(found - true).sum(1).mean())


# ------------------------------------------------------------------ outlines that are one shape
def test_readings_of_one_shape_come_nearer_to_it_and_say_so() -> None:
    rng = np.random.default_rng(1)
    true = rng.normal(0, 10, K)
    before, after = [], []
    for _ in range(60):
        found = true + rng.standard_normal((4, K)) * 0.7
        moved, left = shared(found, np.full(4, 0.7))
        before.append(off(found, true))
        after.append(off(moved, true))
        assert (left < 0.5).all()
    assert np.mean(before) == pytest.approx(0.49 * K, rel=0.1)
    # the mean of four is a quarter as wrong; what copies differ by is left open
    assert np.mean(after) < 0.4 * np.mean(before)


def test_shapes_that_differ_stay_apart() -> None:
    rng = np.random.default_rng(2)
    found = rng.normal(0, 10, (6, K))
    moved, left = shared(found, np.full(6, 0.7))
    assert np.allclose(moved, found, atol=1e-6) and np.allclose(left, 0.7)


def test_a_drawing_without_doubt_stays_and_draws_a_doubtful_one_to_it() -> None:
    sure = np.linspace(-3, 3, K)
    found = np.vstack([sure, sure + 0.6])
    moved, left = shared(found, np.array([0.0, 0.7]))
    assert np.array_equal(moved[0], sure) and left[0] == 0.0
    assert off(moved[1:], sure) < 0.1 * off(found[1:], sure) and 0 < left[1] < 0.35
    assert np.array_equal(shared(found, np.zeros(2))[0], found)


def test_sizes_that_share_a_drawing_count_as_one() -> None:
    rng = np.random.default_rng(3)
    one, other = rng.normal(0, 5, K), rng.normal(0, 5, K)
    other = one + 0.5 * (other - one) / np.linalg.norm(other - one)
    alone, _ = shared(np.vstack([one, other]), np.full(2, 0.5))
    several, _ = shared(np.vstack([one, one, one, other, other]), np.full(5, 0.5))
    assert np.allclose(several[0], several[2]) and np.allclose(several[0], alone[0])
    assert np.allclose(several[3], alone[1])


@settings(max_examples=20, deadline=None)
@given(st.permutations(range(7)), st.integers(0, 99))
def test_no_order_changes_what_outlines_say_of_each_other(order: list[int], seed: int) -> None:
    rng = np.random.default_rng(seed)
    found = rng.normal(0, 1, (7, K))
    found[3] = np.nan
    doubt = rng.uniform(0, 1, 7)
    moved, left = shared(found, doubt)
    again, left_again = shared(found[order], doubt[order])
    assert np.allclose(again, moved[order], equal_nan=True) and np.allclose(left_again, left[order])


# ------------------------------------------------------------------ twins learned from a photo each
def twins(rng: np.random.Generator, doubt: float, told: bool) -> tuple[Prepared, Array]:
    """Two makers' baits of one true shape, each drawn `doubt` noise scales off it; and the true descriptors."""
    assert OTTER.outline_mm
    true = descriptors(profile(OTTER.outline_mm))
    depth = float(OTTER.depth_mm or 0)
    tolerance = doubt * AXES.height * depth if told else None
    one, other = (
        replace(OTTER, maker=maker, model="Otter", outline_tolerance_mm=tolerance) for maker in ("Brack", "Kettlemoor")
    )
    p = prepare([one, other, *SET[2:]])
    raw = np.vstack([true + AXES.vectors @ (SD * doubt * rng.standard_normal(K)) for _ in range(2)])
    where = [i for i, f in enumerate(p.forms) if f.model == "Otter"]
    outline, left = p.outline / SD, p.outline_doubt.copy()
    outline[where] = raw @ AXES.vectors / SD
    left[where] = doubt if told else 0.0
    moved, left = shared(outline, left)
    return replace(p, outline=moved * SD, outline_doubt=left), true


def test_errors_of_two_learned_outlines_do_not_tell_their_makers_apart() -> None:
    """How far the two makers' probabilities lie apart for a bait that is as much the one as the other."""
    spread = {}
    for told in (False, True):
        rng = np.random.default_rng(5)
        ratios = []
        for _ in range(25):
            p, true = twins(rng, 0.8, told)
            found = rank_readings(seen(OTTER, outline=true + AXES.vectors @ (SD * rng.standard_normal(K))), p)
            both = {c.maker: c.probability for c in found.candidates if c.model == "Otter"}
            ratios.append(np.log(both["Brack"] / both["Kettlemoor"]))
            assert total(found) == pytest.approx(1, abs=1e-9)
        spread[told] = float(np.std(ratios))
    assert spread[False] > 2.0  # a factor of seven and more, from nothing
    assert spread[True] < 0.35 * spread[False]


def test_a_doubtful_outline_says_less_of_strangers_and_of_its_own() -> None:
    """At its place a wider density is lower, far off it is higher."""
    sharp = prepare(SET)
    wide = prepare([replace(f, outline_tolerance_mm=2 * AXES.height * float(f.depth_mm or 0)) for f in SET])

    def outline_weight(p: Prepared, of: Form) -> float:
        best = rank_readings(seen(of), p, at_most=len(SET)).candidates
        row = next(c for c in best if (c.model, c.size) == (OTTER.model, OTTER.size))
        return next(e.weight for e in row.evidence if e.feature == "outline")

    other = form("?", "another", outline_mm=form("?", "?", 56.0, 18.0).outline_mm)
    behind = replace(other, outline_mm=tuple((x, y * (1 + 0.004 * (x - 28))) for x, y in OTTER.outline_mm or ()))
    assert outline_weight(wide, OTTER) < outline_weight(sharp, OTTER)
    assert outline_weight(wide, behind) > outline_weight(sharp, behind)


def test_a_reading_drawn_from_a_learned_form_scatters_by_its_doubt_too() -> None:
    rng = np.random.default_rng(6)
    assert OTTER.line_ties
    sharp = prepare([OTTER])
    wide = prepare(
        [
            replace(
                OTTER,
                outline_tolerance_mm=2 * AXES.height * float(OTTER.depth_mm or 0),
                line_ties=replace(OTTER.line_ties, tolerance_mm=1.5),
            )
        ]
    )

    def scatter(p: Prepared) -> tuple[float, float]:
        drawn = [draw_from(rng, p, dict.fromkeys(GROUPS, 0), Camera(p_nose=1.0, p_back=1.0)) for _ in range(300)]
        outlines = np.array([AXES.vectors.T @ r.outline / SD for r in drawn if r.outline is not None])
        first = np.array([r.tie_places[0] for r in drawn if r.tie_count == 2 and r.tie_places is not None])
        return (
            float(np.median(outlines.std(0))),
            float(np.median(np.abs(first - np.median(first, axis=0)))) * OTTER.length_mm,
        )

    (a, b), (c, d) = scatter(sharp), scatter(wide)
    assert c / a == pytest.approx(np.sqrt(5), rel=0.3) and d / b == pytest.approx(np.hypot(0.5, 1.5) / 0.5, rel=0.3)


def test_places_in_doubt_say_less() -> None:
    assert OTTER.line_ties and OTTER.line_ties.at_mm and OTTER.eye
    near = replace(
        OTTER,
        maker="Brack",
        model="Near",
        line_ties=replace(OTTER.line_ties, at_mm=tuple((x + 1.5, y) for x, y in OTTER.line_ties.at_mm)),
    )

    def ratio(tolerance: float | None) -> float:
        forms = [
            replace(f, line_ties=replace(f.line_ties, tolerance_mm=tolerance)) for f in (OTTER, near) if f.line_ties
        ]
        found = rank_readings(seen(OTTER), prepare(forms))
        both = {c.model: c.probability for c in found.candidates}
        return float(np.log(both["Low Otter"] / both["Near"]))

    ratios = [ratio(t) for t in (None, 0.25, 0.5, 1.0)]
    assert ratios == sorted(ratios, reverse=True) and ratios[0] > 2 * ratios[-1] > 0


# ------------------------------------------------------------------ tolerances from pieces
@pytest.mark.parametrize("n", [1, 2, 5, 20])
def test_an_average_is_in_doubt_by_the_root_of_its_number(n: int) -> None:
    """Pieces that scatter as is usual: each lies √(1 - 1/n) of that off their own mean."""
    each = 0.3 * np.sqrt(1 - 1 / n)
    found = tolerance_of([each] * n, [1 / n] * n, 0.3)
    assert found == pytest.approx(0.3 / np.sqrt(n), rel=0.12)


def test_pieces_that_scatter_more_than_measuring_does_make_a_model_wider() -> None:
    usual = tolerance_of([0.3] * 12, [1 / 12] * 12, 0.3)
    assert tolerance_of([0.9] * 12, [1 / 12] * 12, 0.3) > 4 * usual
    one_damaged = tolerance_of([0.3] * 11 + [5.0], [1 / 12] * 12, 0.3)
    assert one_damaged < 2 * usual


# ------------------------------------------------------------------ another size
def test_a_listed_bait_in_another_size_is_not_said_to_be_misread() -> None:
    """All as listed but a length that no size has: a copy, or a size that the set lacks, is likelier than it was when
    only cousins that differ in more were thought of; and a length within its tolerance stays the listed one."""
    off_by_8 = seen(OTTER, length_mm=Quantity(1.08 * OTTER.length_mm, 0.17))
    now = prepare(SET)
    before = prepare(SET, replace(Noise(), sized=1e-12))
    assert rank_readings(off_by_8, now).none_of_these > 2 * rank_readings(off_by_8, before).none_of_these
    assert rank_readings(seen(OTTER), now).none_of_these < 0.01
    assert rank_readings(seen(FERRY), now).candidates[0].model == "Ferry Otter"


def test_a_size_that_the_set_lacks_is_named() -> None:
    """A collector's own set has seldom every size of a model."""
    smallest, *others = PLUMS
    found = rank_readings(seen(smallest), prepare([*SET[:4], *others]), explain=True)
    assert found.other_size is not None and found.none_of_these > 0.9
    assert (found.other_size.maker, found.other_size.model) == ("Auldaine", "Garth Plum")
    assert 0.8 < found.other_size.probability <= found.none_of_these
    assert "fits Auldaine / Garth Plum: it may be that model in a size that the set does not have" in other_size(found)
    whole = rank_readings(seen(smallest), prepare(SET))
    assert whole.other_size is None and other_size(whole) == ""
    unknown = rank_readings(seen(stranger(90.0, 20.0, 3)), prepare(SET))
    assert unknown.none_of_these > 0.9 and unknown.other_size is None


def test_without_a_length_no_size_is_another() -> None:
    kinds = cousins(["line ties", "outline"], Noise())
    assert len(kinds) == 1 and kinds[0].share == 1.0
    both = cousins(["length", "outline", "line ties"], Noise())
    assert sum(kind.share for kind in both) == pytest.approx(1.0)
    assert ("outline",) in both[1].groups and not any("length" in group for group in both[1].groups)
