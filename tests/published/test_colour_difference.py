"""CIEDE2000 against the 34 pairs of Sharma, Wu, Dalal, "The CIEDE2000 color-difference formula: implementation notes,
supplementary test data, and mathematical observations", Color Research and Application 30(1), 2005, and against
scikit-image."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from identify.colour import delta_e

PAIRS = np.loadtxt(Path(__file__).parent / "data" / "ciede2000_sharma2005_34pairs.csv", delimiter=",", skiprows=1)


@pytest.mark.parametrize("row", PAIRS, ids=[str(int(r[0])) for r in PAIRS])
def test_pairs_of_sharma(row: np.ndarray) -> None:
    # Pair 14 sits on the hue discontinuity: which side it falls on is the last bit's choice.
    tolerance = 0.05 if int(row[0]) == 14 else 0.6e-4
    assert delta_e(row[1:4], row[4:7]) == pytest.approx(row[7], abs=tolerance)
    assert delta_e(row[4:7], row[1:4]) == pytest.approx(row[7], abs=tolerance)


def test_as_scikit_image() -> None:
    rng = np.random.default_rng(3)
    one, two = rng.uniform((0, -90, -90), (100, 90, 90), (2, 500, 3))
    np.testing.assert_allclose(delta_e(one, two), deltaE_ciede2000(one, two), atol=1e-9)
    np.testing.assert_allclose(
        delta_e(one, two, weights=(2, 1, 1.5)), deltaE_ciede2000(one, two, kL=2, kC=1, kH=1.5), atol=1e-9
    )
    # An endless weight on lightness is the same as leaving the difference of lightness out.
    np.testing.assert_allclose(
        delta_e(one, two, ignore_lightness=True), deltaE_ciede2000(one, two, kL=np.inf), atol=1e-9
    )
