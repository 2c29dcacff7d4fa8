"""The two shipped networks on a small part of a demo photo: what comes out, and what it must not depend on."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields
from functools import cache
from importlib.resources import files
from pathlib import Path
from threading import Barrier

import cv2
import numpy as np
import pytest

from identify import pixelnet
from identify.closeup import Closeup
from identify.photo import read
from identify.pixelnet import Plane
from identify.separate.look import Scene
from tests.benchmarks.fit_pixelnets.looks import LOOKS

PHOTO = Path(__file__).parents[2] / "demo_photos" / "single-blue-cloth.jpg"
PX_PER_MM = 8.05
"""Of that photo, whose bait lies along x in this part of it."""
WINDOW = (330, 360, 1080, 650)
NETWORKS = {"scene": ("identify.separate", 1.6, 4), "bait": ("identify.closeup", 5.0, 9)}
"""Package, px/mm at which the network looks, planes."""
each_network = pytest.mark.parametrize("name", NETWORKS)


@cache
def small(name: str) -> Plane:
    """Linear RGB of the part at a network's scale."""
    zoom = NETWORKS[name][1] / PX_PER_MM
    linear = read(PHOTO).linear(WINDOW, 1)
    return np.asarray(cv2.resize(linear, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_AREA), np.float32)


def said(name: str, linear: Plane) -> Plane:
    return pixelnet.probabilities(linear, NETWORKS[name][0], name)


@cache
def plain(name: str) -> Plane:
    return said(name, small(name))


def overlap(one: Plane, other: Plane) -> float:
    """Area that two bodies share, relative to that of both."""
    a, b = one[0] > 0.5, other[0] > 0.5
    return float((a & b).sum() / (a | b).sum())


@each_network
def test_weights_are_in_the_package(name: str) -> None:
    weights = files(NETWORKS[name][0]).joinpath(f"{name}.onnx")
    assert weights.is_file() and 1e6 < len(weights.read_bytes()) < 5e6


def test_planes_are_read_in_the_order_that_the_networks_are_fitted_to() -> None:
    scene, bait = ([field.name for field in fields(kind)] for kind in (Scene, Closeup))
    assert scene[: NETWORKS["scene"][2]] == list(LOOKS["scene"].planes)
    assert bait[-NETWORKS["bait"][2] :] == list(LOOKS["bait"].planes)


@each_network
def test_a_probability_for_each_plane_and_pixel(name: str) -> None:
    seen = plain(name)
    assert seen.shape == (NETWORKS[name][2], *small(name).shape[:2]) and seen.dtype == np.float32
    assert float(seen.min()) >= 0 and float(seen.max()) <= 1
    # the bait is 61 mm long and 19 mm deep, and bulges; the rest is cloth
    body_mm2 = float((seen[0] > 0.5).sum()) / NETWORKS[name][1] ** 2
    assert 0.6 * 61 * 19 < body_mm2 < 61 * 19


@each_network
@pytest.mark.parametrize("gain", [0.25, 4.0])
def test_exposure_hardly_matters(name: str, gain: float) -> None:
    other = said(name, small(name) * np.float32(gain))
    assert overlap(plain(name), other) > 0.995
    assert np.abs(other - plain(name)).mean() < 0.001


@each_network
def test_white_balance_hardly_matters(name: str) -> None:
    other = said(name, small(name) * np.array([1.3, 1.0, 0.75], np.float32))
    assert overlap(plain(name), other) > 0.98
    assert np.abs(other - plain(name)).mean() < 0.005


@each_network
def test_any_size(name: str) -> None:
    """The networks halve a picture five times; what is added for that is taken off again."""
    h, w = small(name).shape[:2]
    other = said(name, small(name)[: h - 5, : w - 3])
    assert other.shape[1:] == (h - 5, w - 3)
    assert np.abs(other - plain(name)[:, : h - 5, : w - 3]).mean() < 0.005
    assert said(name, small(name)[:1, :7]).shape[1:] == (1, 7)


@each_network
def test_two_threads_at_once_give_the_same(name: str) -> None:
    together = Barrier(2, timeout=30)

    def one(linear: Plane) -> Plane:
        together.wait()
        return said(name, linear)

    alone = plain(name)
    mirrored = said(name, small(name)[:, ::-1])
    with ThreadPoolExecutor(2) as pool:
        here, there = pool.map(one, [small(name), small(name)[:, ::-1]])
    np.testing.assert_allclose(here, alone, atol=1e-4)
    np.testing.assert_allclose(there, mirrored, atol=1e-4)
