"""What close looks say of the regions that separation found: two baits flank to flank, none, or one as it was."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from identify.calibration import Calibration
from identify.closeup import Closeup, look_at_all, several
from identify.geometry import Array
from identify.photo import Photo
from identify.records import SetAside
from identify.stages import Region, Separation
from tests.unit.drawn import RED, closeup, ellipse, painted, scaled, spot

SIZE = (240, 400)
PX_PER_MM = 4.0
UPPER = ellipse(SIZE, (180.0, 80.0), (120.0, 34.0))
LOWER = ellipse(SIZE, (220.0, 146.0), (120.0, 34.0))
SHIFT = np.array([[1.0, 0, 25], [0, 1, 40]])
"""From pixels of the photo to those of the close-ups here."""


def seen(body: Array, likely: float = 0.98, ring: float = 0.9) -> Closeup:
    plane, at = np.zeros((320, 480)), np.zeros((320, 480))
    plane[40 : 40 + SIZE[0], 25 : 25 + SIZE[1]] = likely * body
    at[40 : 40 + SIZE[0], 25 : 25 + SIZE[1]] = spot(SIZE, (200, 100), ring)
    return closeup(plane.shape, SHIFT, PX_PER_MM, body=plane, tie_at=at)


def region(*bodies: Array, shrink: int = 1) -> Region:
    core = np.max(bodies, 0)[::shrink, ::shrink] > 0.5
    window = (0, 0, SIZE[1], SIZE[0])
    return Region(window, shrink, core, core, np.zeros((*core.shape, 3), np.float32), False)


def overlap(mask: NDArray[np.bool_], body: Array) -> float:
    true = body > 0.5
    return float((mask & true).sum() / (mask | true).sum())


@pytest.mark.parametrize(
    ("likely", "ring", "right"), [(0.98, 0.0, True), (0.75, 0.0, False), (0.75, 0.9, True), (0.0, 0.0, False)]
)
def test_a_bait_is_known_by_its_body_or_a_part_of_it(likely: float, ring: float, right: bool) -> None:
    assert several.looks_right(seen(UPPER, likely, ring)) == right


def test_a_region_of_two_bodies_is_parted() -> None:
    whole = region(UPPER, LOWER)
    one, rest = several.parted(whole, seen(UPPER))
    assert rest is not None
    assert overlap(one.core, UPPER) > 0.95 and overlap(rest.core, LOWER) > 0.9
    assert not (one.mask & rest.mask).any() and ((one.mask | rest.mask) == whole.mask).all()


@pytest.mark.parametrize("other", [None, ellipse(SIZE, (200.0, 150.0), (40.0, 12.0))])
def test_a_rim_or_a_stub_is_no_second_bait(other: Array | None) -> None:
    wider = ellipse(SIZE, (180.0, 80.0), (125.0, 39.0))
    whole = region(wider) if other is None else region(wider, other)
    same, rest = several.parted(whole, seen(UPPER))
    assert rest is None and same is whole


def test_a_look_that_sees_nothing_of_the_region_parts_nothing() -> None:
    whole = region(ellipse(SIZE, (220.0, 190.0), (120.0, 34.0)))
    same, rest = several.parted(whole, seen(UPPER))
    assert rest is None and same is whole


def test_the_body_lies_in_the_region_where_it_was_seen() -> None:
    at = several.own_body(region(UPPER, shrink=2), seen(UPPER))
    assert overlap(at, UPPER[::2, ::2]) > 0.98


def asked(monkeypatch: pytest.MonkeyPatch, whole: Region, *answers: Closeup) -> several.Looks:
    """All of a photo, the close looks being `answers` in turn."""
    left = iter(answers)

    def look(photo: Photo, region: Region, calibration: Calibration) -> Closeup:
        return next(left)

    monkeypatch.setattr(several, "look", look)
    before = Separation((whole,), (SetAside(((0.0, 0.0),), "long and thin"),))
    return look_at_all(painted((UPPER, RED), (LOWER, RED)), before, scaled(PX_PER_MM))


def test_two_baits_come_out_of_one_region_in_reading_order(monkeypatch: pytest.MonkeyPatch) -> None:
    looks = asked(monkeypatch, region(UPPER, LOWER), seen(LOWER), seen(UPPER))
    (first, _), (second, _) = looks.baits
    assert overlap(first.core, UPPER) > 0.9 and overlap(second.core, LOWER) > 0.9
    assert [a.reason for a in looks.set_aside] == ["long and thin"] and not looks.warnings


@pytest.mark.parametrize("second", [seen(UPPER), seen(LOWER, 0.7, 0.0)])
def test_a_second_look_must_see_another_bait(monkeypatch: pytest.MonkeyPatch, second: Closeup) -> None:
    whole = region(UPPER, LOWER)
    looks = asked(monkeypatch, whole, seen(UPPER), second)
    assert len(looks.baits) == 1 and looks.baits[0][0] is whole


def test_what_is_no_bait_from_close_by_is_set_aside_and_said(monkeypatch: pytest.MonkeyPatch) -> None:
    looks = asked(monkeypatch, region(UPPER), seen(UPPER, 0.7, 0.1))
    assert not looks.baits and [n.code for n in looks.warnings] == ["no-bait"]
    thing = looks.set_aside[-1]
    assert thing.reason == several.NO_BAIT
    assert np.ptp(np.array(thing.outline_px), axis=0) == pytest.approx([240, 68], abs=3)
