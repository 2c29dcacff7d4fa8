"""Drawn from ranking's own likelihoods, answers are as sure as they say."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from identify.rank import prepare
from identify.reference import read
from identify.reference.profile import Form
from tests.benchmarks.rank import Scores, left_out, pooled, random_forms, simulated

REFS = Path(__file__).resolve().parents[2] / "reference_sets" / "ammerfold-lakes"


def as_sure_as_right(forms: Sequence[Form], n: int, error: float) -> Scores:
    scores = simulated(prepare(forms), n, seed=5)
    assert scores.calibration_error() <= error
    sure = scores.top[scores.top > 0.9]
    owned_up = float(1 - sure.mean())
    assert scores.wrong_when_sure() <= owned_up + 3 * np.sqrt(owned_up / len(sure))
    # the share of strangers agrees with the probability given to them, within three standard errors
    assert np.mean(scores.none) == pytest.approx(scores.stranger.mean(), abs=3 * np.sqrt(0.15 * 0.85 / n))
    return scores


def test_answers_are_as_sure_as_they_say() -> None:
    assert as_sure_as_right(random_forms(12, seed=3), 200, 0.03).right.mean() > 0.95


@pytest.mark.parametrize("models", [0, 300], ids=["the demo's set", "a set of 300 models"])
def test_so_are_those_of_whole_sets(models: int) -> None:
    """10,000 baits on a CI service (which sets CI) or with BAITPRINT_LONG_TESTS=1, a quarter of a minute each on four
    processors; 400 otherwise, with room for chance."""
    whole = os.environ.get("CI") or os.environ.get("BAITPRINT_LONG_TESTS")
    n, error = (10_000, 0.02) if whole else (400, 0.04)
    as_sure_as_right(random_forms(models) if models else read(REFS).forms(), n, error)


def test_models_left_out_are_none_of_these() -> None:
    scores = pooled(list(left_out(random_forms(6, seed=1), 6).values()))
    assert scores.auroc() >= 0.95
