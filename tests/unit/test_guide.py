"""The printed guide, turned into pictures and measured with a ruler of pixels."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray
from scipy.ndimage import find_objects, label

from identify.commands import refs_guide
from identify.errors import BadOption, CannotWrite
from identify.guide import write_guide
from identify.guide.write import shrink_of
from identify.reference import read, write
from tests.unit.known_baits import body

DPI = 200
STROKE_MM = 0.25
Boxes = list[tuple[float, float]]


def model(maker: str, name: str, length: float, ties: int = 1, **more: object) -> dict[str, object]:
    rings = [[(0.25 + 0.1 * k) * length, 0.14 * length + 5.0] for k in range(ties)]
    size = {"code": "1", "length_mm": length, "depth_mm": 0.28 * length, "line_ties": {"count": ties, "at_mm": rings}}
    return {"maker": maker, "model": name, "size": [size], **more}


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    folder = tmp_path / "shelf"
    write.put(
        folder / "set.toml", write.set_toml({"title": "Shelf: Łódź & 釣", "editor": "E. Marl", "licence": "CC0-1.0"})
    )
    colourway = {"code": "31", "name": "Slate", "back_lab": [36.0, -2.0, -9.0], "belly_lab": [80.0, 1.0, 38.0]}
    for values in (
        model("Brack & Linn", "Eighty", 80.0, colourway=[colourway], made="1936~/1957", known_by="paper"),
        model("Brack & Linn", "Giant", 400.0),
        model("Kettlemoor Works", "Eighty Two", 80.0, 2, same_mould_as=["Brack & Linn / Eighty"]),
        {"maker": "Kettlemoor Works", "model": "Bare", "size": [{"length_mm": 50.0, "line_ties": {"count": 3}}]},
    ):
        path = folder / write.model_path(str(values["maker"]), str(values["model"]))
        write.put(path, write.model_toml(values))
        if values["model"] != "Bare":
            length = float(values["size"][0]["length_mm"])  # type: ignore[index]
            write.put(path.with_suffix(".svg"), write.outline_svg(body(length, 0.28 * length), "x"))
    return folder


def pictures(file: Path) -> list[NDArray[np.uint8]]:
    document = pypdfium2.PdfDocument(file)
    try:
        return [page.render(scale=DPI / 72).to_numpy()[..., :3].copy() for page in document]
    finally:
        document.close()


def words(file: Path) -> str:
    document = pypdfium2.PdfDocument(file)
    try:
        return " ".join(" ".join(page.get_textpage().get_text_range() for page in document).split())
    finally:
        document.close()


def boxes(picture: NDArray[np.uint8]) -> Boxes:
    """Widths and heights in mm of everything dark on a page, to the middle of its strokes."""
    dark, _ = label(picture.mean(2) < 140, np.ones((3, 3)))
    mm = 25.4 / DPI
    found = [(s[1].stop - s[1].start, s[0].stop - s[0].start) for s in find_objects(dark) if s is not None]
    return [(w * mm - STROKE_MM, h * mm - STROKE_MM) for w, h in found]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_what_is_drawn_at_life_size_is(shelf: Path, tmp_path: Path, paper: str) -> None:
    target = tmp_path / "guide.pdf"
    pages = write_guide(read(shelf), target, paper)
    shown = pictures(target)
    assert len(shown) == pages >= 3
    size = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}[paper]
    assert (shown[0].shape[1] / DPI * 25.4, shown[0].shape[0] / DPI * 25.4) == pytest.approx(size, abs=0.2)
    first = boxes(shown[0])
    assert [w for w, h in first if abs(h - 53.98) < 0.3] == [pytest.approx(85.60, abs=0.3)]
    for picture in shown:
        assert any(abs(w + STROKE_MM - 50.0) < 0.3 and h < 4 for w, h in boxes(picture))
    outlines = [(w, h) for w, h in boxes(shown[1]) if 75 < w < 85]
    assert outlines and all((w, h) == pytest.approx((80.0, 22.4), abs=0.3) for w, h in outlines)
    twins = [(w, h) for w, h in boxes(shown[-1]) if 75 < w < 85]
    assert len(twins) == 2 and all((w, h) == pytest.approx((80.0, 22.4), abs=0.3) for w, h in twins)


def test_what_it_says(shelf: Path, tmp_path: Path) -> None:
    target = tmp_path / "guide.pdf"
    write_guide(read(shelf), target)
    said = words(target)
    for text in (
        "Brack & Linn / Eighty", "made 1936~/1957", "80.0 ± 0.5 mm long", "31 Slate", "1 line tie", "2 line ties",
        "1 : 3", "3 line ties; no outline", "Look-alikes, and how to tell them", "line ties: 1 against 2",
        "shape cannot decide", "Łódz & ?", "Licence: CC0-1.0", "Known by paper of the time",
    ):  # fmt: skip
        assert text in said, text
    first = target.read_bytes()
    write_guide(read(shelf), target)
    assert target.read_bytes() == first


def test_wrong_wishes(shelf: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(BadOption, match="a5"):
        write_guide(read(shelf), tmp_path / "x.pdf", "a5")
    with pytest.raises(CannotWrite):
        write_guide(read(shelf), tmp_path / "none" / "x.pdf")
    write.put(tmp_path / "empty" / "set.toml", write.set_toml({"title": "Empty"}))
    with pytest.raises(BadOption, match="no models"):
        write_guide(read(tmp_path / "empty"), tmp_path / "x.pdf")
    assert refs_guide.write_guide(str(shelf), str(tmp_path / "g.pdf"), "Letter") == 0
    assert "Print at 100 %" in capsys.readouterr().out
    assert [shrink_of(length, 180) for length in (80, 180, 181, 800)] == [1, 1, 2, 5]
