"""Slips: printed, laid into a photo, read again; unread ones said so, and none of them a bait."""

from __future__ import annotations

import base64
import re
import zlib
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from identify.errors import BadOption
from identify.geometry import Array
from identify.photo import Photo
from identify.records import LineTies, Quantity, SetAside
from identify.slips import doubted, find, set_apart
from identify.slips.code import checked_lot, number_of, text_of
from identify.slips.find import READ, UNREAD
from identify.slips.layout import SLIP, TAG, Layout
from identify.slips.sheet import sheet
from identify.stages import Region, Separation, as_polygon
from tests.unit.test_serialise import measurement

Picture = NDArray[np.uint8]
PAPER, INK = 225, 25


def drawn(text: str, layout: Layout = SLIP, px_per_mm: int = 20) -> Picture:
    """A slip as printed, grey levels, its number left out."""
    code = segno.make_qr(text, error="q")
    modules = np.array([[cell & 1 for cell in row] for row in code.matrix], np.uint8)
    side = round(layout.code * px_per_mm)
    picture = np.full((round(layout.height * px_per_mm), round(layout.width * px_per_mm)), PAPER, np.uint8)
    left, top = round(layout.margin * px_per_mm), round((layout.height - layout.code) / 2 * px_per_mm)
    picture[top : top + side, left : left + side] = cv2.resize(
        np.where(modules, INK, PAPER).astype(np.uint8), (side, side), interpolation=cv2.INTER_NEAREST
    )
    return picture


def laid(
    slip: Picture, at: tuple[float, float], degrees: float, px_per_mm: float, ground: Picture, blur: float = 0.0
) -> tuple[Picture, Array]:
    """A slip laid into a photo with its top left corner at `at`, and where a point of the slip (px) comes to lie."""
    k = px_per_mm / 20
    small = cv2.resize(slip, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    move = np.array([[c, -s, at[0]], [s, c, at[1]]])
    size = (ground.shape[1], ground.shape[0])
    there = cv2.warpAffine(np.ones(small.shape, np.float32), move, size)[..., None]
    over = cv2.warpAffine(small.astype(np.float32), move, size)[..., None]
    mixed = ground * (1 - there) + over * there
    if blur:
        mixed = cv2.GaussianBlur(mixed, (0, 0), blur)
    return np.clip(np.rint(mixed), 0, 255).astype(np.uint8), np.column_stack([move[:, :2] * k, move[:, 2]])


def bare(width: int = 900, height: int = 700) -> Picture:
    noise = np.random.default_rng(3).normal(0, 4, (height, width, 3))
    return np.clip(np.array([70, 90, 120]) + noise, 0, 255).astype(np.uint8)


def photo(pixels: NDArray[Any]) -> Photo:
    return Photo("p.jpg", "0" * 64, pixels, None)


@given(st.text(st.characters(codec="utf-8"), max_size=30), st.integers(0, 10**6))
def test_lot_and_number_come_back(lot: str, number: int) -> None:
    try:
        name = checked_lot(lot)
    except BadOption as fault:
        assert fault.what_to_do
        return
    assert number_of(text_of(name, number)) == f"{name}/{number}"


@pytest.mark.parametrize("text", ["", "mill/12", "baitprint:", "baitprint:12", "baitprint:/12", "baitprint:mill/", "x"])
def test_other_texts_are_no_slips(text: str) -> None:
    assert number_of(text) is None


@pytest.mark.parametrize("degrees", [0.0, 37.0, 90.0, 180.0, 255.0])
@pytest.mark.parametrize(("px_per_mm", "layout"), [(4.0, SLIP), (10.0, SLIP), (6.0, TAG)])
def test_a_slip_is_read_whichever_way_it_lies(degrees: float, px_per_mm: float, layout: Layout) -> None:
    slip = drawn("baitprint:mill house box/128", layout)
    picture, move = laid(slip, (450, 350), degrees, px_per_mm, bare(1300, 1200))
    found = find(photo(picture))
    assert found.slip is not None and found.slip.number == "mill house box/128" and not found.warnings
    side, left, top = layout.code * 20, layout.margin * 20, (layout.height - layout.code) / 2 * 20
    corners = np.array([[left, top], [left + side, top], [left + side, top + side], [left, top + side]])
    expected = corners @ move[:, :2].T + move[:, 2]
    assert np.abs(np.array(found.slip.corners_px) - expected).max() < 0.5 * px_per_mm + 1
    centre = np.array([[layout.width * 10, layout.height * 10]]) @ move[:, :2].T + move[:, 2]
    assert found.under(centre)


def test_a_large_photo_and_sixteen_bits() -> None:
    picture, _ = laid(drawn("baitprint:mill/7"), (500, 500), 20, 12, bare(3000, 2200))
    assert (found := find(photo(picture)).slip) is not None and found.number == "mill/7"
    assert np.ptp(np.array(found.corners_px), axis=0).max() < 12 * 40
    deep = photo(picture[:1200, :1400].astype(np.uint16) * 257)
    assert (found := find(deep).slip) is not None and found.number == "mill/7"


def test_codes_of_others_and_bare_photos_say_nothing() -> None:
    assert find(photo(bare())).slip is None
    picture, _ = laid(drawn("https://example.org/12"), (200, 200), 10, 8, bare())
    found = find(photo(picture))
    assert found.slip is None and not found.papers and not found.warnings


def test_two_numbers_contradict_each_other_and_one_twice_does_not() -> None:
    one, _ = laid(drawn("baitprint:mill/1"), (40, 40), 0, 6, bare())
    both, _ = laid(drawn("baitprint:mill/2"), (40, 400), 0, 6, one)
    found = find(photo(both))
    assert found.slip is None and len(found.papers) == 2
    assert [w.code for w in found.warnings] == ["slips-several"] and "mill/1, mill/2" in found.warnings[0].text
    twice, _ = laid(drawn("baitprint:mill/1"), (40, 400), 0, 6, one)
    assert (slip := find(photo(twice)).slip) is not None and slip.number == "mill/1"


def spoilt() -> Picture:
    """A slip with a part of its code that more than error correction hides."""
    slip = drawn("baitprint:mill/12")
    slip[200:525, 200:525] = 120
    return slip


def test_a_spoilt_code_is_unread_never_guessed() -> None:
    picture, _ = laid(spoilt(), (250, 250), 12, 8, bare())
    found = find(photo(picture))
    assert found.slip is None and [w.code for w in found.warnings] == ["slip-unread"]
    assert [c.text for c in found.codes] == [None]


@pytest.mark.parametrize("degrees", [0.0, 30.0, 45.0])
@pytest.mark.parametrize("px_per_mm", [5.0, 9.0])
def test_a_code_half_hidden_by_a_bait_is_unread(degrees: float, px_per_mm: float) -> None:
    """No reader sees it any more; one of its marks still shows.  Eyes, round ones in one another, are no marks."""
    slip = drawn("baitprint:mill/12")
    cv2.ellipse(slip, (1000, 330), (860, 230), 12, 0, 360, 90, -1)
    picture, _ = laid(slip, (600, 400), degrees, px_per_mm, bare(1500, 1200))
    found = find(photo(picture))
    assert found.slip is None and [w.code for w in found.warnings] == ["slip-unread"]
    eyes = bare(1500, 1200)
    for at, grey in (((300, 300), 20), ((700, 500), 40)):
        for k, shade in ((7, grey), (5, 230), (3, grey)):
            cv2.circle(eyes, at, 8 * k, (shade, shade, shade), -1, cv2.LINE_AA)
    assert find(photo(eyes)).codes == ()
    tag = bare(1500, 1200)  # a light square with a dark one on it, on a dark ground
    tag[400:500, 300:400], tag[420:480, 320:380] = 230, 30
    assert find(photo(tag)).codes == ()


@pytest.mark.parametrize("apart_mm", [-6.0, 0.0, 3.0, 12.0])
def test_a_slip_against_a_bait_leaves_ties_and_depth_less_sure(apart_mm: float) -> None:
    px_per_mm = 8.0
    picture, _ = laid(drawn("baitprint:mill/12"), (200, 300), 0, px_per_mm, bare())
    slips = find(photo(picture))
    low = max(p[:, 1].max() for p in slips.papers)
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    outline = np.column_stack([450 + 240 * np.cos(t), low + apart_mm * px_per_mm + 80 + 80 * np.sin(t)])
    seen = replace(
        measurement(),
        outline_px=as_polygon(outline), nose_px=(210.0, outline[0, 1]), tail_px=(690.0, outline[0, 1]),
        length_mm=Quantity.of(60.0, scale=0.2), depth_mm=Quantity.of(20.0, outline=0.2),
        line_ties=LineTies(2, (0.0, 0.02, 0.95, 0.03, 0.0, 0.0)), warnings=(),
    )  # fmt: skip
    said = doubted(seen, slips)
    if apart_mm > 10:
        assert said == seen
        return
    assert [w.code for w in said.warnings] == ["slip-touches"]
    assert (
        said.depth_mm is not None and said.depth_mm.value == 20.0 and said.depth_mm.u == pytest.approx(0.447, abs=1e-3)
    )
    assert sum(p.u**2 for p in said.depth_mm.parts) == pytest.approx(said.depth_mm.u**2)
    assert said.line_ties is not None and said.line_ties.count == 2 and said.line_ties.probabilities is not None
    assert sum(said.line_ties.probabilities) == pytest.approx(1) and max(said.line_ties.probabilities) < 0.75
    unsure = replace(seen, line_ties=LineTies(2, (0.0, 0.4, 0.6, 0.0, 0.0, 0.0)))
    told = doubted(unsure, slips)
    assert told.line_ties is not None and told.line_ties.count is None
    assert [w.code for w in told.warnings] == ["slip-touches", "ties-unsure"]


def region(x0: int, y0: int, x1: int, y1: int) -> Region:
    core = np.zeros((y1 - y0, x1 - x0), bool)
    core[8:-8, 8:-8] = True
    return Region((x0, y0, x1, y1), 1, core, core, np.zeros((*core.shape, 3), np.float32), False)


def test_print_is_set_aside_and_a_bait_beside_it_stays() -> None:
    picture, _ = laid(drawn("baitprint:mill/12"), (100, 100), 0, 8, bare())
    seen = find(photo(picture))
    print_on_it, bait = region(330, 130, 560, 330), region(130, 420, 600, 600)
    thing = SetAside(as_polygon(np.array([[95, 95], [585, 95], [585, 345], [95, 345]])), "straight")
    other = SetAside(as_polygon(np.array([[700, 600], [760, 600], [760, 660]])), "round")
    _, parted, warnings = set_apart(photo(picture), seen, Separation((print_on_it, bait), (thing, other)))
    assert parted.regions == (bait,) and not warnings
    assert [a.reason for a in parted.set_aside] == [READ, "round"]


def test_paper_with_the_grain_of_a_code_is_an_unread_slip() -> None:
    """Too blurred for the reader to see a code at all; a ruled paper of the same size is none."""
    slip = drawn("baitprint:mill house box/128")
    picture, move = laid(slip, (150, 150), 15, 5, bare(), blur=3.2)
    edge = np.array([[0, 0], [1200, 0], [1200, 600], [0, 600]]) @ move[:, :2].T + move[:, 2]
    thing = SetAside(as_polygon(edge), "straight parallel sides")
    seen = find(photo(picture))
    assert seen.slip is None and not seen.papers
    _, parted, warnings = set_apart(photo(picture), seen, Separation((), (thing,)))
    assert [a.reason for a in parted.set_aside] == [UNREAD] and [w.code for w in warnings] == ["slip-unread"]

    ruled = np.full_like(slip, PAPER)
    ruled[::40] = INK
    picture, _ = laid(ruled, (150, 150), 15, 5, bare())
    _, parted, warnings = set_apart(photo(picture), find(photo(picture)), Separation((), (thing,)))
    assert parted.set_aside == (thing,) and not warnings


def test_a_code_too_small_for_the_whole_photo_is_read_closely() -> None:
    """Two pixels a module: seen as a paper with straight sides, then enlarged."""
    picture, move = laid(drawn("baitprint:mill/12"), (150, 150), 15, 2.1, bare(500, 400))
    edge = np.array([[0, 0], [1200, 0], [1200, 600], [0, 600]]) @ move[:, :2].T + move[:, 2]
    thing = SetAside(as_polygon(edge), "straight parallel sides")
    seen = find(photo(picture))
    found, parted, warnings = set_apart(photo(picture), seen, Separation((), (thing,)))
    assert found.slip is not None and found.slip.number == "mill/12" and not warnings
    assert [a.reason for a in parted.set_aside] == [READ]


# sheets


def pages_of(pdf: bytes) -> int:
    return len(re.findall(rb"/Type /Page\b", pdf))


@pytest.mark.parametrize(
    ("count", "tags", "paper", "pages"),
    [
        (None, False, "a4", 1),
        (28, False, "a4", 2),
        (24, False, "letter", 1),
        (None, True, "letter", 1),
        (49, True, "a4", 2),
    ],
)
def test_pages(count: int | None, tags: bool, paper: str, pages: int) -> None:
    made = sheet("mill", 5, count, tags, "a4" if paper == "a4" else "letter")
    assert made.startswith(b"%PDF") and pages_of(made) == pages
    assert made == sheet("mill", 5, count, tags, "a4" if paper == "a4" else "letter")


def test_what_is_printed_is_what_is_read() -> None:
    """The rectangles of a page, painted, hold the codes of all its slips."""
    made = sheet("Ødegård", 98, 3)
    streams = re.findall(
        rb"/Filter \[ /ASCII85Decode /FlateDecode \][^>]*>>\s*stream\r?\n(.*?)endstream", made, re.DOTALL
    )
    text = zlib.decompress(base64.a85decode(streams[0].strip().removesuffix(b"~>"))).decode("latin-1")
    k, page = 10 / (72 / 25.4), np.full((2970, 2100), 255, np.uint8)
    x = y = 0.0
    for line in re.finditer(r"1 0 0 1 (\S+) (\S+) cm|(\S+) (\S+) (\S+) (\S+) re\b", text):
        if line[1]:
            x, y = float(line[1]), float(line[2])
        elif float(line[6]) < 10:  # not the slip's own edge
            left, low, width, height = (float(line[i]) for i in (3, 4, 5, 6))
            rows = slice(round(2970 - (y + low + height) * k), round(2970 - (y + low) * k))
            page[rows, round((x + left) * k) : round((x + left + width) * k)] = 0
    found = find(photo(np.repeat(page[..., None], 3, axis=2)))
    assert len(found.papers) == 3 and len(found.numbers) == 3
    assert found.warnings[0].text.endswith("Ødegård/100, Ødegård/98, Ødegård/99.")


@pytest.mark.parametrize(
    ("lot", "first", "count"),
    [("", 1, 1), ("a/b", 1, 1), ("x" * 41, 1, 1), ("魚", 1, 1), ("mill", -1, 1), ("mill", 1, 0), ("mill", 1, 10**6)],
)
def test_wishes_that_cannot_be(lot: str, first: int, count: int) -> None:
    with pytest.raises(BadOption) as fault:
        sheet(lot, first, count)
    assert fault.value.what_to_do
