"""Baits are numbered as one would read them: rows from the top, each from the left, though rows waver and slope."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from identify.geometry import Array
from identify.separate.order import reading_order


def bait(at: Array, length: float, turn: float) -> Array:
    """An outline (n, 2), turned by `turn` degrees."""
    t = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    body: Array = np.column_stack([np.cos(t), 0.28 * np.sin(t)]) * length / 2
    placed: Array = body @ np.array([[c, s], [-s, c]]) + at
    return placed


def tray(rows: int, columns: int, pitch: tuple[float, float], slope: float, jitter: float, turn: float | None,
         seed: int) -> list[Array]:  # fmt: skip
    """Baits in rows, in the order in which they are to be read.  Places waver by `jitter` of the pitch, rows rise by
    `slope` degrees; baits lie along `turn`, anyhow if None."""
    rng = np.random.default_rng(seed)
    c, s = np.cos(np.radians(slope)), np.sin(np.radians(slope))
    places = [
        (np.array([j, i]) + rng.uniform(-jitter, jitter, 2)) * pitch @ np.array([[c, -s], [s, c]])
        for i in range(rows)
        for j in range(columns)
    ]
    return [
        bait(at, rng.uniform(40, 75), rng.uniform(0, 360) if turn is None else turn + rng.uniform(-9, 9))
        for at in places
    ]


many = settings(max_examples=20, deadline=None, derandomize=True)
kinds = st.sampled_from([((75.0, 75.0), None), ((80.0, 42.0), 0.0), ((38.0, 80.0), 90.0)])


@many
@given(st.integers(1, 6), st.integers(1, 10), kinds, st.floats(0, 0.1), st.integers(0, 10**6))
def test_rows_that_waver(
    rows: int, columns: int, kind: tuple[tuple[float, float], float | None], jitter: float, seed: int
) -> None:
    baits = tray(rows, columns, kind[0], 0.0, jitter, kind[1], seed)
    assert reading_order(baits) == list(range(len(baits)))


@many
@given(st.integers(2, 6), st.integers(5, 10), kinds, st.floats(-12, 12), st.integers(0, 10**6))
def test_rows_that_slope(
    rows: int, columns: int, kind: tuple[tuple[float, float], float | None], slope: float, seed: int
) -> None:
    baits = tray(rows, columns, kind[0], slope, 0.08, kind[1], seed)
    assert reading_order(baits) == list(range(len(baits)))


scattered = st.lists(
    st.tuples(st.floats(0, 400), st.floats(0, 300), st.floats(40, 90), st.floats(0, 360)),
    min_size=1, max_size=24, unique_by=lambda b: (round(b[0], 2), round(b[1], 2)),
)  # fmt: skip


@many
@given(scattered, st.randoms(use_true_random=False), st.floats(0.1, 20))
def test_it_is_the_baits_order_not_that_of_their_finding(
    found: list[tuple[float, float, float, float]], chance: random.Random, scale: float
) -> None:
    baits = [bait(np.array([x, y]), length, turn) for x, y, length, turn in found]
    order = reading_order(baits)
    assert sorted(order) == list(range(len(baits)))
    mixed = list(range(len(baits)))
    chance.shuffle(mixed)
    again = reading_order([baits[i] * scale + 7 for i in mixed])
    assert [mixed[i] for i in again] == order


@many
@given(st.lists(st.tuples(st.floats(40, 90), st.floats(0, 360)), min_size=2, max_size=12), st.integers(0, 10**6))
def test_what_lies_above_is_read_first(shapes: list[tuple[float, float]], seed: int) -> None:
    """A column of baits that lie one below the other, however they are turned."""
    rng, baits, bottom = np.random.default_rng(seed), [], 0.0
    for length, turn in shapes:
        body = bait(np.array([rng.uniform(-3, 3), 0.0]), length, turn)
        baits.append(body + np.array([0, bottom - body[:, 1].min() + rng.uniform(1, 30)]))
        bottom = baits[-1][:, 1].max()
    assert reading_order(baits) == list(range(len(baits)))


def test_an_upright_bait_beside_two_stacked_ones_is_read_with_both() -> None:
    upright = bait(np.array([0.0, 50.0]), 90, 90)
    upper, lower = bait(np.array([60.0, 30.0]), 55, 0), bait(np.array([55.0, 62.0]), 60, 3)
    beside = bait(np.array([140.0, 48.0]), 70, 30)
    assert reading_order([lower, beside, upper, upright]) == [3, 2, 0, 1]


@pytest.mark.parametrize("number", [0, 1])
def test_few(number: int) -> None:
    assert reading_order([bait(np.zeros(2), 50, 0)] * number) == list(range(number))
