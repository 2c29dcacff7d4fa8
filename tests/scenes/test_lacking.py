"""A demo photo changed into what photo sets lack: a wide-gamut profile, lettering, fingers, a line tie seen edge-on.

What was there before must still be measured as it was, within its stated uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from identify.colour import delta_e
from identify.geometry import Array
from identify.measure import measure
from identify.photo import Photo, read
from identify.records import Measurement
from tests.published import icc
from tests.scenes.test_whole_way import DEMO, assert_same, measured
from tests.unit.card_scenes import _encode

SRGB_TO_P3 = np.array([[0.8224621, 0.1775380, 0.0], [0.0331941, 0.9668058, 0.0], [0.0170827, 0.0723974, 0.9105199]])
"""Linear sRGB to linear Display P3 (CSS Color 4, section 17)."""


@pytest.fixture(scope="module")
def photo() -> Photo:
    return read(DEMO)


@pytest.fixture(scope="module")
def plain(photo: Photo) -> Measurement:
    return measured(photo)


def painted(photo: Photo, mask: Array, colour: tuple[float, float, float], soft_px: float = 0.8) -> Photo:
    """The photo with a colour (0 to 255) over a mask (h, w) from 0 to 1."""
    share = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), soft_px)[..., None]
    return replace(photo, pixels=np.round(photo.pixels * (1 - share) + share * np.array(colour)).astype(np.uint8))


def test_display_p3(photo: Photo, plain: Measurement, tmp_path: Path) -> None:
    wide = _encode(photo.linear().astype(float) @ SRGB_TO_P3.T)
    profile = icc.matrix_profile(icc.DISPLAY_P3_D50, icc.parametric(icc.SRGB_PARAMETERS, 3))
    place = tmp_path / "p3.png"
    Image.fromarray(wide).save(place, icc_profile=profile)
    with_profile = measured(replace(read(place), focal_35mm=photo.focal_35mm))
    assert_same(plain, with_profile)
    for ours, right in (
        (plain.back_colour, with_profile.back_colour),
        (plain.belly_colour, with_profile.belly_colour),
    ):
        assert ours is not None and right is not None
        assert float(delta_e(ours.lab_seen, right.lab_seen)) < 1.0


def test_lettering_on_the_flank(photo: Photo, plain: Measurement) -> None:
    middle = np.array(plain.outline_px).mean(0)
    along = np.subtract(plain.tail_px, plain.nose_px)
    length = float(np.hypot(*along))
    letters = np.zeros(photo.pixels.shape[:2], np.uint8)
    at = (round(middle[0] - 0.25 * length), round(middle[1] + 8))
    cv2.putText(letters, "LOW OTTER 2", at, cv2.FONT_HERSHEY_DUPLEX, length / 620, 255, 2, cv2.LINE_AA)
    turn = -math.degrees(math.atan2(along[1], along[0]))
    to = cv2.getRotationMatrix2D((float(middle[0]), float(middle[1])), turn + (180 if abs(turn) > 90 else 0), 1.0)
    letters = np.asarray(cv2.warpAffine(letters, to, letters.shape[::-1]), np.uint8)
    assert (letters > 128).sum() > 300
    assert_same(plain, measured(painted(photo, letters / 255.0, (30.0, 20.0, 20.0), 0.5)))


def test_fingers_at_the_frame_are_no_bait(photo: Photo, plain: Measurement) -> None:
    """Three fingers reach in from the corner that is furthest from bait and card."""
    h, w = photo.pixels.shape[:2]
    record = measure(photo)
    assert record.card is not None and record.card.corners_px is not None
    things = np.vstack([np.array(plain.outline_px), np.array(record.card.corners_px)])
    corners = np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]])
    corner = corners[int(np.argmax([np.hypot(*(things - c).T).min() for c in corners]))]
    to = (np.array([w, h]) / 2 - corner) / float(np.hypot(w, h) / 2)
    beside = np.array([-to[1], to[0]])
    fingers = np.zeros((h, w), np.uint8)
    for shift in (-70, 0, 70):
        start, end = (np.round(corner + t * to + shift * beside).astype(int).tolist() for t in (-200, 330))
        cv2.line(fingers, start, end, 1, 62)
    record = measure(painted(photo, fingers.astype(float), (196.0, 140.0, 112.0), 1.2))
    (bait,) = record.baits
    assert_same(plain, bait.measurement)


def test_a_line_tie_seen_edge_on(photo: Photo, plain: Measurement) -> None:
    """The ring becomes a stub of wire: whatever the count then is, the body's size is not the stub's."""
    assert plain.line_ties is not None and plain.px_per_mm is not None
    at = np.array(plain.line_ties.at_px[0])
    outline = np.array(plain.outline_px)
    root = outline[int(np.argmin(np.hypot(*(outline - at).T)))]
    out = (at - root) / np.hypot(*(at - root))
    pixels = photo.pixels.copy()
    body = np.zeros(pixels.shape[:2], np.uint8)
    cv2.fillPoly(body, [np.round(outline).astype(np.int32)], 1)
    reach = round(4.5 * plain.px_per_mm)
    disc = np.zeros_like(body)
    cv2.circle(disc, np.round(at).astype(int).tolist(), reach, 1, -1)
    shift = np.round(np.array([-out[1], out[0]]) * 2.2 * reach).astype(int)  # bare ground beside the ring
    ground = np.roll(pixels, (-shift[1], -shift[0]), (0, 1))
    over = (disc > 0) & (body == 0)
    pixels[over] = ground[over]
    stub = np.zeros_like(body)
    tip = np.round(root + out * 4.0 * plain.px_per_mm).astype(int).tolist()
    cv2.line(stub, np.round(root).astype(int).tolist(), tip, 1, max(2, round(0.9 * plain.px_per_mm)))
    seen = measured(painted(replace(photo, pixels=pixels), stub * (body == 0).astype(float), (150.0, 150.0, 155.0)))
    for a, b in ((plain.length_mm, seen.length_mm), (plain.depth_mm, seen.depth_mm)):
        assert a is not None and b is not None
        assert abs(a.value - b.value) <= 2 * math.hypot(a.u, b.u)
    assert seen.line_ties is not None and seen.line_ties.probabilities is not None
    assert seen.line_ties.probabilities[0] + seen.line_ties.probabilities[1] > 0.7
