"""The close look at a bait lies where it says it does, at whatever scale, size and turn."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from identify import pixelnet
from identify.closeup import Closeup, look
from identify.closeup.look import MARGIN_MM, MOST_PIXELS, PX_PER_MM, TYPICAL_LENGTH_MM, UNSURE_PX, unsureness
from identify.geometry import Array
from identify.pixelnet import Plane
from identify.stages import Region
from tests.unit.drawn import GREEN, NO_SCALE, RED, by_colour, closeup, ellipse, grid, painted, ring, scaled

SIZE = (403, 599)


@pytest.fixture(autouse=True)
def _told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pixelnet, "probabilities", by_colour)


def region_of(body: Array, shrink: int = 1) -> Region:
    h, w = body.shape[0] // shrink, body.shape[1] // shrink
    core = cv2.resize(body[: h * shrink, : w * shrink], (w, h), interpolation=cv2.INTER_AREA) > 0.5
    window = (0, 0, w * shrink, h * shrink)
    return Region(window, shrink, core, core, np.zeros((h, w, 3), np.float32), False)


def middle(plane: Plane) -> tuple[float, float]:
    """The centroid of what is more than half seen."""
    seen = np.clip(np.asarray(plane, float) - 0.1, 0, None)
    return float(seen.sum(0) @ np.arange(plane.shape[1]) / seen.sum()), float(
        seen.sum(1) @ np.arange(plane.shape[0]) / seen.sum()
    )


def looked(px_per_mm: float, turn: float, known: bool = True, shrink: int = 1) -> tuple[Closeup, Array, Array]:
    """A bait of 60 x 18 mm with a ring seen close up; also the middles of body and ring."""
    body_at = np.array([301.3, 196.8])
    body = ellipse(SIZE, body_at, (30 * px_per_mm, 9 * px_per_mm), turn)
    ring_at = body_at + 11 * px_per_mm * np.array([np.sin(turn), -np.cos(turn)])
    eyelet = ring(SIZE, (ring_at[0], ring_at[1]), 1.5 * px_per_mm, 1.2 * px_per_mm)
    photo = painted((eyelet, GREEN), (body, RED))
    return look(photo, region_of(body, shrink), scaled(px_per_mm) if known else NO_SCALE), body_at, ring_at


@pytest.mark.parametrize("turn", [0.0, 0.4, 1.5, 2.6])
@pytest.mark.parametrize(("px_per_mm", "shrink"), [(3.3, 1), (5.0, 2), (6.3, 3)])
def test_what_is_seen_lies_where_it_is_in_the_photo(px_per_mm: float, shrink: int, turn: float) -> None:
    seen, body_at, _ = looked(px_per_mm, turn, shrink=shrink)
    assert seen.to_photo(middle(seen.body))[0] == pytest.approx(body_at, abs=0.25)
    assert seen.px_per_mm == pytest.approx(px_per_mm)
    rows, columns = np.nonzero(seen.body > 0.5)
    assert np.ptp(columns) + 1 == pytest.approx(60 * PX_PER_MM, abs=2.5)
    assert np.ptp(rows) + 1 == pytest.approx(18 * PX_PER_MM, abs=2.5)
    assert columns.min() == pytest.approx(MARGIN_MM * PX_PER_MM, abs=4)


@pytest.mark.parametrize("turn", [0.0, 0.7])
def test_a_much_larger_picture_is_looked_at_at_the_same_scale(turn: float) -> None:
    """Reduced by whole steps first, then by the rest: neither moves anything."""
    body_at, px_per_mm = np.array([301.3, 196.8]), 13.0
    body = ellipse(SIZE, body_at, (16 * px_per_mm, 6 * px_per_mm), turn)
    seen = look(painted((body, RED)), region_of(body, 2), scaled(px_per_mm))
    assert seen.to_photo(middle(seen.body))[0] == pytest.approx(body_at, abs=0.4)
    assert np.ptp(np.nonzero(seen.body > 0.5)[1]) + 1 == pytest.approx(32 * PX_PER_MM, abs=2.5)


def test_a_ring_is_seen_whole() -> None:
    seen, _, ring_at = looked(5.0, 0.4)
    own = seen.from_photo(ring_at)[0]
    x, y = np.round(own).astype(int)
    assert seen.tie[y, x] < 0.3
    assert seen.tie[y - 12 : y + 13, x - 12 : x + 13].max() > 0.9


def test_points_go_there_and_back() -> None:
    seen, *_ = looked(6.1, 0.9)
    points = np.random.default_rng(2).uniform(0, 400, (20, 2))
    assert seen.from_photo(seen.to_photo(points)) == pytest.approx(points)
    assert closeup((9, 9)).to_photo(points) == pytest.approx(points)


def test_without_a_scale_the_bait_is_taken_for_a_usual_one() -> None:
    seen, *_ = looked(5.0, 0.4, known=False)
    assert seen.px_per_mm == pytest.approx(300 / TYPICAL_LENGTH_MM, rel=0.02)
    assert np.ptp(np.nonzero(seen.body > 0.5)[1]) + 1 == pytest.approx(TYPICAL_LENGTH_MM * PX_PER_MM, rel=0.02)


def test_a_huge_bait_is_looked_at_with_fewer_pixels() -> None:
    body = ellipse(SIZE, (300, 200), (270, 150))
    seen = look(painted((body, RED)), region_of(body), scaled(1.0))
    assert seen.body.size <= 1.02 * MOST_PIXELS
    assert seen.to_photo(middle(seen.body))[0] == pytest.approx((300, 200), abs=0.6)


def test_a_bait_at_the_frame_is_looked_at_beyond_it() -> None:
    body = ellipse(SIZE, (100, 200), (150, 45))
    seen = look(painted((body, RED)), region_of(body), scaled(5.0))
    assert seen.to_photo([[0, 0]])[0, 0] < -MARGIN_MM * 4
    assert np.isfinite(seen.body).all()


@pytest.mark.parametrize("turn", [0.0, 0.8])
def test_where_the_body_goes_on_it_is_looked_further(turn: float) -> None:
    """A core that holds but half of the body."""
    body_at = np.array([301.3, 196.8])
    body = ellipse(SIZE, body_at, (150, 45), turn)
    half = region_of(body * (grid(SIZE)[..., 0] < body_at[0]))
    seen = look(painted((body, RED)), half, scaled(5.0))
    assert seen.to_photo(middle(seen.body))[0] == pytest.approx(body_at, abs=0.5)


def test_a_thin_tail_that_is_dimly_seen_where_the_picture_ends_is_followed(monkeypatch: pytest.MonkeyPatch) -> None:
    """2 mm thick, of a bait whose core is the thick part; a network is unsure of it so near the picture's side."""
    thick = ellipse(SIZE, (220, 200), (110, 45))
    tail = np.zeros(SIZE)
    tail[195:205, 300:450] = 1.0

    def unsure_at_sides(linear: Plane, package: str, name: str) -> Plane:
        planes = by_colour(linear, package, name)
        planes[0, :, :30] *= 0.3
        planes[0, :, -30:] *= 0.3
        return planes

    monkeypatch.setattr(pixelnet, "probabilities", unsure_at_sides)
    seen = look(painted((np.maximum(thick, tail), RED)), region_of(thick), scaled(5.0))
    ends = seen.to_photo(np.argwhere(seen.body > 0.5)[:, ::-1])
    assert ends[:, 0].max() == pytest.approx(450, abs=2)


def test_a_neighbour_is_no_part_of_the_body_however_large() -> None:
    own, other = ellipse(SIZE, (220, 200), (100, 25)), ellipse(SIZE, (330, 120), (200, 45))
    seen = look(painted((own, RED), (other, RED)), region_of(own), scaled(5.0))
    places = seen.to_photo(np.argwhere(seen.body > 0.2)[:, ::-1])
    assert places[:, 1].min() > 172 and places[:, 0].max() < 323


def test_softly_seen_bodies_are_looked_at_from_all_sides(monkeypatch: pytest.MonkeyPatch) -> None:
    """A network that is wrong on the left only, however the picture is turned round: the mean is wrong by a share."""
    sharp, soft = (ellipse(SIZE, (300, 200), (150, 45)) for _ in range(2))
    soft = np.asarray(cv2.GaussianBlur(soft, (0, 0), 6.0), float)
    asked = []

    def lopsided(linear: Plane, package: str, name: str) -> Plane:
        planes = by_colour(linear, package, name)
        planes[7, :, : planes.shape[2] // 4] = 0.9
        asked.append(unsureness(planes[0]))
        return planes

    monkeypatch.setattr(pixelnet, "probabilities", lopsided)
    seen = look(painted((sharp, RED)), region_of(sharp), scaled(5.0))
    assert len(asked) == 1 and asked[0] < UNSURE_PX
    assert (seen.eye_at[:, 0].max(), seen.eye_at[:, -1].max()) == pytest.approx((0.9, 0.0))
    seen = look(painted((soft, RED)), region_of(soft), scaled(5.0))
    assert len(asked) == 4 and asked[1] > UNSURE_PX
    assert (seen.eye_at[:, 0].max(), seen.eye_at[:, -1].max()) == pytest.approx((0.6, 0.3), abs=0.01)
    assert seen.to_photo(middle(seen.body))[0] == pytest.approx((300, 200), abs=0.5)


def test_no_hardware_is_seen_beyond_the_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    """The picture's edge goes on there, and what a network makes of that is nothing."""
    monkeypatch.setattr(pixelnet, "probabilities", lambda light, *_: np.ones((9, *light.shape[:2]), np.float32))
    body = ellipse(SIZE, (100, 200), (150, 45), 0.1)
    seen = look(painted((body, RED)), region_of(body), scaled(5.0))
    places = seen.to_photo(np.argwhere(seen.eye_at > 0)[:, ::-1])
    assert len(places) > 1000
    assert places.min() > -1.5
    assert (seen.eye_at[:, :20] == 0).all() and (seen.body > 0).all()
