"""Nose, back, ties and hangers decided jointly, on a drawn body: a drop, full in front, slim behind."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from identify.geometry import Array, max_feret
from identify.orient import count_distribution, resolve
from identify.records import Quantity
from identify.stages import Body, EyeSeen, Hardware, PlateSeen, Pose, Ring, Sizing

LENGTH = 600.0


def drop(fullness: float = 0.08) -> Array:
    """Outline of a body whose nose is at (0, 0), tail at (LENGTH, 0); y down; the same above and below."""
    t = np.linspace(0, np.pi, 120)
    x = (1 - np.cos(t)) / 2
    half = 0.11 * np.sin(t) * (1 + fullness * 8 * (0.5 - x))
    top = np.column_stack([x, -half])
    bottom = np.column_stack([x, half])[::-1]
    return np.vstack([top, bottom[1:-1]]) * LENGTH


def ring(x: float, y: float, p: float = 0.98, hooked: bool = False, tie_like: float = 0.5) -> Ring:
    return Ring((x * LENGTH, y * LENGTH), (x * LENGTH, y * LENGTH * 0.9), 40.0, p, hooked, tie_like)


def pose(
    rings: tuple[Ring, ...], eyes: tuple[EyeSeen, ...] = (), fullness: float = 0.08, turn: float = 0.0,
    mirrored: bool = False, plates: tuple[PlateSeen, ...] = (),
) -> tuple[Pose, Array]:  # fmt: skip
    """Resolve the drop turned by `turn` degrees, perhaps mirrored; also gives the true nose."""
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    matrix = np.array([[c, -s], [s, c]]) @ (np.diag([1.0, -1.0]) if mirrored else np.eye(2))

    def move(p: tuple[float, float]) -> tuple[float, float]:
        q = matrix @ np.array(p)
        return float(q[0]), float(q[1])

    outline = drop(fullness) @ matrix.T
    if mirrored:
        outline = outline[::-1]
    a, b = max_feret(outline)
    body = Body(outline, np.ones(len(outline), bool), 0.3)
    sizing = Sizing(((a[0], a[1]), (b[0], b[1])), None, None, Quantity(0.22, 0.01), None, 0.0, 10.0)
    hardware = Hardware(
        tuple(replace(r, at_px=move(r.at_px), root_px=move(r.root_px)) for r in rings),
        (),
        tuple(EyeSeen(move(e.at_px), e.diameter_px, e.probability) for e in eyes),
        tuple(PlateSeen(move(q.root_px), move(q.tip_px), q.probability) for q in plates),
    )  # fmt: skip
    return resolve(body, sizing, hardware), np.array(move((0.0, 0.0)))


BACK_TIE = ring(0.28, -0.14, tie_like=0.9)
BELLY = ring(0.45, 0.13, hooked=True, tie_like=0.1)
TAIL = ring(1.02, 0.0, hooked=True, tie_like=0.1)
EYE = EyeSeen((0.12 * LENGTH, -0.02 * LENGTH), 40.0, 0.97)


@pytest.mark.parametrize("turn", [0, 35, 90, 180, 250])
@pytest.mark.parametrize("mirrored", [False, True])
def test_the_answer_turns_with_the_picture(turn: float, mirrored: bool) -> None:
    found, nose = pose((TAIL, BACK_TIE, BELLY), (EYE,), turn=turn, mirrored=mirrored)
    assert np.hypot(*(np.array(found.nose_px) - nose)) < 5
    # unmirrored the back is up in the picture with the nose to the left: to the left hand of one who walks to the tail
    assert found.back_is_left is not mirrored
    assert found.ties == (1,)
    assert found.hangers == (2, 0)
    assert found.eye == 0
    assert found.p_nose > 0.9
    assert found.p_back > 0.9


def test_probabilities_of_the_count_sum_to_one() -> None:
    found, _ = pose((TAIL, BACK_TIE, BELLY, ring(0.4, -0.13, p=0.5, tie_like=0.8)), (EYE,))
    assert sum(found.tie_probabilities) == pytest.approx(1)
    assert found.tie_probabilities[1] + found.tie_probabilities[2] > 0.9


def test_nothing_known_is_said_to_be_unsure() -> None:
    found, _ = pose((), fullness=0.0)
    assert found.p_nose == pytest.approx(0.5, abs=0.1)
    assert found.p_back == pytest.approx(0.5, abs=0.1)
    assert found.eye is None


def test_hangers_without_hooks_are_not_ties() -> None:
    """Two ties on the back, empty hangers at belly and tail."""
    rings = (BACK_TIE, ring(0.4, -0.13, tie_like=0.9), ring(0.45, 0.13, tie_like=0.15), ring(1.02, 0.0, tie_like=0.15))
    found, _ = pose(rings, (EYE,))
    assert found.ties == (0, 1)
    assert found.hangers == (2, 3)


def test_a_chin_tie_is_a_tie() -> None:
    found, _ = pose((ring(0.22, 0.13, tie_like=0.97), BELLY, TAIL), (EYE,))
    assert found.ties == (0,)


def test_a_tie_at_the_nose() -> None:
    found, nose = pose((ring(-0.02, 0.0, tie_like=0.9), BELLY, TAIL), (EYE,))
    assert found.ties == (0,)
    assert np.hypot(*(np.array(found.nose_px) - nose)) < 5


def test_a_lip_is_passed_on() -> None:
    lip = PlateSeen((0.05 * LENGTH, 0.05 * LENGTH), (0.0, 0.15 * LENGTH), 0.9)
    found, _ = pose((BACK_TIE, BELLY, TAIL), (EYE,), plates=(lip,))
    assert found.lip_probability == pytest.approx(0.9)


def test_count_distribution_against_the_binomial() -> None:
    """Equal probabilities make the Poisson binomial distribution a binomial one; the unseen tie adds a little."""
    from scipy.stats import binom

    p = count_distribution((0.3, 0.3, 0.3))
    assert p.sum() == pytest.approx(1)
    assert p[:4] == pytest.approx(binom.pmf(range(4), 3, 0.3), abs=0.02)
