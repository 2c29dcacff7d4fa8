"""Advice says what a photo is good for, and what to do better, from what can be seen in it."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import cv2
import jsonschema
import numpy as np
import pytest

from identify import advice_json, advise_photo
from identify.advice import ADVICE, Advice, GoodFor, PhotoFigures, advise, look, unusable
from identify.advice.blur import OFFSETS_PX, bait_blur, blur_of, card_blur
from identify.advice.figures import BaitFigures, card_noise
from identify.commands.advice import said, verdict
from identify.measure import measure
from identify.photo import Photo, read
from identify.records import WARNINGS, Bait, Card, Hooks, Measurement, Notice, PhotoRecord, Quantity, Scale
from tests.unit.card_scenes import scene
from tests.unit.test_serialise import measurement

DEMO = Path(__file__).parents[2] / "demo_photos" / "single-wood.jpg"
SEEN = BaitFigures(1.0, 0.0, 0.0, 0.0, 1.0, 0.3, None)
FIGURES = PhotoFigures(1.0, 0.005, (SEEN,))
CARD = Card(
    True, ((0.0, 0.0), (900.0, 0.0), (900.0, 600.0), (0.0, 600.0)), 10.0, 3.0, 400.0, 0.0, (1.0, 1.0, 1.0), None
)


def bait(number: int = 1) -> Measurement:
    """A bait that leaves nothing to wish for."""
    m = measurement()
    assert m.back_colour is not None
    return replace(
        m, number=number, nose_px=(0.0, 0.0), tail_px=(630.0, 0.0), belly_colour=m.back_colour, hard_to_read=(),
        length_mm=Quantity.of(63.4, scale=0.1), depth_mm=Quantity.of(17.9, outline=0.3), warnings=(),
    )  # fmt: skip


def record(*baits: Measurement, card: Card | None = CARD, codes: tuple[str, ...] = ()) -> PhotoRecord:
    scale = Scale("card", 10.0, 0.01) if card is not None and card.found else Scale("none", None, None)
    notices = tuple(Notice(code, WARNINGS[code]) for code in codes)
    return PhotoRecord(
        "p.jpg", "0" * 64, 2000, 1500, "1", None, card, scale, None, notices, None, (), tuple(Bait(m) for m in baits)
    )


def with_codes(m: Measurement, *codes: str) -> Measurement:
    return replace(m, warnings=tuple(Notice(code, WARNINGS[code]) for code in codes))


def test_a_good_photo_is_good_for_all() -> None:
    found = advise(record(replace(bait(), hooks=None)), FIGURES)
    assert found.good_for == GoodFor(True, True, True)
    assert found.advice == ()
    assert verdict(found.good_for) == "Good enough for length, line ties and colour."


NO_CARD = Card(False, None, None, None, None, None, None, "it is coloured, not grey")
WIDE = replace(bait(), length_mm=Quantity.of(63.4, outline=0.1, camera_distance=3.0))
FEW = replace(bait(), px_per_mm=3.0)
UNSURE = with_codes(replace(bait(), line_ties=None), "ties-unsure")


@pytest.mark.parametrize(
    ("code", "made", "figures", "good"),
    [
        ("no-bait", record(), replace(FIGURES, baits=()), (False, False, False)),
        ("no-card", record(bait(), card=NO_CARD), FIGURES, (False, True, False)),
        ("card-doubtful", record(bait(), codes=("card-doubtful",)), FIGURES, (False, True, True)),
        ("card-small", record(bait(), codes=("card-small",)), FIGURES, (True, True, True)),
        ("card-covered", record(bait(), codes=("card-covered",)), FIGURES, (True, True, True)),
        ("card-clipped", record(bait(), codes=("card-clipped",)), FIGURES, (True, True, False)),
        ("dark", record(bait(), card=replace(CARD, exposure_ev=-3.5)), FIGURES, (True, True, False)),
        ("camera-slanted", record(bait(), card=replace(CARD, tilt_deg=22.0)), FIGURES, (True, True, True)),
        ("camera-close", record(bait(), card=replace(CARD, camera_distance_mm=150.0)), FIGURES, (True, True, True)),
        ("no-focal-length", record(bait(), codes=("no-focal-length",)), FIGURES, (True, True, True)),
        ("cropped", record(bait(), codes=("cropped",)), FIGURES, (True, True, True)),
        ("profile-unreadable", record(bait(), codes=("profile-unreadable",)), FIGURES, (True, True, True)),
        ("noisy", record(bait()), replace(FIGURES, noise=0.2), (True, True, True)),
        ("light-uneven", record(bait(), codes=("card-uneven",)), FIGURES, (True, True, True)),
        ("light-uneven", record(bait()), replace(FIGURES, baits=(replace(SEEN, light_to_card=0.5),)),
         (True, True, True)),
        ("touches-edge", record(with_codes(bait(), "touches-edge")), FIGURES, (False, False, True)),
        ("outline-unclear", record(with_codes(bait(), "outline-unclear")), FIGURES, (True, True, True)),
        ("not-side-view", record(with_codes(bait(), "not-side-view")), FIGURES, (True, True, True)),
        ("ties-unsure", record(UNSURE), FIGURES, (True, False, True)),
        ("size-unsure", record(WIDE), FIGURES, (False, True, True)),
        ("bait-small", record(FEW), FIGURES, (True, False, True)),
        ("colour-doubtful", record(with_codes(bait(), "colour-doubtful")), FIGURES, (True, True, False)),
        ("colour-doubtful", record(replace(bait(), belly_colour=None)), FIGURES, (True, True, False)),
        ("hard-to-read", record(replace(bait(), hard_to_read=("leaf",))), FIGURES, (True, True, False)),
        ("blurred", record(bait()), PhotoFigures(4.5, 0.005, (replace(SEEN, blur_px=4.0),)), (True, False, True)),
        ("blurred", record(bait()), PhotoFigures(12.0, 0.005, (SEEN,)), (False, False, False)),
        ("clipped", record(bait()), replace(FIGURES, baits=(replace(SEEN, clipped=0.2),)), (True, True, True)),
        ("glare", record(bait()), replace(FIGURES, baits=(replace(SEEN, glare=0.2),)), (True, True, True)),
        ("shadow-hard", record(bait()), replace(FIGURES, baits=(replace(SEEN, hard_shade=1.5),)),
         (True, True, True)),
        ("card-close", record(bait()), replace(FIGURES, baits=(replace(SEEN, gap_to_card=0.0),)), (False, True, True)),
        ("card-far", record(bait()), replace(FIGURES, baits=(replace(SEEN, gap_to_card=3.0),)), (True, True, True)),
        ("baits-close", record(bait()), replace(FIGURES, baits=(replace(SEEN, gap_to_bait=0.01),)), (True, True, True)),
        ("lay-hooks", record(replace(bait(), hooks=Hooks(2, ()))), FIGURES, (True, True, True)),
    ],
)  # fmt: skip
def test_each_thing_is_said_where_it_holds(
    code: str, made: PhotoRecord, figures: PhotoFigures, good: tuple[bool, bool, bool]
) -> None:
    found = advise(made, figures)
    tips = {t.code: t for t in found.advice}
    assert code in tips
    assert found.good_for == GoodFor(*good)
    lost = {use for use, kept in zip(("length", "ties", "colour"), good, strict=True) if not kept}
    assert set(tips[code].spoils) == lost
    assert tips[code].baits in ((), (1,))
    assert code in ADVICE and tips[code].text


def test_every_code_has_its_case() -> None:
    marks = [m for m in test_each_thing_is_said_where_it_holds.pytestmark if m.name == "parametrize"]  # type: ignore[attr-defined]
    assert {case[0] for case in marks[0].args[1]} == set(ADVICE)


def test_what_is_most_in_doubt_is_named() -> None:
    (tip,) = (t for t in advise(record(WIDE), FIGURES).advice if t.code == "size-unsure")
    assert "camera distance" in tip.text and "Step back and zoom in" in tip.text


def test_several_baits_are_told_apart() -> None:
    far = replace(SEEN, gap_to_card=3.0)
    found = advise(record(bait(1), replace(FEW, number=2)), PhotoFigures(1.0, 0.005, (far, far)))
    assert [b.good_for.ties for b in found.baits] == [True, False]
    assert found.good_for == GoodFor(True, False, True)
    tip = next(t for t in found.advice if t.code == "bait-small")
    assert tip.baits == (2,)
    assert said(tip, found, "mm").startswith("Bait 2: ")
    assert "card-far" not in {t.code for t in found.advice}  # of many baits some must lie far from it


def test_a_photo_that_cannot_be_read() -> None:
    found = advise_photo("no-such-photo.jpg")
    assert found.error is not None and found.error.code == "photo-missing"
    assert [t.code for t in found.advice] == ["photo-missing"]
    assert found.good_for == GoodFor(False, False, False)


TWO = advise(record(WIDE, FEW), replace(FIGURES, baits=(SEEN, SEEN)))


@pytest.mark.parametrize("made", [unusable("p.jpg", "photo-unreadable", "why"), TWO])
def test_json_follows_its_schema(made: Advice) -> None:
    schema = json.loads(files("identify").joinpath("help", "schemas", "advice-1.json").read_text("utf-8"))
    found = json.loads(json.dumps(advice_json(made)))
    jsonschema.validate(found, schema)
    assert list(found)[:4] == ["schema", "photo", "good_for", "advice"]


# what is seen in the picture


@pytest.mark.parametrize("blur", [0.6, 1.2, 2.5])
def test_blur_of_a_blurred_step(blur: float) -> None:
    rng = np.random.default_rng(2)
    fine = np.arange(-20, 20, 0.05)
    kernel = np.exp(-((fine / blur) ** 2) / 2)
    step = np.convolve(fine > 0.3, kernel / kernel.sum(), "same")
    profiles = 0.2 + 0.5 * np.interp(OFFSETS_PX, fine, step) + rng.normal(0, 0.004, (30, len(OFFSETS_PX)))
    assert np.median(blur_of(profiles, OFFSETS_PX)) == pytest.approx(blur, rel=0.15)


def test_blur_of_no_edge_is_not_read() -> None:
    rng = np.random.default_rng(2)
    assert np.isnan(blur_of(0.4 + rng.normal(0, 0.004, (30, len(OFFSETS_PX))), OFFSETS_PX)).all()


@pytest.mark.parametrize("blur", [0.8, 2.0, 4.0])
def test_blur_at_the_card(blur: float) -> None:
    made = scene(blur=blur, fall_off=0.1)
    found = card_blur(made.photo, made.corners_px)
    assert found is not None
    assert found == pytest.approx(blur, rel=0.3)


def test_a_camera_that_moved_blurs_one_direction() -> None:
    made = scene(roll_deg=0.0, tilt_deg=0.0, blur=0.7)
    moved = np.asarray(cv2.blur(made.photo.pixels, (13, 1)), np.uint8)
    found = card_blur(replace(made.photo, pixels=moved), made.corners_px)
    assert found is not None and found > 2.5  # a box 13 wide has a standard deviation of 3.7


@pytest.mark.parametrize("noise", [0.01, 0.04])
def test_noise_on_the_card(noise: float) -> None:
    made = scene(noise=noise, blur=0.7, px_per_mm=6.0)
    # the scene's noise is `noise` times the square root of light
    assert card_noise(made.photo, made.corners_px) == pytest.approx(noise / np.sqrt(0.18), rel=0.35)


@pytest.fixture(scope="module")
def demo() -> tuple[Photo, PhotoRecord]:
    photo = read(DEMO)
    return photo, measure(photo)


def test_figures_of_a_demo_photo(demo: tuple[Photo, PhotoRecord]) -> None:
    figures = look(*demo)
    assert figures.card_blur_px is not None and figures.card_blur_px < 1.5
    assert figures.noise is not None and figures.noise < 0.03
    (seen,) = figures.baits
    assert seen.clipped < 0.05 and seen.glare < 0.1
    assert seen.gap_to_card is not None and 0.02 < seen.gap_to_card < 1
    assert seen.gap_to_bait is None


def test_a_blurred_photo_is_told_from_a_sharp_one(demo: tuple[Photo, PhotoRecord]) -> None:
    photo, made = demo
    outline = np.array(made.baits[0].measurement.outline_px)
    sharp = bait_blur(photo, outline)
    soft = bait_blur(replace(photo, pixels=np.asarray(cv2.GaussianBlur(photo.pixels, (0, 0), 3.0), np.uint8)), outline)
    assert sharp is not None and sharp < 1.6
    assert soft is None or soft > 2.5


def test_a_bait_far_too_bright_and_in_half_light(demo: tuple[Photo, PhotoRecord]) -> None:
    photo, made = demo
    pixels = photo.pixels.copy()
    outline = np.array(made.baits[0].measurement.outline_px)
    cv2.fillPoly(pixels, [np.round(outline).astype(np.int32)], (255, 255, 255))
    (seen,) = look(replace(photo, pixels=pixels), made).baits
    assert seen.clipped > 0.9 and seen.glare > 0.9
    # everything beyond the middle between card and bait in a tenth of the light
    assert made.card is not None and made.card.corners_px is not None
    card, middle = np.array(made.card.corners_px).mean(0), outline.mean(0)
    yy, xx = np.mgrid[: photo.height, : photo.width]
    beyond = (np.stack([xx, yy], -1) - (card + middle) / 2) @ (middle - card) > 0
    dark = np.where(beyond[..., None], photo.pixels * 0.35, photo.pixels).astype(np.uint8)
    (seen,) = look(replace(photo, pixels=dark), made).baits
    assert seen.light_to_card is not None and seen.light_to_card < 0.5


def test_a_hard_shadow_is_told_from_a_soft_one() -> None:
    photo = read(DEMO.with_name("single-blue-cloth.jpg"))
    made = measure(photo)
    outline = np.array(made.baits[0].measurement.outline_px)
    cast = np.zeros(photo.pixels.shape[:2], np.float32)
    cv2.fillPoly(cast, [np.round(outline + np.array([0, 60])).astype(np.int32)], 1.0)
    edges = []
    for blur in (2.0, 40.0):
        shade = 1 - 0.8 * cv2.GaussianBlur(cast, (0, 0), blur)
        body = np.zeros(cast.shape, np.uint8)
        cv2.fillPoly(body, [np.round(outline).astype(np.int32)], 1)
        pixels = np.where(body[..., None] > 0, photo.pixels, photo.pixels * shade[..., None]).astype(np.uint8)
        (seen,) = look(replace(photo, pixels=pixels), made).baits
        edges.append(seen.hard_shade)
    assert edges[0] > 0.8
    assert edges[1] < 0.4
