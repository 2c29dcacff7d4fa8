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
from identify.guide.drawn import shrink_of
from identify.guide.letters import shown
from identify.reference import read, write
from tests.unit.known_baits import body

DPI = 200
STROKE_MM = 0.25
Boxes = list[tuple[float, float]]
LONG = "The late Mr Somebody's shelf of lake baits, wooden and plastic, as photographed in the barn, second edition"


def model(maker: str, name: str, length: float, ties: int = 1, **more: object) -> dict[str, object]:
    rings = [[(0.25 + 0.1 * k) * length, 0.14 * length + 5.0] for k in range(ties)]
    size = {"code": "1", "length_mm": length, "depth_mm": 0.28 * length, "line_ties": {"count": ties, "at_mm": rings}}
    return {"maker": maker, "model": name, "size": [size], **more}


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    folder = tmp_path / "shelf"
    write.put(folder / "set.toml", write.set_toml({"title": "Shelf: Łódź", "editor": "E. Marl", "licence": "CC0-1.0"}))
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


@pytest.fixture
def lone(tmp_path: Path) -> Path:
    """A set of one model, which has no look-alikes to be worked out."""
    folder = tmp_path / "lone"
    write.put(folder / "set.toml", write.set_toml({"title": "Lone"}))
    write.put(folder / "brack-and-linn/eighty.toml", write.model_toml(model("Brack & Linn", "Eighty", 80.0)))
    write.put(folder / "brack-and-linn/eighty.svg", write.outline_svg(body(80.0, 0.28 * 80.0), "x"))
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


def placed(picture: NDArray[np.uint8]) -> list[tuple[float, float, float, float]]:
    """Left, top, width and height in mm of everything dark on a page, to the middle of its strokes."""
    dark, _ = label(picture.mean(2) < 140, np.ones((3, 3)))
    mm = 25.4 / DPI
    return [
        (x.start * mm, y.start * mm, (x.stop - x.start) * mm - STROKE_MM, (y.stop - y.start) * mm - STROKE_MM)
        for y, x in filter(None, find_objects(dark))
    ]


def boxes(picture: NDArray[np.uint8]) -> Boxes:
    return [(w, h) for _, _, w, h in placed(picture)]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_what_is_drawn_at_life_size_is(shelf: Path, tmp_path: Path, paper: str) -> None:
    target = tmp_path / "guide.pdf"
    pages = write_guide(read(shelf), target, paper).pages
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
        "Brack & Linn / Eighty", "Made about 1936 to 1957", "80.0 ± 0.5 mm long", "31 Slate", "1 line tie",
        "2 line ties", "1 : 3", "3 line ties; no outline", "Look-alikes, and how to tell them",
        "line ties: 1 against 2", "shape cannot decide", "Shelf: Łódz", "Licence: CC0-1.0",
        "Known by paper of the time",
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
    said = capsys.readouterr().out
    assert "Print at 100 %" in said and "does not have all letters" not in said
    assert [shrink_of(length, 180) for length in (80, 180, 181, 800)] == [1, 1, 2, 5]


def test_a_long_title_leaves_the_bar_alone(lone: Path, tmp_path: Path) -> None:
    write.put(lone / "set.toml", write.set_toml({"title": LONG}))
    write_guide(read(lone), tmp_path / "g.pdf")
    for picture in pictures(tmp_path / "g.pdf"):
        assert any(abs(w + STROKE_MM - 50.0) < 0.3 and h < 4 for w, h in boxes(picture))
        assert min(x for x, *_ in placed(picture)) > 14
    assert f"{LONG[:30]}" in words(tmp_path / "g.pdf") and "… · 1" in words(tmp_path / "g.pdf")


def test_lookalikes_stand_side_by_side_where_there_is_room(shelf: Path, tmp_path: Path) -> None:
    write_guide(read(shelf), tmp_path / "g.pdf")
    (left, right) = sorted(box for box in placed(pictures(tmp_path / "g.pdf")[-1]) if 75 < box[2] < 85)
    assert left[0] + left[2] < right[0] and left[1] == pytest.approx(right[1], abs=0.3)
    said = words(tmp_path / "g.pdf").partition("how to tell them")[2]
    assert "Brack & Linn / Eighty, size 1" in said and "Kettlemoor Works / Eighty Two, size 1" in said
    for name, length in (("Eighty", 100.0), ("Eighty Two", 101.0)):
        maker = "Brack & Linn" if name == "Eighty" else "Kettlemoor Works"
        path = shelf / write.model_path(maker, name)
        path.write_text(path.read_text("utf-8").replace("length_mm = 80.0", f"length_mm = {length}"), "utf-8")
        write.put(path.with_suffix(".svg"), write.outline_svg(body(length, 0.28 * 80), "x"))
    write_guide(read(shelf), tmp_path / "g.pdf")
    upper, lower = sorted((b for b in placed(pictures(tmp_path / "g.pdf")[-1]) if 95 < b[2] < 105), key=lambda b: b[1])
    assert upper[2] == pytest.approx(100.0, abs=0.3) and lower[2] == pytest.approx(101.0, abs=0.3)
    assert upper[1] + upper[3] < lower[1] and upper[0] == pytest.approx(lower[0], abs=0.3)


def test_names_and_years_of_colourways_stand_whole_and_pages_say_what_goes_on(lone: Path, tmp_path: Path) -> None:
    lab = {"back_lab": [36.0, -2.0, -9.0], "belly_lab": [80.0, 1.0, 38.0]}
    names = [f"Green back shading into silver, dots along the side, red head {k}" for k in range(60)]
    colourways = [{"code": str(k), "name": name, "made": "../1941", **lab} for k, name in enumerate(names)]
    colourways.append({"code": "X", "name": "Unbreakable" * 8, **lab})
    path = lone / "brack-and-linn/eighty.toml"
    write.put(path, write.model_toml(model("Brack & Linn", "Eighty", 80.0, colourway=colourways, made="1936~/1957")))
    write_guide(read(lone), tmp_path / "g.pdf")
    said = words(tmp_path / "g.pdf")
    assert all(f"{k} {name}" in said for k, name in enumerate(names)) and said.count("until 1941") == 60
    assert "Unbreakable" * 8 in said.replace(" ", "") and "…" not in said
    assert "Brack & Linn / Eighty, continued" in said
    assert "Made about 1936 to 1957" in said and "made about" not in said  # said of the model, not again of its size
    write.put(path, write.model_toml(model("Brack & Linn", "Eighty", 80.0, made="1936~/1957")))
    write_guide(read(lone), tmp_path / "g.pdf")
    assert "continued" not in words(tmp_path / "g.pdf")


def test_how_it_is_known_is_said_of_what_is_known_so(lone: Path, tmp_path: Path) -> None:
    path = lone / "kettlemoor-works/bare.toml"
    ties = {"count": 3, "known_by": "tool"}
    bare = {"maker": "Kettlemoor Works", "model": "Bare", "size": [{"length_mm": 50.0, "line_ties": ties}]}
    for known_by, model_known, ties_known in (
        ("paper", "Known by paper of the time", "3 line ties (known by this program's own answers only)"),
        ("tool", "Known by this program's own answers only", "3 line ties; no outline"),
    ):
        write.put(path, write.model_toml({**bare, "known_by": known_by}))
        write_guide(read(lone), tmp_path / "g.pdf")
        said = words(tmp_path / "g.pdf").partition("Kettlemoor Works / Bare")[2]
        assert model_known in said and ties_known in said
        assert said.count("Known by") == 1


def test_letters_that_the_font_lacks_are_said_not_printed_as_question_marks(
    lone: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write.put(
        lone / "set.toml", write.set_toml({"title": "Shelf 釣り具 & Łódź?", "description": "Щука и окунь, Ωmega"})
    )
    assert refs_guide.write_guide(str(lone), str(tmp_path / "g.pdf"), "a4") == 0
    said = capsys.readouterr().out
    assert '"Shelf 釣り具 & Łódź?", "Щука и окунь, Ωmega"' in said
    printed = words(tmp_path / "g.pdf")
    assert "Shelf […] & Łódz?" in printed and "[…], Ωmega" in printed and "??" not in printed
    assert "stands for letters that the guide's font does not have" in printed
    assert [shown(text) for text in ("e\u0301", "a\u200db", "Щ Щ Щ b", "x?")] == ["é", "ab", "[…] b", "x?"]
