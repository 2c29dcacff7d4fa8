"""Munsell notations against colour-science (renotation of Newhall, Nickerson, Judd 1943; ASTM D1535) and ISCC-NBS names
against the centroids of Kelly, J. Res. Natl. Bur. Stand. 61(5), RP2911, 1958."""

from __future__ import annotations

import csv
import re
import warnings
from importlib import resources

import numpy as np
import pytest

from identify.colour import iscc_nbs, linear_to_lab, munsell

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # colour-science tells of optional packages that are not installed
    import colour

WHITES = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
FAMILIES = ("R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP")
CENTROIDS = list(
    csv.reader(resources.files("identify").joinpath("tables/iscc_nbs_centroids.csv").read_text("utf-8").splitlines())
)[1:]


def reference_lab(notation: str) -> np.ndarray:
    xyz = colour.xyY_to_XYZ(colour.munsell_colour_to_xyY(notation))
    adapted = colour.chromatic_adaptation(
        xyz, colour.xy_to_XYZ(WHITES["C"]), colour.xy_to_XYZ(WHITES["D50"]), transform="Bradford"
    )
    return np.asarray(colour.XYZ_to_Lab(adapted, WHITES["D50"]))


def parts(notation: str) -> tuple[float, float, float]:
    found = re.fullmatch(r"([\d.]+)([A-Z]+) ([\d.]+)/([\d.]+)", notation)
    assert found, notation
    return float(found[1]) + 10 * FAMILIES.index(found[2]), float(found[3]), float(found[4])


def assert_near(got: str | None, notation: str, hue: float, value: float, chroma: float) -> None:
    assert got is not None, notation
    (h1, v1, c1), (h2, v2, c2) = parts(got), parts(notation)
    assert abs((h1 - h2 + 50) % 100 - 50) <= hue, (got, notation)
    assert abs(v1 - v2) <= value, (got, notation)
    assert abs(c1 - c2) <= chroma, (got, notation)


@pytest.mark.parametrize(
    "notation",
    [
        "5R 4/14",
        "5YR 6/12",
        "5Y 8/12",
        "10GY 5/8",
        "2.5G 3/6",
        "5BG 7/4",
        "7.5B 4/4",
        "10PB 2/8",
        "5P 5/10",
        "10RP 9/2",
    ],
)
def test_chips_of_the_renotation(notation: str) -> None:
    assert_near(munsell(reference_lab(notation)), notation, 0.1, 0.05, 0.05)


@pytest.mark.parametrize(
    "notation", ["7.9B 3.8/2.9", "1.2R 4.4/7.3", "8.7Y 7.6/5.5", "3.3GY 6.5/3.1", "6.1PB 2.6/9.0", "0.4YR 5.5/1.3"]
)
def test_notations_between_chips(notation: str) -> None:
    assert_near(munsell(reference_lab(notation)), notation, 0.6, 0.1, 0.25)


def test_greys_and_impossible_colours() -> None:
    assert munsell(reference_lab("N5.5")) == "N 5.5/"
    assert munsell(linear_to_lab([1, 1, 1])) == "N 10.0/"
    assert munsell((0, 0, 0)) == "N 0.0/"
    assert munsell((110, 0, 0)) is None
    assert munsell((50, 150, 0)) is None
    assert munsell((np.nan, 0, 0)) is None


@pytest.mark.parametrize("row", CENTROIDS[::6], ids=lambda row: row[1])
def test_centroids_have_their_own_munsell_notation(row: list[str]) -> None:
    lab = [float(v) for v in row[3:6]]
    if row[2].startswith("N"):
        assert munsell(lab) == f"N {float(row[2][1:]):.1f}/"
        return
    # Above value 9 the reference lets chroma fade towards white, ours keeps the scale of value 9.
    assert_near(munsell(lab), row[2], 1.0, 0.1, 0.45 if parts(row[2])[1] <= 9 else 0.6)


def test_centroids_have_their_own_name() -> None:
    assert [iscc_nbs([float(v) for v in row[3:6]]) for row in CENTROIDS] == [row[1] for row in CENTROIDS]
    assert len(CENTROIDS) == 267


@pytest.mark.parametrize(
    ("notation", "name"),
    [
        ("5R 4/14", "vivid red"),
        ("5Y 8/12", "vivid yellow"),
        ("N9.5", "white"),
        ("N1", "black"),
        ("2.5PB 4.5/3.5", "grayish blue"),
        ("6YR 3.5/4", "moderate brown"),
    ],
)
def test_names_of_blocks(notation: str, name: str) -> None:
    """Notations well inside a block of Kelly and Judd's charts (SP 440); read from the charts from memory."""
    assert iscc_nbs(reference_lab(notation)) == name
