"""What separation makes of a network's picture, on drawn scenes; and the shipped network on demo photos."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from identify import pixelnet
from identify.geometry import Array
from identify.photo import Photo, read
from identify.separate import look, separate
from identify.separate.ground import bare_ground
from identify.separate.look import Scene
from identify.separate.shape import Shape, why_not
from identify.separate.things import Thing, bodies, others
from identify.settings import Settings
from identify.stages import Region
from tests.benchmarks.separate import judge
from tests.benchmarks.truth import ideal_calibration, photos
from tests.unit.drawn import (
    BLUE,
    GREEN,
    GREY,
    NO_SCALE,
    RED,
    by_colour,
    distance,
    ellipse,
    grid,
    line,
    painted,
    ring,
    scaled,
)  # fmt: skip

SHAPE = (300, 400)
PX_PER_MM = 2.5
"""Of the scenes that are made by hand."""
WIRE = 1.8 * PX_PER_MM
DEMO = Path(__file__).parents[2] / "demo_photos"


def scene(**planes: Array) -> Scene:
    """A scene that shows nothing but the planes given."""
    nothing = np.zeros(SHAPE, np.float32)
    shown = {k: np.asarray(planes.get(k, nothing), np.float32) for k in ("body", "wire", "lip", "thing")}
    on_card: NDArray[np.bool_] = np.asarray(planes.get("on_card", nothing), float) > 0
    bare = np.full((1, 1, 3), GREY, np.float32)
    return Scene(
        shown["body"], shown["wire"], shown["lip"], shown["thing"], 1.0, PX_PER_MM, on_card, on_card, bare, 400
    )


def placed(thing: Thing, mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """A thing's mask as large as the scene."""
    whole = np.zeros(SHAPE, bool)
    (x, y), (h, w) = thing.place, mask.shape
    whole[y : y + h, x : x + w] = mask
    return whole


def core_of(thing: Thing) -> NDArray[np.bool_]:
    return placed(thing, thing.core)


def mask_of(thing: Thing) -> NDArray[np.bool_]:
    return placed(thing, thing.mask)


def iou(one: NDArray[np.bool_], other: NDArray[np.bool_]) -> float:
    return float((one & other).sum() / max(1, (one | other).sum()))


# ------------------------------------------------------------------ single things
END_TO_END = (((100, 100), 0.0), ((246, 110), 0.1))
END_TO_FLANK = (((180, 90), 0.0), ((190, 184), 1.5))
CROOKED = (((110, 100), 0.3), ((230, 112), -0.6))


@pytest.mark.parametrize("places", [END_TO_END, END_TO_FLANK, CROOKED])
def test_bodies_that_touch_are_parted(places: tuple[tuple[tuple[int, int], float], ...]) -> None:
    alone = [ellipse(SHAPE, at, (76, 21), turn) > 0.5 for at, turn in places]
    together = np.asarray(cv2.GaussianBlur((alone[0] | alone[1]).astype(np.float32), (0, 0), 1.0), float)
    assert cv2.connectedComponents((together > 0.5).astype(np.uint8))[0] == 2  # one thing and the ground
    found = bodies(scene(body=together), WIRE)
    assert len(found) == 2
    for body in alone:
        assert max(iou(core_of(thing), body) for thing in found) > 0.9


def test_a_bent_body_is_one() -> None:
    x, y = np.moveaxis(grid(SHAPE), -1, 0)
    bent = (np.abs(np.hypot(x - 200, y + 60) - 200) < 20) & (np.abs(x - 200) < 90)
    (found,) = bodies(scene(body=bent.astype(float)), WIRE)
    assert found.core.sum() == bent.sum()


def test_a_body_keeps_what_hides_it_and_no_holes() -> None:
    """The network says body under a hook; where it does not, the hole is filled."""
    body = ellipse(SHAPE, (200, 150), (76, 21))
    hole = line(SHAPE, (180, 150), (196, 150), 4)
    (found,) = bodies(scene(body=body * (1 - hole), wire=hole), WIRE)
    assert iou(core_of(found), body > 0.5) > 0.99
    assert found.certainty > 0.9


def test_a_hook_that_crosses_a_neighbour_leaves_both_bodies_whole() -> None:
    upper, lower = (ellipse(SHAPE, (200, y), (76, 21)) for y in (80, 170))
    hook = line(SHAPE, (180, 100), (190, 185), 5)
    found = bodies(scene(body=np.maximum(upper, lower), wire=hook), WIRE)
    assert len(found) == 2
    for thing, body in zip(found, (upper, lower), strict=True):
        assert iou(core_of(thing), body > 0.5) > 0.99
        assert (thing.mask & ~thing.core).any()
    assert not (mask_of(found[0]) & mask_of(found[1])).any()


def test_wire_belongs_to_the_body_that_it_hangs_on() -> None:
    body = ellipse(SHAPE, (200, 100), (76, 21))
    hung, loose = line(SHAPE, (200, 118), (200, 160), 5), line(SHAPE, (60, 220), (120, 250), 5)
    whole = scene(body=body, wire=hung + loose)
    (found,) = bodies(whole, WIRE)
    assert mask_of(found)[150, 200] and not core_of(found)[150, 200]
    assert not mask_of(found)[235, 90]
    (other,) = others(whole, [found], WIRE)
    assert mask_of(other)[235, 90] and other.certainty == 0


def test_specks_and_what_lies_on_the_card_are_nothing() -> None:
    speck, on_card = ellipse(SHAPE, (60, 60), (5, 5)), ellipse(SHAPE, (250, 200), (76, 21))
    card = np.zeros(SHAPE)
    card[160:240, 150:350] = 1
    whole = scene(body=speck + on_card, thing=np.roll(speck, 60, 1), on_card=card)
    assert bodies(whole, WIRE) == []
    assert others(whole, [], WIRE) == []


# ------------------------------------------------------------------ why not
BAIT = Shape(150.0, 42.0, 0.785, 0.98, 0.8, 0.0, 0.2, 0.3)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({}, None),
        ({"length": 40.0, "depth": 20.0}, "small"),
        ({"length": 700.0, "depth": 200.0}, "large"),
        ({"length": 500.0, "depth": 20.0}, "slender"),
        ({"length": 50.0, "depth": 48.0}, "coin"),
        ({"filling": 0.98}, "straight"),
        ({"four_cornered": 0.98, "filling": 0.9}, "straight"),
        ({"straight": 0.9, "thin": 0.0}, "straight"),
        ({"length": 90.0, "depth": 78.0, "filling": 0.86}, "wide"),
        ({"on_frame": 0.3}, "frame"),
        ({"thin": 2.0}, "wire"),
        ({"solidity": 0.5}, "smooth"),
    ],
)
def test_why_a_shape_is_no_bait(change: dict[str, float], word: str | None) -> None:
    reason = why_not(replace(BAIT, **change), PX_PER_MM, 1000.0)
    assert reason is None if word is None else reason is not None and word in reason


def test_without_a_scale_sizes_are_judged_by_the_picture() -> None:
    assert why_not(BAIT, None, 1000.0) is None
    assert why_not(BAIT, None, 4000.0) == "too small for a bait"


# ------------------------------------------------------------------ whole photos, read by colour
@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pixelnet, "probabilities", by_colour)


def rim_of(region: Region) -> Array:
    """The core's rim in the photo's pixels, on the pixels' outer edges along rows and columns."""
    contours, _ = cv2.findContours(region.core.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return region.to_photo(np.concatenate(contours)[:, 0])


@pytest.mark.usefixtures("told")
@pytest.mark.parametrize(
    ("size", "px_per_mm"), [((240, 360), 2.0), ((241, 363), 3.7), ((377, 499), 5.0), ((403, 599), 6.3)]
)
def test_core_lies_where_the_body_does(size: tuple[int, int], px_per_mm: float) -> None:
    """At odd sizes and steps: the rim runs half a pixel inside the true edge on all sides."""
    centre, axes = np.array([size[1] / 2 + 3.3, size[0] / 2 - 7.1]), (30 * px_per_mm, 9 * px_per_mm)
    photo = painted((ellipse(size, centre, axes), RED))
    (region,) = separate(photo, scaled(px_per_mm), Settings()).regions
    away = distance(rim_of(region), centre, axes)
    step = max(1.0, px_per_mm / look.PX_PER_MM)
    assert away.mean() == pytest.approx(-0.5 * region.shrink, abs=0.35 * step)
    ys, xs = np.nonzero(region.core)
    assert region.to_photo([[xs.mean(), ys.mean()]])[0] == pytest.approx(centre, abs=0.2 * step)


@pytest.mark.usefixtures("told")
def test_core_of_a_large_picture_is_reduced_and_in_place() -> None:
    size, px_per_mm = (403, 2203), 16.3
    centre, axes = np.array([1101.7, 197.2]), (1010.0, 160.0)
    (region,) = separate(painted((ellipse(size, centre, axes), RED)), scaled(px_per_mm), Settings()).regions
    assert region.shrink > 2
    x0, y0, x1, y1 = region.window
    assert region.core.shape == region.mask.shape == region.ground.shape[:2]
    assert region.core.shape == ((y1 - y0) // region.shrink, (x1 - x0) // region.shrink)
    ys, xs = np.nonzero(region.core)
    assert region.to_photo([[xs.mean(), ys.mean()]])[0] == pytest.approx(centre, abs=1.0)


@pytest.mark.usefixtures("told")
def test_hook_is_in_the_mask_and_ground_is_what_lies_under() -> None:
    size = (400, 600)
    body, hook = ellipse(size, (300, 200), (120, 36)), line(size, (300, 230), (310, 290), 8)
    (region,) = separate(painted((body, RED), (hook, GREEN)), scaled(4.0), Settings()).regions
    column, row = np.round(region.from_photo([[306.0, 270.0]])[0]).astype(int)
    assert region.mask[row, column] and not region.core[row, column]
    assert region.mask[region.core].all()
    assert np.allclose(region.ground, GREY, rtol=0.02)
    assert not region.touches_edge
    assert not any(plane.flags.writeable for plane in (region.mask, region.core, region.ground))


@pytest.mark.usefixtures("told")
def test_a_bait_at_the_frame_is_said_to_touch_it() -> None:
    size = (400, 600)
    (region,) = separate(painted((ellipse(size, (110, 200), (120, 36)), RED)), scaled(4.0), Settings()).regions
    assert region.touches_edge


@pytest.mark.usefixtures("told")
def test_other_things_are_set_aside_with_a_reason_and_in_place() -> None:
    size = (600, 800)
    slip = np.zeros(size)
    slip[60:200, 60:300] = 1
    photo = painted(
        (slip, BLUE),
        (ellipse(size, (650, 120), (50, 50)), BLUE),
        (line(size, (60, 540), (420, 560), 16), BLUE),
        (ring(size, (620, 500), 40, 9), GREEN),
        (ellipse(size, (480, 340), (140, 40), -0.2), RED),
    )
    found = separate(photo, scaled(4.0), Settings())
    assert len(found.regions) == 1
    said = {s.reason: np.mean(s.outline_px, 0) for s in found.set_aside}
    for word, place in (("straight", (180, 130)), ("coin", (650, 120)), ("slender", (240, 550)), ("wire", (620, 500))):
        (middle,) = (at for reason, at in said.items() if word in reason)
        assert middle == pytest.approx(place, abs=6)
    assert len(said) == 4


@pytest.mark.usefixtures("told")
def test_regions_come_in_reading_order_however_the_photo_is_sized() -> None:
    size = (700, 900)
    places = [(250, 110), (650, 150), (150, 400), (460, 370), (760, 410), (450, 620)]
    photo = painted(*((ellipse(size, at, (120, 36)), RED) for at in places))
    found = separate(photo, scaled(4.0), Settings())
    ys_xs = [np.nonzero(r.core) for r in found.regions]
    middles = [r.to_photo([[xs.mean(), ys.mean()]])[0] for r, (ys, xs) in zip(found.regions, ys_xs, strict=True)]
    assert np.array(middles) == pytest.approx(np.array(places, float), abs=2)


@pytest.mark.usefixtures("told")
@pytest.mark.parametrize("half", [45, 120, 260])
def test_without_a_scale_the_bait_gives_it(half: int) -> None:
    size = (601, 799)
    centre = np.array([401.4, 297.8])
    photo = painted((ellipse(size, centre, (half, half / 3)), RED))
    (region,) = separate(photo, NO_SCALE, Settings()).regions
    assert distance(rim_of(region), centre, (half, half / 3)).mean() == pytest.approx(-0.5 * region.shrink, abs=1.5)


@pytest.mark.usefixtures("told")
def test_without_a_scale_what_is_small_beside_the_largest_is_no_bait() -> None:
    size = (600, 800)
    photo = painted((ellipse(size, (400, 200), (200, 60)), RED), (ellipse(size, (400, 450), (40, 14)), RED))
    found = separate(photo, NO_SCALE, Settings())
    assert len(found.regions) == 1
    assert [s.reason for s in found.set_aside] == ["too small beside the largest bait"]


@pytest.mark.usefixtures("told")
def test_a_body_that_the_network_hardly_believes_in_is_none() -> None:
    size = (400, 600)
    faint = tuple(GREY + 0.6 * (np.array(RED) - GREY))
    found = separate(painted((ellipse(size, (300, 200), (120, 36)), faint)), scaled(4.0), Settings())
    assert found.regions == ()
    assert [s.reason for s in found.set_aside] == ["does not look like a bait's body"]
    assert [w.code for w in found.warnings] == ["no-bait"]


# ------------------------------------------------------------------ the shipped network
@pytest.mark.parametrize("file", ["single-wood.jpg", "single-black-cloth.jpg", "clutter.jpg"])
def test_baits_of_demo_photos(file: str) -> None:
    (truth,) = (p for p in photos(DEMO) if p.truth["file"] == file)
    photo = read(truth.path)
    score = judge(truth, separate(photo, ideal_calibration(truth), Settings()), 0.0)
    assert min(score.ious) > 0.8
    assert score.false == 0


@pytest.fixture(scope="module")
def listing() -> Photo:
    return read(DEMO / "listing.jpg")


def whole_core(photo: Photo) -> NDArray[np.bool_]:
    """The core of a photo's only bait, as large as the photo."""
    (region,) = separate(photo, NO_SCALE, Settings()).regions
    x0, y0, x1, y1 = region.window
    core = np.zeros(photo.pixels.shape[:2], bool)
    core[y0:y1, x0:x1] = np.kron(region.core, np.ones((region.shrink,) * 2, bool))
    return core


@pytest.mark.parametrize("turns", [1, 2])
def test_turning_the_picture_turns_the_core(listing: Photo, turns: int) -> None:
    turned = whole_core(replace(listing, pixels=np.rot90(listing.pixels, turns).copy()))
    assert iou(np.rot90(turned, -turns), whole_core(listing)) > 0.85


@pytest.mark.parametrize("shape", [(30, 30), (1, 1), (300, 400), (5, 900)])
@pytest.mark.parametrize("fill", ["black", "white", "noise"])
def test_pictures_of_nothing(shape: tuple[int, int], fill: str) -> None:
    rng = np.random.default_rng(1)
    pixels = {
        "black": np.zeros((*shape, 3)),
        "white": np.full((*shape, 3), 255.0),
        "noise": 255 * rng.random((*shape, 3)),
    }
    found = separate(Photo("x", "", pixels[fill].astype(np.uint8), None), NO_SCALE, Settings())
    assert found.regions == ()
    assert [w.code for w in found.warnings] == ["no-bait"]


def test_ground_goes_on_under_things_and_shadows() -> None:
    """Light that falls off across a textured ground; a fifth of it is covered, some lies in shadow."""
    y, x = np.mgrid[0:300, 0:400] / 400
    rng = np.random.default_rng(2)
    true = (0.3 * np.exp(0.5 * x - 0.4 * y * y))[..., None] * np.array([1.0, 0.8, 0.6])
    seen = true * np.exp(0.1 * rng.standard_normal((300, 400, 1)))
    thing, shadow = ellipse(SHAPE, (200, 150), (120, 60)) > 0.5, ellipse(SHAPE, (215, 175), (130, 65)) > 0.5
    seen[shadow] *= 0.5
    seen[thing] = 0.9
    ground, step = bare_ground(seen.astype(np.float32), ~thing)
    shown = true[: ground.shape[0] * step, : ground.shape[1] * step]
    shown = shown.reshape(ground.shape[0], step, ground.shape[1], step, 3).mean((1, 3))
    assert np.abs(np.log(ground / shown)).max() < 0.1
    assert np.abs(np.log(ground / shown)).mean() < 0.02


def test_a_body_with_a_waist_stays_one() -> None:
    ends = [ellipse(SHAPE, at, (60, 24), 0.1 * way) > 0.5 for at, way in (((120, 140), 1.0), ((220, 140), -1.0))]
    waisted = cv2.GaussianBlur((ends[0] | ends[1]).astype(np.float32), (0, 0), 6.0)
    found = bodies(scene(body=np.asarray(waisted, float)), WIRE)
    assert len(found) == 1
