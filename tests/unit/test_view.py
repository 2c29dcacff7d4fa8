"""What a photo shows of a bait: back or belly is said only when everything speaks for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from identify.records import Colour, Lab, LineTies, Notice, Quantity, View
from identify.settings import Point
from identify.stages import Body, EyeSeen, Hardware, HookSeen, Pose, Ring
from identify.view import as_shown, judge
from tests.unit.test_rank import OTTER
from tests.unit.test_rank import measurement as measured

SLATE, STRAW = (36.0, -2.0, -9.0), (80.0, 1.0, 38.0)


def body(bend: float = 0.0, warnings: tuple[Notice, ...] = ()) -> Body:
    """A body 600 px long and 160 px deep, its middle line bent by a share of the depth."""
    x = (1 - np.cos(np.linspace(0, np.pi, 80))) / 2
    half = 80 * np.sqrt(np.sin(np.pi * x))
    middle = bend * 160 * np.sin(np.pi * x)
    points = np.column_stack([np.append(x, x[::-1]) * 600 + 100, np.append(middle - half, (middle + half)[::-1]) + 300])
    return Body(points, np.ones(len(points), bool), 0.3, warnings)


POSE = Pose((100, 300), (700, 300), True, 0.9, 0.9, (), (), None, 0.0, (1, 0, 0, 0, 0, 0))


def ring(x: float, y: float, p: float = 0.97) -> Ring:
    return Ring((x, y), (x, y), 40, p, False)


def hardware(*rings: Ring, eyes: tuple[Point, ...] = (), hooks: tuple[Point, ...] = ()) -> Hardware:
    return Hardware(
        rings, tuple(HookSeen(at, 0.9) for at in hooks), tuple(EyeSeen(at, 30, 0.9) for at in eyes), ()
    )  # fmt: skip


def colour(lab: Lab, share: float = 0.9) -> Colour:
    return Colour(lab, 4.0, (4.0, 2.0, 2.0), lab, 3.0, share, "#808080", None, "grey")


def test_rings_along_the_edge_show_a_side() -> None:
    found = judge(body(), POSE, hardware(ring(250, 200), ring(400, 400)), colour(SLATE), colour(STRAW))
    assert found.kind == "side"
    assert found.probability > 0.95


def test_a_bait_of_one_colour_on_its_side_is_a_side() -> None:
    with_rings = hardware(ring(250, 200), ring(400, 400))
    assert judge(body(), POSE, with_rings, colour(STRAW), colour(STRAW)).kind == "side"
    with_eye = hardware(ring(250, 200), eyes=((180, 290),))
    assert judge(body(), POSE, with_eye, colour(STRAW), colour(STRAW)).kind == "side"


def test_a_body_without_rings_that_looks_the_same_on_both_sides_is_a_back_or_belly() -> None:
    assert judge(body(), POSE, hardware(), colour(SLATE), colour(SLATE)).kind == "back"
    belly = judge(body(), POSE, hardware(hooks=((400, 305),)), colour(STRAW), colour(STRAW))
    assert belly.kind == "belly"
    assert belly.probability > 0.7


def test_eyes_on_either_side_show_a_back() -> None:
    assert judge(body(), POSE, hardware(eyes=((170, 245), (170, 355))), colour(SLATE), colour(SLATE)).kind == "back"


@pytest.mark.parametrize(
    ("traced", "found", "back", "belly"),
    [
        (body(), hardware(), SLATE, STRAW),
        (body(), hardware(), None, None),
        (body(0.25), hardware(), SLATE, SLATE),
        (body(), hardware(ring(250, 200)), SLATE, SLATE),
        (body(), hardware(eyes=((180, 290),)), SLATE, SLATE),
        (body(warnings=(Notice("outline-unclear", ""),)), hardware(), SLATE, SLATE),
    ],
    ids=["two colours", "colours not read", "bent", "one ring", "an eye within", "outline unclear"],
)
def test_a_single_sign_of_a_side_keeps_it_from_being_called_a_back(
    traced: Body, found: Hardware, back: Lab | None, belly: Lab | None
) -> None:
    seen = judge(traced, POSE, found, back and colour(back), belly and colour(belly))
    assert seen.kind in ("side", "unsure")


def test_a_back_gives_thickness_and_one_colour() -> None:
    whole = replace(measured(OTTER), view=View("back", 0.8), depth_mm=Quantity(11.0, 0.1))
    shown = as_shown(replace(whole, back_colour=colour(SLATE, 0.4), belly_colour=colour(STRAW, 0.8)))
    assert shown.depth_mm is None
    assert shown.hangers is None
    assert shown.thickness_mm is not None
    assert (shown.thickness_mm.value, shown.thickness_mm.source) == (11.0, "photo")
    assert 0.1 < shown.thickness_mm.u < 0.4
    assert shown.back_colour is not None
    assert shown.back_colour.lab == STRAW
    assert shown.belly_colour is None


def test_no_ties_on_a_back_say_nothing_and_a_belly_hides_them() -> None:
    whole = measured(OTTER)
    (nose_x, nose_y), (tail_x, _) = whole.nose_px, whole.tail_px
    on_axis = tuple((nose_x + share * (tail_x - nose_x), nose_y + 3) for share in (0.2, 0.4))
    two = LineTies(2, (0, 0.02, 0.97, 0.01, 0, 0), on_axis)
    none = LineTies(0, (0.97, 0.03, 0, 0, 0, 0))
    assert as_shown(replace(whole, view=View("back", 0.8))).line_ties is None  # those of a side lie on its edge
    assert as_shown(replace(measured(OTTER), view=View("back", 0.8), line_ties=two)).line_ties == two
    for view, ties in ((View("back", 0.8), none), (View("belly", 0.8), two)):
        shown = as_shown(replace(measured(OTTER), view=view, line_ties=ties))
        assert shown.line_ties is None
        assert "ties-unsure" in {n.code for n in shown.warnings}


def test_a_side_is_left_as_it_is() -> None:
    assert as_shown(measured(OTTER)) == measured(OTTER)
