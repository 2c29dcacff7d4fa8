"""The report and its words, from records alone."""

from __future__ import annotations

import base64
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from identify.answer import References, rank_photo, read_sets
from identify.errors import CannotWrite
from identify.photo import read
from identify.records import Bait, Candidate, Evidence, Failure, Notice, PhotoRecord, Quantity
from identify.reference import Form
from identify.report import drawing, words
from identify.report.page import photo_page
from identify.report.picture import BAIT_SIDE, take
from identify.report.write import Report, render
from identify.settings import Settings
from tests.unit.test_serialise import COLOUR, measurement, record

REFS = Path(__file__).resolve().parents[2] / "reference_sets" / "ammerfold-lakes"


@pytest.fixture(scope="module")
def references() -> References:
    return read_sets([REFS])


# words


@pytest.mark.parametrize(
    ("weight", "said"),
    [
        (1.2041, "16 times likelier than for an unlisted bait"),
        (-0.4771, "3.0 times less likely than for an unlisted bait"),
        (0.0, "as likely as for an unlisted bait"),
        (3.38, "2,400 times likelier than for an unlisted bait"),
        (6.0, "1 million times likelier than for an unlisted bait"),
        (12.0, "more than a billion times likelier than for an unlisted bait"),
    ],
)
def test_weights_in_words(weight: float, said: str) -> None:
    assert words.weight_in_words(weight) == said


@given(st.floats(-8.9, 8.9))
def test_words_for_weights_are_near_the_weight(weight: float) -> None:
    said = words.weight_in_short(weight)
    if said == "as likely":
        assert abs(weight) < 0.05
        return
    number, scale = re.match(r"([\d,.]+)( million)?", said).groups()  # type: ignore[union-attr]
    times = float(number.replace(",", "")) * (1e6 if scale else 1)
    assert abs(np.log10(times) - abs(weight)) < 0.18  # two figures, but whole millions
    assert ("likelier" in said) == (weight > 0)


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (0, "0 %"),
        (1, "100 %"),
        (0.5, "50 %"),
        (0.0004, "< 0.1 %"),
        (0.99995, "> 99.9 %"),
        (0.034, "3.4 %"),
        (0.992, "99.2 %"),
    ],
)
def test_probabilities(p: float, said: str) -> None:
    assert words.percent(p) == said


def test_lengths_have_units_and_uncertainty() -> None:
    assert words.length(Quantity(63.42, 0.38)) == "63.42 ± 0.38 mm"
    assert words.length(Quantity(63.5, 0.254), "inch") == "2.500 ± 0.010 in"
    assert words.length(None) == "not measured without a scale"
    assert words.plus_minus(12.0, 3.2) == "12.0 ± 3.2"


def test_millimetres_in_texts_become_inches() -> None:
    assert words.in_units("12.7 and 25.4 mm from the nose, 5.08 ± 0.25 mm wide", "inch") == (
        "0.500 and 1.000 in from the nose, 0.200 ± 0.010 in wide"
    )
    assert words.in_units("2 (97 %)", "inch") == "2 (97 %)"
    assert words.in_units("12.7 mm", "mm") == "12.7 mm"


def test_the_strongest_evidence_is_a_measured_one() -> None:
    rows = (Evidence("prior", "", "", 9.0), Evidence("line ties", "2", "2", 1.2041), Evidence("length", "", "", -0.6))
    candidate = Candidate("M", "N", "1", None, 0, None, None, 0.5, None, rows)
    assert words.strongest(candidate) == (
        "Most for it speaks line ties: 16 times likelier than for an unlisted bait. "
        "Most against it speaks length: 4.0 times less likely than for an unlisted bait."
    )


def test_the_answer_in_one_line() -> None:
    (bait,) = record().baits
    assert bait.identification is not None
    assert words.headline(bait.identification) == "Probably none of these (67 %)"
    assert words.headline(replace(bait.identification, none_of_these=0.4)) == "Perhaps none of these (40 %)"
    assert words.headline(replace(bait.identification, none_of_these=0.1)) == "Kjærvik & Søn / 魚 2 (33 %)"


def test_unsure_ties_name_the_two_likeliest_counts() -> None:
    ties = measurement().line_ties
    assert ties is not None
    unsure = replace(ties, count=None, probabilities=(0.0, 0.48, 0.44, 0.08, 0.0, 0.0), traces=())
    assert words.ties(unsure) == "not sure: 1 (48 %) or 2 (44 %)"
    assert words.ties(ties) == "2 (97 % sure); 1 lost"


def test_colours_have_no_minus_zero() -> None:
    assert words.lab((54.4, -0.2, -8.6)) == "Lab 54, 0, −9"


# drawing


def ellipse(length: float, depth: float, n: int = 120) -> np.ndarray:
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    x = length / 2 * (1 - np.cos(t))
    return np.column_stack([x, depth / 2 * np.sin(t) * (1 - 0.5 * x / length) + (np.sin(t) > 0) * 0.1 * depth])


def form(outline: np.ndarray, **changes: object) -> Form:
    values = dict.fromkeys(Form.__dataclass_fields__)
    values |= {"set": 0, "maker": "M", "model": "N", "size": "1", "length_mm": 60.0, "colourways": ()}
    values |= {"outline_mm": tuple(map(tuple, outline)), **changes}
    return Form(**values)  # type: ignore[arg-type]


def test_the_candidate_is_laid_as_the_set_has_it_when_that_fits() -> None:
    outline = ellipse(60, 18)
    laid = drawing.overlay(replace(measurement(), outline_mm=tuple(map(tuple, outline))), form(outline))
    assert laid is not None and laid.turned == "" and not laid.same_length


def test_the_candidate_is_turned_when_it_fits_better_so() -> None:
    outline = ellipse(60, 18)
    end_for_end = outline * (-1, 1) + (60, 0)
    laid = drawing.overlay(replace(measurement(), outline_mm=tuple(map(tuple, end_for_end))), form(outline))
    assert laid is not None and laid.turned == "turned end for end"


def test_without_a_scale_both_are_drawn_at_one_length() -> None:
    m = replace(
        measurement(),
        outline_mm=None,
        outline_px=tuple(map(tuple, ellipse(600, 180))),
        nose_px=(0, 0),
        tail_px=(600, 0),
    )
    laid = drawing.overlay(m, form(ellipse(60, 18)))
    assert laid is not None and laid.same_length
    assert 60 < laid.drawing.view[2] < 80


def test_no_outline_in_the_set_no_overlay() -> None:
    assert drawing.overlay(measurement(), replace(form(ellipse(60, 18)), outline_mm=None)) is None


def test_the_depth_line_is_as_long_as_the_depth() -> None:
    turned = ellipse(600, 180) @ np.array([[0.8, 0.6], [-0.6, 0.8]])
    m = replace(measurement(), outline_px=tuple(map(tuple, turned)), nose_px=(0.0, 0.0), tail_px=(480.0, 360.0))
    (depth,) = (s for s in drawing.bait(m, (0, 0, 500, 500)).shapes if s.kind == "depth")
    (x0, y0), (x1, y1) = (map(float, part.split()) for part in depth.path[1:].split("L"))
    assert np.hypot(x1 - x0, y1 - y0) == pytest.approx(np.ptp(ellipse(600, 180)[:, 1]), rel=0.01)
    assert abs((x1 - x0) * 0.8 + (y1 - y0) * 0.6) < 0.2


# the page


class Checker(HTMLParser):
    """Collects what a self-contained, accessible page must not have or must have."""

    VOID = frozenset({"meta", "link", "img", "br", "path", "rect", "image"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.outside: list[str] = []
        self.unnamed = 0
        self.names: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.names.append(tag)
        for key in ("src", "href", "xlink:href"):
            value = found.get(key) or ""
            if value and not value.startswith(("#", "data:")):
                self.outside.append(value)
        if tag == "svg" and not (found.get("aria-label") or found.get("aria-hidden") == "true"):
            self.unnamed += 1
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in self.VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.VOID:
            assert self.open.pop() == tag


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """A picture with an address in it, as phones write."""
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 28.0, 38.0), 3: "W", 4: (0.0, 0.0, 1.0)})
    exif[0x010F] = "SECRETCAMERA"
    place = tmp_path / "p <b>&amp; 01.jpg"
    Image.fromarray(np.full((120, 160, 3), (200, 30, 30), np.uint8)).save(place, exif=exif.tobytes(), quality=95)
    return place


def page(photo: Path, references: References | None, **changes: object) -> str:
    found = replace(record(photo=str(photo)), **changes)  # type: ignore[arg-type]
    ranked = rank_photo(found, references, 5)
    return render([photo_page(ranked, take(read(photo), ranked), references, "mm")], references)


def test_the_page_is_whole_safe_and_self_contained(photo: Path, references: References) -> None:
    html = page(photo, references)
    checker = Checker()
    checker.feed(html)
    assert checker.open == [] and checker.outside == [] and checker.unnamed == 0
    assert "script" not in checker.names
    assert "p &lt;b&gt;&amp;amp; 01.jpg" in html and "<b>" not in html
    assert str(photo.parent) not in html
    for number in ("63.40 ± 0.40 mm", "17.90 ± 0.30 mm", "0.2820 ± 0.0040", "3.60 ± 0.20 mm"):
        assert number in html
    assert "none of these" in html and "likel" in html
    for caution in ("Hooks are sharp", "hold lead", "cellulose nitrate", "not an authentication"):
        assert caution in html


def test_a_file_name_that_is_no_text_is_shown_as_far_as_it_is() -> None:
    html = render([photo_page(record(photo="box/caf\udce9.jpg", baits=()), None, None, "mm")], None)
    assert "caf\ufffd.jpg" in html


def test_pictures_carry_nothing_that_the_camera_wrote(photo: Path) -> None:
    html = page(photo, None)
    jpegs = [base64.b64decode(b) for b in re.findall(r"data:image/jpeg;base64,([A-Za-z0-9+/=]+)", html)]
    assert len(jpegs) == 2
    for jpeg in jpegs:
        assert b"SECRETCAMERA" not in jpeg and b"Exif" not in jpeg
        pixels = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
        assert pixels is not None
        assert np.abs(pixels.mean((0, 1)) - (30, 30, 200)).max() < 4  # still red: blue, green, red


def test_unranked_pages_have_no_candidates(photo: Path) -> None:
    html = page(photo, None, baits=(Bait(measurement()),))
    assert "What it may be" not in html and "measured only" in html and "63.40 ± 0.40 mm" in html


def test_a_photo_without_a_bait_and_one_that_failed(photo: Path, references: References) -> None:
    empty = page(photo, references, baits=(), warnings=(Notice("no-bait", "Nothing here."),))
    assert "Nothing here." in empty
    failed = PhotoRecord("a/b/gone.jpg", None, None, None, "0", None, None, None, None, (), record().error, (), ())
    html = render(
        [photo_page(replace(failed, error=Failure("photo-missing", "No <such> file.")), None, None, "mm")], None
    )
    assert "Could not be used" in html and "No &lt;such&gt; file." in html and "a/b" not in html


def test_swatches_stand_beside_the_expected(photo: Path, references: References) -> None:
    ranked = rank_photo(record(photo=str(photo)), references, 5)
    (bait,) = photo_page(ranked, None, references, "mm").baits
    back = next(s for s in bait.swatches if s.zone == "back")
    assert back.measured_hex == COLOUR.hex
    assert back.expected_hex is None or re.fullmatch("#[0-9a-f]{6}", back.expected_hex)


def test_large_pictures_are_made_small(tmp_path: Path) -> None:
    place = tmp_path / "large.png"
    Image.fromarray(np.full((2400, 3200, 3), 128, np.uint8)).save(place)
    m = replace(measurement(), outline_px=((10.0, 10.0), (3190.0, 10.0), (3190.0, 2390.0)))
    one = replace(record(), baits=(replace(record().baits[0], measurement=m),))
    pictures = take(read(place), one)
    for picture in (pictures.whole, *pictures.baits):
        pixels = cv2.imdecode(np.frombuffer(picture.jpeg, np.uint8), cv2.IMREAD_COLOR)
        assert pixels is not None and max(pixels.shape) < 1.6 * BAIT_SIDE


def test_a_report_is_written_and_written_again(photo: Path, tmp_path: Path) -> None:
    folder = tmp_path / "new" / "report"
    for _ in range(2):
        report = Report(folder, None)
        report.add(photo, Settings(no_card=True), lambda found: rank_photo(found, None))
        assert report.write() == folder / "index.html"
    assert [p.name for p in folder.iterdir()] == ["index.html"]


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(CannotWrite, match="it is a file"):
        Report(tmp_path / "file", None)
