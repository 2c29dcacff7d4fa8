"""A joint that shows: a gap across the body through which the ground is seen, and two parts that lie end to end."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from identify.geometry import Array
from identify.joint import end_to_end, find, gap
from identify.photo import Photo
from identify.rank import prepare, rank_readings, read
from identify.rank.telling import tell
from identify.records import WARNINGS, Bait, Measurement, Notice
from identify.stages import as_polygon
from identify.told import parse
from tests.unit.test_rank import OTTER, measurement
from tests.unit.test_rank_told import MADE

GROUND, BACK, BELLY = (150, 120, 90), (60, 90, 40), (200, 190, 120)
NOSE, TAIL = (100.0, 200.0), (700.0, 200.0)
SEAM = 390


def outline(x0: float = 100.0, x1: float = 700.0) -> Array:
    """A cigar from x0 to x1, 120 pixels deep."""
    x = np.linspace(x0, x1, 200)
    half = 60 * np.clip(1 - ((x - 400) / 301) ** 4, 0.02, 1) ** 0.5
    return np.column_stack([np.append(x, x[::-1]), np.append(200 - half, 200 + half[::-1])])


def scene(cut_px: int = 0, at: int = SEAM, ground: tuple[int, int, int] = GROUND, light: float = 1.0) -> Photo:
    """A bait on plain ground, cut through over `cut_px` pixels so that the ground shows, `light` of it."""
    rng = np.random.default_rng(0)
    picture = np.full((400, 800, 3), ground, np.float64)
    points = [np.round(outline()).astype(np.int32)]
    body = np.zeros((400, 800), np.uint8)
    cv2.fillPoly(body, points, 1)
    picture[body > 0] = BACK
    picture[(body > 0) & (np.arange(400)[:, None] > 210)] = BELLY
    if cut_px:
        picture[:, at : at + cut_px] = np.array(ground) * light ** (1 / 2.2)
        cv2.line(picture, (at - 4, 195), (at + cut_px + 4, 195), (170, 170, 170), 6)
    noisy = np.clip(picture + rng.normal(0, 1.5, picture.shape), 0, 255).astype(np.uint8)
    return Photo("drawn", "0" * 64, noisy, None)


@pytest.mark.parametrize("cut_px", [6, 14, 30])
@pytest.mark.parametrize("light", [1.0, 0.3])
def test_a_gap_is_seen_lit_or_in_shadow(cut_px: int, light: float) -> None:
    found = find(scene(cut_px, light=light), outline(), (NOSE, TAIL))
    assert found is not None
    assert found.at == pytest.approx((SEAM + cut_px / 2 - 100) / 600, abs=0.015)
    assert found.width == pytest.approx(cut_px / 600, abs=0.015)


@pytest.mark.parametrize(
    "photo",
    [
        scene(),
        scene(30, at=110),  # at the nose: a lip or a ring over the ground
        scene(90),  # so wide that it is no joint
        scene(ground=BELLY),
        scene(20, ground=BACK),  # half of the body looks like the ground all along
    ],
    ids=["whole", "at the nose", "wide", "on ground like its belly", "cut, on ground like its back"],
)
def test_what_is_no_gap(photo: Photo) -> None:
    assert find(photo, outline(), (NOSE, TAIL)) is None


def test_a_wire_across_the_body_that_is_as_the_ground_is_no_gap() -> None:
    """A hook's shank that lies over the flank, grey on grey."""
    picture = scene().pixels.copy()
    picture[:, SEAM : SEAM + 3] = GROUND
    assert find(Photo("drawn", "0" * 64, picture, None), outline(), (NOSE, TAIL)) is None


def test_a_painted_bar_is_no_gap() -> None:
    picture = scene().pixels.copy()
    picture[:, 380:400][np.abs(np.arange(400) - 200) < 58] = (240, 240, 240)
    assert find(replace(scene(), pixels=picture), outline(), (NOSE, TAIL)) is None


def test_the_clearest_of_several_gaps_counts() -> None:
    through = np.zeros(100)
    through[30:32], through[60:63] = 0.8, 1.0
    found = gap(through)
    assert found is not None and found.at == pytest.approx(0.615)
    assert gap(np.zeros(100)) is None and gap(np.ones(100)) is None


def part(number: int, x0: float, x1: float, turn_deg: float = 0.0) -> Bait:
    points = outline()
    cut = points[(points[:, 0] >= x0) & (points[:, 0] <= x1)]
    angle = np.radians(turn_deg)
    middle = cut.mean(0)
    cut = (cut - middle) @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]]) + middle
    m: Measurement = replace(measurement(OTTER), number=number, outline_px=as_polygon(cut), warnings=())
    return Bait(m)


def warned(baits: tuple[Bait, ...]) -> list[int]:
    return [b.measurement.number for b in baits if "joint-seen" in [n.code for n in b.measurement.warnings]]


def test_two_parts_that_lie_end_to_end() -> None:
    found = end_to_end((part(1, 100, 380), part(2, 400, 700)))
    assert warned(found) == [1, 2]
    assert "bait 2" in found[0].measurement.warnings[0].text


@pytest.mark.parametrize(
    "baits",
    [
        (part(1, 100, 380), part(2, 480, 700)),  # far apart
        (part(1, 100, 380), part(2, 400, 700, 40)),  # not in one line
        (part(1, 100, 380),),
        (),
    ],
    ids=["apart", "aslant", "one", "none"],
)
def test_baits_that_are_no_parts_of_one(baits: tuple[Bait, ...]) -> None:
    assert warned(end_to_end(baits)) == []


def test_a_joint_seen_is_not_comparable_unless_a_person_says_otherwise() -> None:
    seen = replace(measurement(OTTER), warnings=(Notice("joint-seen", WARNINGS["joint-seen"]),))
    p = prepare(MADE)
    plain, jointed = (rank_readings(read(m), p) for m in (measurement(OTTER), seen))
    assert plain.not_comparable < 0.03 and jointed.not_comparable > 0.5
    assert jointed.candidates[0].model == plain.candidates[0].model
    assert rank_readings(tell(read(seen), parse(["parts=1"])), p).not_comparable < 0.02
    assert rank_readings(tell(read(seen), parse(["parts=2"])), p).not_comparable > 0.7
