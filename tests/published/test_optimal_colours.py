"""Limits of surface colours against the CIE 1931 2° observer and illuminant D50 as tabulated by colour-science: optimal
colours after MacAdam (1935), and the published Lab of the 24-patch chart, which are real surfaces."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from identify.reference.surface import impossible, max_chroma


def optimal_labs(starts: range, widths: range) -> np.ndarray:
    """Lab (k, 3) of spectra that are 1 in one band (around the end of the spectrum too) and 0 elsewhere."""
    shape = colour.SpectralShape(380, 780, 1)
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    weights = cmfs * colour.SDS_ILLUMINANTS["D50"].copy().align(shape).values[:, None]
    white = weights.sum(0)
    n = len(weights)
    total = np.vstack([np.zeros(3), np.cumsum(np.vstack([weights, weights]), 0)])
    xyz = np.array([total[s + w] - total[s] for s in starts for w in widths if w <= n]) / white[1]
    xy = white[:2] / white.sum()
    return np.asarray(colour.XYZ_to_Lab(xyz, xy))


def test_optimal_colours_are_just_possible_and_nothing_beyond_them() -> None:
    labs = optimal_labs(range(0, 400, 7), range(8, 400, 9))
    labs = labs[(labs[:, 0] > 3) & (labs[:, 0] < 98)]
    assert len(labs) > 1000
    assert [lab for lab in labs if impossible(tuple(lab))] == []
    beyond = labs * (1, 1.6, 1.6)
    chroma = np.hypot(*labs[:, 1:].T)
    assert np.mean([impossible(tuple(lab)) is not None for lab in beyond[chroma > 20]]) > 0.97


def test_the_table_is_no_looser_than_its_cells() -> None:
    labs = optimal_labs(range(400), range(2, 400))
    hue = np.degrees(np.arctan2(labs[:, 2], labs[:, 1])) % 360
    chroma = np.hypot(*labs[:, 1:].T)
    for lightness in (30, 50, 70, 90):
        for h in range(0, 360, 45):
            off = np.abs((hue - h + 180) % 360 - 180)
            cell = chroma[(off < 17) & (np.abs(labs[:, 0] - lightness) < 1)]
            assert max_chroma(lightness, h) <= cell.max() * 1.1 + 2


def test_real_surfaces_are_possible() -> None:
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    for xyy in chart.data.values():
        assert impossible(tuple(colour.XYZ_to_Lab(colour.xyY_to_XYZ(xyy), chart.illuminant))) is None


@pytest.mark.parametrize("lab", [(0.0, 0.0, 0.0), (100.0, 0.0, 0.0), (92.0, 0.0, 3.0), (38.0, -2.0, -34.0)])
def test_black_white_and_paints_are_possible(lab: tuple[float, float, float]) -> None:
    assert impossible(lab) is None


@pytest.mark.parametrize(
    "lab", [(-1.0, 0.0, 0.0), (100.5, 0.0, 0.0), (97.0, 40.0, 0.0), (20.0, -80.0, 60.0), (8.0, 0, 60)]
)
def test_what_no_surface_has(lab: tuple[float, float, float]) -> None:
    assert impossible(lab)
