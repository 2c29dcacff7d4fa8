"""What is worked out for all forms at once is what the formulae say for one form alone, written out plainly here."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest

from identify.geometry import Array
from identify.outline import TURNED
from identify.rank import Noise, Prepared, prepare
from identify.rank.background import grid_log_density
from identify.rank.body import trace
from identify.rank.colourways import _paints, whitening
from identify.rank.likelihood import hanger_places, tie_places, turn_places, ways_to_try
from identify.rank.places import minus_power
from identify.rank.readings import Readings
from identify.rank.rings import Rings
from identify.rank.simulate import draw
from identify.records import Colour, Lab
from tests.benchmarks.rank import random_forms


@pytest.fixture(scope="module")
def many() -> Prepared:
    return prepare(random_forms(40, seed=2))


def log_t(squared: float, log_scale: float, k: int, dof: float) -> float:
    """Student's t in k dimensions (Kotz and Nadarajah 2004, eq. 1.1)."""
    constant = math.lgamma((dof + k) / 2) - math.lgamma(dof / 2) - k / 2 * math.log(dof * math.pi)
    return constant - log_scale - (dof + k) / 2 * math.log1p(squared / dof)


def rings_plainly(seen: Array, rings: Rings, i: int, sd: float, grid: Array, stray: float, way: int) -> float:
    own = rings.places[i, : rings.placed[i]].astype(float)
    turned = turn_places(seen)[way]
    order = np.argsort(turned[:, 0], kind="stable")
    broad = np.exp(grid_log_density(grid, seen))
    n = min(len(seen), len(own))
    total, number = 0.0, 0
    for left in combinations(order, n):
        for right in combinations(range(len(own)), n):
            product = 1.0
            for a, b in zip(left, right, strict=True):
                off = float(np.square(turned[a] - own[b]).sum()) / sd**2
                product *= (1 - stray) * math.exp(log_t(off, 2 * math.log(sd), 2, Noise().tail)) / broad[a] + stray
            total += product
            number += 1
    return math.log(total / number)


def test_places_of_rings(many: Prepared) -> None:
    rng = np.random.default_rng(5)
    for _ in range(6):
        r, _ = draw(rng, many)
        ways = ways_to_try(r, many.noise)
        for feature, places, rings, sd_mm, grid, stray in (
            (tie_places, r.tie_places, many.ties, many.noise.tie_sd_mm, many.background.tie_grid, many.noise.tie_stray),
            (
                *(hanger_places, r.hanger_places, many.hangers, many.noise.hanger_sd_mm),
                *(many.background.hanger_grid, many.noise.hanger_stray),
            ),
        ):
            found = feature(r, many, ways)
            if found is None or places is None:
                continue
            for i in (0, 7, 31):
                sd = sd_mm / many.length_mm[i]
                for k, way in enumerate(ways):
                    plain = rings_plainly(places, rings, i, float(sd), grid, stray, int(way))
                    assert found[k, i] == pytest.approx(plain, abs=2e-4)


@pytest.mark.parametrize("exponent", [3.5, 2.0, 0.5, 2.7, 9.5])
def test_powers(exponent: float) -> None:
    values = np.array([1.0, 1.7, 40.0], np.float32)
    assert minus_power(values, exponent) == pytest.approx(values.astype(float) ** -exponent, rel=1e-5)


def test_outlines(many: Prepared) -> None:
    r, _ = draw(np.random.default_rng(1), many)
    assert r.outline is not None
    ways = ways_to_try(r, many.noise)
    found = trace(r, many, ways).own["outline"]
    sd = many.axes.with_edge(many.noise, r.depth_px)
    back = many.background
    wide = (r.outline - back.outline_mean) @ back.outline_whitener
    broad = log_t(float(wide @ wide), back.outline_log_scale, len(sd), many.noise.tail)
    for i in (0, 20, 79):
        for k, way in enumerate(ways):
            off = ((TURNED[way] * r.outline) @ many.axes.vectors - many.outline[i]) / sd
            plain = log_t(float(off @ off), float(np.log(sd).sum()), len(sd), many.noise.tail) - broad
            assert found[k, i] == pytest.approx(plain, rel=1e-5, abs=1e-4)


def colour_plainly(colour: Colour, listed: Lab, noise: Noise) -> float:
    matrix, log_scale = whitening(colour.lab, colour.u_lch, noise)
    off = (np.array(listed) - np.array(colour.lab)) @ matrix
    sd = np.array(noise.colour_broad_sd)
    z = (np.array(colour.lab) - np.array(noise.colour_broad_mean)) / sd
    broad = float(-0.5 * (z**2).sum() - np.log(sd).sum() - 1.5 * math.log(2 * math.pi))
    return log_t(float(off @ off), log_scale, 3, noise.colour_tail) - broad


@pytest.mark.parametrize("swapped", [False, True])
def test_colours(many: Prepared, swapped: bool) -> None:
    rng = np.random.default_rng(8)
    for _ in range(4):
        r: Readings = draw(rng, many)[0]
        found = _paints(r, many.palette.coats, swapped, many.noise)
        for c in range(0, len(many.palette.colourways), 29):
            colourway = many.palette.colourways[c]
            ends = (colourway.belly_lab, colourway.back_lab) if swapped else (colourway.back_lab, colourway.belly_lab)
            pairs = [(r.back, ends[0]), (r.belly, ends[1])]
            listed = {zone.kind: zone.lab for zone in colourway.zones}
            pairs += [(colour, listed.get(kind)) for kind, colour in r.zones]
            plain = sum(colour_plainly(a, b, many.noise) for a, b in pairs if a is not None and b is not None)
            assert found[c] == pytest.approx(plain, abs=2e-3)
