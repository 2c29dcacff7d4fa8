"""What is read off a close look at a bait: peaks, rings, hooks, eye, lip and traces, on hand-made planes; and from the
shipped network on demo photos."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest

from identify import body as bodies
from identify import closeup as closeups
from identify.calibration import Calibration
from identify.closeup import Closeup
from identify.geometry import Array
from identify.hardware import calibrated, detect, eye, lip, rings
from identify.hardware.calibrated import likelihood
from identify.hardware.peaks import peaks
from identify.hardware.shade import without_shadows
from identify.photo import Photo, read
from identify.separate import separate
from identify.settings import Settings
from identify.stages import Body, Hardware, Ring
from tests.benchmarks.hardware import HardwareTruth, truth_of
from tests.benchmarks.truth import ideal_calibration, photos, world
from tests.unit.drawn import NO_SCALE, closeup, ellipse, grid, line, photo_of, ring, scaled, spot

SHAPE = (200, 420)
"""Of a close-up at 5 px/mm: 84 x 40 mm."""
MM = 5.0
PHOTO = (600, 700)
DEMO = Path(__file__).parents[2] / "demo_photos"


def onto(px_per_mm: float, turn: float) -> Array:
    """A matrix that takes a photo of `px_per_mm`, turned by some degrees, to the close-up."""
    k, c, s = MM / px_per_mm, math.cos(math.radians(turn)), math.sin(math.radians(turn))
    around = np.array([[c, -s], [s, c]]) * k
    middle = np.array([SHAPE[1] / 2, SHAPE[0] / 2]) - around @ (np.array(PHOTO[::-1]) / 2)
    return np.column_stack([around, middle])


T = np.linspace(0, 2 * np.pi, 200, endpoint=False)
OUTLINE = np.array([SHAPE[1] / 2, SHAPE[0] / 2]) + np.column_stack([150 * np.cos(T), 40 * np.sin(T)])
BODY = ellipse(SHAPE, (SHAPE[1] / 2, SHAPE[0] / 2), (150, 40))
BACK, BELLY, TAIL = (150.4, 57.7), (230.2, 146.8), (368.3, 100.4)
"""Middles of rings, 4 mm across, that sit on the body's edge."""


def rings_on(px_per_mm: float = 8.0, turn: float = 0.0, hook: bool = True) -> Closeup:
    """One tie on the back, two hangers, a hook in that at the tail."""
    return closeup(
        SHAPE,
        onto(px_per_mm, turn),
        px_per_mm,
        body=BODY,
        tie=ring(SHAPE, BACK, 7.5, 5),
        hanger=np.maximum(ring(SHAPE, BELLY, 7.5, 5), ring(SHAPE, TAIL, 7.5, 5)),
        hook=line(SHAPE, (376, 100), (405, 104), 6) * hook,
        tie_at=spot(SHAPE, BACK, 0.95),
        hanger_at=np.maximum(spot(SHAPE, BELLY, 0.6), spot(SHAPE, TAIL, 0.8)),
    )


# ------------------------------------------------------------------ peaks
def test_peaks_are_placed_to_a_fraction_of_a_pixel_the_highest_first() -> None:
    true = np.array([[30.4, 50.7], [80.0, 20.5], [150.6, 90.2]])
    plane = sum(spot((120, 200), (x, y), h) for (x, y), h in zip(true, (0.4, 0.9, 0.7), strict=True))
    found = peaks(np.asarray(plane, np.float32), 10, 0.05)
    assert len(found) == 3
    assert found.at == pytest.approx(true[[1, 2, 0]], abs=0.2)
    assert found.height == pytest.approx([0.9, 0.7, 0.4], abs=0.05)


def test_of_two_near_peaks_the_lower_is_left_out_and_low_ones_are_none() -> None:
    plane = np.maximum(spot((60, 90), (30, 30), 0.9), spot((60, 90), (38, 30), 0.5))
    plane = np.maximum(plane, spot((60, 90), (70, 30), 0.04))
    near, apart = (peaks(plane.astype(np.float32), gap, 0.05) for gap in (10, 6))
    assert near.at == pytest.approx(np.array([[30.0, 30.0]]), abs=0.3)
    assert len(apart) == 2


def test_a_level_top_is_one_peak_and_an_empty_plane_none() -> None:
    plane = np.zeros((40, 40), np.float32)
    assert peaks(plane, 8, 0.05).at.shape == (0, 2)
    plane[0:4, 20:24] = 0.8
    found = peaks(plane, 8, 0.05)
    assert len(found) == 1
    assert (0 <= found.at[0, 1] <= 3) and (20 <= found.at[0, 0] <= 23)


# ------------------------------------------------------------------ likelihood
@pytest.mark.parametrize("kind", sorted(calibrated.CURVES))
def test_a_higher_peak_is_likelier_right(kind: str) -> None:
    p = [likelihood(kind, h) for h in np.linspace(0, 1, 21)]
    assert all(a < b for a, b in pairwise(p))
    assert 0 <= p[0] < 0.05 and 0.6 < p[-1] <= 1


# ------------------------------------------------------------------ rings
@pytest.mark.parametrize("turn", [0.0, 35.0, 160.0])
@pytest.mark.parametrize("px_per_mm", [6.0, 11.0])
def test_rings_lie_where_they_peak_in_the_photo(px_per_mm: float, turn: float) -> None:
    seen = rings_on(px_per_mm, turn)
    found = rings.find(seen, OUTLINE)
    assert len(found) == 3
    assert [r.at_px for r in found] == [pytest.approx(p, abs=2) for p in seen.to_photo([BACK, TAIL, BELLY])]
    every = np.maximum(seen.tie_at, seen.hanger_at)
    heights = [float(every[round(y), round(x)]) for x, y in (BACK, TAIL, BELLY)]
    assert [r.probability for r in found] == pytest.approx([likelihood("ring", h) for h in heights])
    for r in found:
        assert r.outer_diameter_px / px_per_mm == pytest.approx(4.0, abs=0.5)
        assert np.hypot(*(seen.from_photo(r.root_px)[0] - OUTLINE).T).min() < 0.1
        assert np.hypot(*np.subtract(r.at_px, r.root_px)) < 2.5 * px_per_mm


def test_ties_and_hangers_are_told_apart_by_their_peaks() -> None:
    tie, *hangers = rings.find(rings_on(), OUTLINE)
    assert tie.tie_like > 0.95
    assert all(r.tie_like < 0.05 for r in hangers)


def test_only_what_holds_a_hook_is_hooked() -> None:
    tie, tail, belly = rings.find(rings_on(), OUTLINE)
    assert tail.hooked and not tie.hooked and not belly.hooked
    assert not any(r.hooked for r in rings.find(rings_on(hook=False), OUTLINE))


def test_a_ring_whose_wire_is_not_seen_is_taken_for_a_usual_one() -> None:
    seen = closeup(SHAPE, onto(8.0, 0.0), 8.0, body=BODY, tie_at=spot(SHAPE, BACK))
    (found,) = rings.find(seen, OUTLINE)
    assert found.outer_diameter_px == pytest.approx(rings.USUAL_MM * 8)


def test_a_bare_body_has_no_rings() -> None:
    assert rings.find(closeup(SHAPE, body=BODY), OUTLINE) == ()


# ------------------------------------------------------------------ lip
def test_a_plate_is_found_from_root_to_tip() -> None:
    plate = line(SHAPE, (70, 110), (30, 150), 16)
    seen = closeup(SHAPE, onto(8.0, 20.0), 8.0, body=BODY, lip=plate * (1 - BODY))
    (found,) = lip.find(seen, OUTLINE)
    assert found.probability > 0.9
    root, tip = seen.from_photo([found.root_px, found.tip_px])
    assert np.hypot(*(OUTLINE - root).T).min() < 6
    assert tip == pytest.approx((25, 156), abs=8)


def test_a_small_plate_is_doubtful_and_a_speck_none() -> None:
    def found(width: float) -> list[float]:
        seen = closeup(SHAPE, body=BODY, lip=spot(SHAPE, (40, 140), 1, width))
        return [plate.probability for plate in lip.find(seen, OUTLINE)]

    assert found(1.5) == []
    (small,), (large,) = found(3.5), found(7.0)
    assert small < 0.5 < large


# ------------------------------------------------------------------ shadows of rings
def ringed(*rings: tuple[tuple[float, float], str]) -> tuple[Photo, Array, tuple[Ring, ...]]:
    """Rings 4 mm across beside a body's lower edge at 8 px/mm: of `wire` that shines on one side, of `dull` wire darker
    than the ground all round, or a `shadow`."""
    rng = np.random.default_rng(2)
    linear = np.full((*PHOTO, 3), (0.5, 0.45, 0.35))
    where = grid(PHOTO)
    found = []
    for at, kind in rings:
        off = where - np.array(at)
        hoop = np.clip(4.0 - np.abs(np.hypot(*np.moveaxis(off, -1, 0)) - 12.0), 0, 1)[..., None]
        shine = (0.5 + 0.5 * np.tanh((off[..., 0] - off[..., 1]) / 4.0))[..., None]
        tone = {"wire": 0.08 + 0.85 * shine, "dull": 0.12 + 0.1 * shine, "shadow": 0.45 * linear}[kind]
        linear = linear * (1 - hoop) + tone * hoop
        found.append(Ring(at, (at[0], 290.0), 32.0, 0.95, False, 1.0))
    body = np.array([(0.0, 0.0), (699.0, 0.0), (699.0, 290.0), (0.0, 290.0)])
    linear[:290] = (0.05, 0.2, 0.1)
    linear = cv2.GaussianBlur(linear, (0, 0), 0.8) * (1 + rng.normal(0, 0.03, linear.shape))
    return photo_of(linear), body, tuple(found)


def test_a_shadow_beside_its_ring_is_no_ring() -> None:
    photo, body, found = ringed(((300.0, 306.0), "wire"), ((340.0, 310.0), "shadow"))
    ring, shadow = without_shadows(photo, found, body, 8.0)
    assert (ring.at_px, ring.probability) == ((300.0, 306.0), 0.95)
    assert shadow.at_px == (340.0, 310.0) and shadow.probability < 0.2


@pytest.mark.parametrize(
    "rings",
    [
        [((300.0, 306.0), "wire"), ((340.0, 306.0), "wire")],  # two line ties
        [((300.0, 306.0), "dull"), ((340.0, 306.0), "dull")],  # blackened, as both are
        [((300.0, 306.0), "shadow")],  # dull as a shadow, and none beside it that could throw one
        [((300.0, 306.0), "wire"), ((420.0, 306.0), "dull")],  # too far from the other to be its shadow
    ],
)
def test_rings_that_are_none_of_them_a_shadow_stay(rings: list[tuple[tuple[float, float], str]]) -> None:
    photo, body, found = ringed(*rings)
    assert without_shadows(photo, found, body, 8.0) == found


def test_a_ring_in_which_a_hook_hangs_is_nobodys_shadow() -> None:
    photo, body, (tie, other) = ringed(((300.0, 306.0), "wire"), ((340.0, 310.0), "shadow"))
    hooked = replace(other, hooked=True)
    assert without_shadows(photo, (tie, hooked), body, 8.0) == (tie, hooked)


# ------------------------------------------------------------------ eye
def eyed(px_per_mm: float, at: tuple[float, float], radii_mm: tuple[float, ...] = (2.0, 1.6, 1.0)) -> Photo:
    """A flank with concentric rings of paint."""
    away = np.hypot(*np.moveaxis(grid(PHOTO) - np.array(at), -1, 0))
    linear = np.full((*PHOTO, 3), (0.2, 0.3, 0.15))
    for r, tone in zip(radii_mm, (0.02, 0.6, 0.01), strict=False):
        inside = np.clip(0.5 - (away - r * px_per_mm), 0, 1)[..., None]
        linear = linear * (1 - inside) + tone * inside
    linear = cv2.GaussianBlur(linear, (0, 0), 0.8)
    return photo_of(linear + np.random.default_rng(3).normal(0, 0.004, linear.shape))


@pytest.mark.parametrize("px_per_mm", [6.0, 9.5, 16.0])
def test_the_eye_is_measured_over_its_outermost_ring(px_per_mm: float) -> None:
    true = (340.3, 295.8)
    seen = closeup(SHAPE, onto(px_per_mm, 25.0), px_per_mm, body=BODY)
    peak = seen.from_photo(np.array(true) + 0.2 * px_per_mm)[0]  # a fifth of a millimetre off
    seen = closeup(SHAPE, seen.matrix, px_per_mm, body=BODY, eye_at=spot(SHAPE, (peak[0], peak[1]), 0.9))
    (found,) = eye.find(eyed(px_per_mm, true), seen)
    assert found.at_px == pytest.approx(true, abs=0.25 * px_per_mm)
    assert found.diameter_px / px_per_mm == pytest.approx(4.0, abs=0.2)
    assert found.probability == pytest.approx(likelihood("eye", 0.9), abs=0.03)


@pytest.mark.parametrize("radius_mm", [1.2, 2.0, 3.2, 4.4, 5.5])
def test_eyes_of_every_size_are_read_and_nothing_beyond_them(radius_mm: float) -> None:
    """From pinheads to those that fill the flank; the body's edge and a border of two paints lie near."""
    px_per_mm, true = 8.0, (350.0, 300.0)
    linear = eyed(px_per_mm, true, tuple(radius_mm * k for k in (1.0, 0.8, 0.45))).pixels / 255.0
    lit = np.asarray(linear**2.2, float)
    away = grid(PHOTO) - np.array(true)
    beyond = np.hypot(*np.moveaxis(away, -1, 0)) > radius_mm * px_per_mm + 1.5
    belly = away[..., 1] > 0.4 * radius_mm * px_per_mm
    lit[beyond & belly] += (0.25, 0.1, 0.1)
    lit[np.hypot(away[..., 0] / 30, away[..., 1] / 8) > px_per_mm] = 0.5  # the body ends, and pale ground begins
    seen = closeup(SHAPE, onto(px_per_mm, 0.0), px_per_mm, body=BODY)
    peak = seen.from_photo(np.array(true))[0]
    seen = closeup(SHAPE, seen.matrix, px_per_mm, body=BODY, eye_at=spot(SHAPE, (peak[0], peak[1]), 0.9))
    (found,) = eye.find(photo_of(cv2.GaussianBlur(lit, (0, 0), 0.8)), seen)
    assert found.diameter_px / px_per_mm == pytest.approx(2 * radius_mm, abs=0.3)


def test_the_surest_eye_comes_first_and_none_is_made_up() -> None:
    photo = eyed(8.0, (300.0, 300.0))
    twice = np.maximum(spot(SHAPE, (100, 100), 0.3), spot(SHAPE, (200, 100), 0.8))
    found = eye.find(photo, closeup(SHAPE, onto(8.0, 0.0), 8.0, body=BODY, eye_at=twice))
    assert [e.probability for e in found] == sorted((e.probability for e in found), reverse=True)
    assert len(found) == 2
    assert eye.find(photo, closeup(SHAPE, onto(8.0, 0.0), 8.0, body=BODY)) == ()


# ------------------------------------------------------------------ all of it
def found_on(seen: Closeup, calibration: Calibration) -> Hardware:
    outline = seen.to_photo(OUTLINE)
    return detect(eyed(8.0, (300.0, 300.0)), Body(outline, np.ones(len(outline), bool), 0.3), seen, calibration)


def test_hooks_hang_in_rings_that_are_there() -> None:
    found = found_on(rings_on(), scaled(8.0))
    (hook,) = found.hooks
    (holder,) = (r for r in found.rings if r.hooked)
    assert hook.at_px == holder.at_px
    assert found.plates == () and found.eyes == () and found.traces == () and found.warnings == ()


def test_what_a_lost_ring_leaves_is_a_stump_or_a_hole() -> None:
    at = np.maximum(spot(SHAPE, (150, 62)), spot(SHAPE, (250, 62)))
    seen = closeup(SHAPE, onto(8.0, 0.0), 8.0, body=BODY, trace_at=at, tie=spot(SHAPE, (250, 60), 0.9, 3))
    found = {kind: seen.from_photo(place)[0] for place, kind in found_on(seen, scaled(8.0)).traces}
    assert found["hole"] == pytest.approx((150, 62), abs=0.5)
    assert found["stump"] == pytest.approx((250, 62), abs=0.5)


def test_few_pixels_are_warned_of() -> None:
    few = closeup(SHAPE, onto(4.0, 0.0), 4.0, body=BODY)
    assert [w.code for w in found_on(few, scaled(4.0)).warnings] == ["resolution-low"]
    assert found_on(few, NO_SCALE).warnings == ()


# ------------------------------------------------------------------ the shipped network
def demo(file: str) -> tuple[Hardware, HardwareTruth]:
    (truth,) = (p for p in photos(DEMO) if p.truth["file"] == file)
    photo, calibration = read(truth.path), ideal_calibration(truth)
    (region,) = separate(photo, calibration, Settings()).regions
    seen = closeups.look(photo, region, calibration)
    found = detect(photo, bodies.trace(photo, region, seen), seen, calibration)
    return found, truth_of(truth.baits[0], world(DEMO))


@pytest.mark.parametrize("file", ["single-wood.jpg", "single-three-ties.jpg", "single-grey-tray.jpg"])
def test_rings_and_eye_of_demo_photos(file: str) -> None:
    found, true = demo(file)
    likely = [r for r in found.rings if r.probability > 0.3]
    for wanted, places in ((True, true.ties), (False, true.hangers)):
        own = np.array([r.at_px for r in likely if (r.tie_like > 0.5) == wanted]).reshape(-1, 2)
        for place in places:
            assert np.hypot(*(own - place).T).min(initial=np.inf) < 1.5 * true.px_per_mm
    assert true.eye is not None
    first = found.eyes[0]
    assert first.probability > 0.5
    assert np.hypot(*np.subtract(first.at_px, true.eye)) < 3.5 * true.px_per_mm
    assert first.diameter_px == pytest.approx(true.eye_diameter, abs=1.0 * true.px_per_mm)
