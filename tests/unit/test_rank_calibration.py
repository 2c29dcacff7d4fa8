"""Drawn from ranking's own likelihoods, answers are as sure as they say.  The whole run stands in tests/benchmarks."""

from __future__ import annotations

import numpy as np
import pytest

from identify.rank import prepare
from tests.benchmarks.rank import left_out, pooled, random_forms, simulated


def test_answers_are_as_sure_as_they_say():
    scores = simulated(prepare(random_forms(12, seed=3)), 200, seed=5)
    assert scores.calibration_error() <= 0.03  # 0.02 on 10,000, in the benchmark
    assert scores.right.mean() > 0.95
    assert scores.wrong_when_sure() <= 0.02
    # the share of strangers agrees with the probability given to them, within three standard errors
    assert np.mean(scores.none) == pytest.approx(scores.stranger.mean(), abs=3 * np.sqrt(0.15 * 0.85 / 200))


def test_models_left_out_are_none_of_these():
    scores = pooled(list(left_out(random_forms(6, seed=1), 6).values()))
    assert scores.auroc() >= 0.95
