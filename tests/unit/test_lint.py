"""One deliberately faulty set for every fault code, and what lint must say of it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from identify.errors import SetFaulty, SetMissing
from identify.reference import lint, read
from identify.reference.faults import CODES, as_document

SET = 'schema = 1\ntitle = "Lakes"\n'
MODEL = """\
schema = 1
maker = "Kettlemoor Works"
model = "Low Otter"

[[size]]
code = "1"
length_mm = 60.0
depth_mm = 20.0
line_ties = { count = 1, at_mm = [[15.0, 10.0]] }

[[size]]
code = "2"
length_mm = 80.0

[[colourway]]
code = "slate"
back_lab = [38.0, -2.0, -8.0]
"""
PATH = "M0,10 C0,4 12,0 24,0 C44,0 60,6 60,10 C60,14 44,20 24,20 C12,20 0,16 0,10 Z"
SVG = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 20">\n<path id="outline" d="{PATH}"/></svg>'
FILE, DRAWING = "kettlemoor-works/low-otter.toml", "kettlemoor-works/low-otter.svg"
Files = dict[str, str | bytes]


def write_set(folder: Path, files: Files) -> Path:
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return folder


def good() -> Files:
    return {"set.toml": SET, FILE: MODEL, DRAWING: SVG}


@dataclass(frozen=True)
class Case:
    """A change to the good set, and the fault it must give."""

    code: str
    change: Callable[[Files], object]
    file: str = FILE
    line: int | None = None
    key: str | None = None
    remark: bool = False


def swap(old: str, new: str, file: str = FILE) -> Callable[[Files], object]:
    def change(files: Files) -> None:
        text = files[file]
        assert isinstance(text, str) and old in text
        files[file] = text.replace(old, new, 1)

    return change


def add(text: str, file: str = FILE) -> Callable[[Files], object]:
    def change(files: Files) -> None:
        files[file] = str(files[file]) + text

    return change


def put(name: str, content: str | bytes) -> Callable[[Files], object]:
    return lambda files: files.update({name: content})


def drop(name: str) -> Callable[[Files], object]:
    return lambda files: files.pop(name)


def path(data: str) -> Callable[[Files], object]:
    return swap(PATH, data, DRAWING)


OTHER = MODEL.replace("Low Otter", "Cairn Loaf")
STRANGER = "kettlemoor-works/cairn-loaf.toml"
SLIM = '<svg viewBox="0 0 60 20"><path id="outline" d="M0,10 C0,8 12,7 24,7 C44,7 60,9 60,10 C60,11 44,13 24,13 C12,13 0,12 0,10 Z"/></svg>'  # noqa: E501
BOAT = '<svg viewBox="0 0 60 12"><path id="outline" d="M0,3 C10,0 40,0 60,3 L56,6 L24,12 L6,7 Z"/></svg>'
WEDGE = '<svg viewBox="0 0 60 30"><path id="outline" d="M0,4 L4,0 L60,0 L58,8 L20,30 L8,26 Z"/></svg>'

PIECES = FILE.replace(".toml", ".pieces.jsonl")

CASES = [
    Case("pieces-unreadable", put(PIECES, '{"piece": "A-1"}\n'), PIECES, remark=True),
    Case("pieces-unreadable", put(PIECES, b"\xff"), PIECES, remark=True),
    Case("set-toml-missing", drop("set.toml"), "set.toml"),
    Case("file-too-large", put(DRAWING, b" " * 2_000_001), DRAWING),
    Case("file-misplaced", put("low-otter.toml", MODEL), "low-otter.toml"),
    Case("file-unused", put("kettlemoor-works/old.svg", SVG), "kettlemoor-works/old.svg", remark=True),
    Case("not-utf8", put(FILE, MODEL.replace("Works", "W\xf6rks").encode("latin-1")), line=2),
    Case("not-utf8", put(FILE, MODEL.encode("utf-16")), line=1),
    Case("has-bom", put(FILE, b"\xef\xbb\xbf" + MODEL.encode()), line=1, remark=True),
    Case("toml-syntax", swap("depth_mm = 20.0", "depth_mm = 20,0"), line=8),
    Case("toml-syntax", swap('code = "2"', 'code = "2'), line=12),
    Case("toml-syntax", add("deep = " + "[" * 5000)),
    Case("slug-case", put("Kettlemoor-Works/low-otter.toml", OTHER), line=None),
    Case("slug-case", put("Kettlemoor-Works/cairn-loaf.toml", OTHER), line=None),
    Case("slug-reserved", put("con/low-otter.toml", OTHER), "con/low-otter.toml"),
    Case("slug-reserved", put("kettlemoor-works/lpt1.v2.toml", OTHER), "kettlemoor-works/lpt1.v2.toml"),
    Case("slug-differs", put(STRANGER, OTHER.replace("Cairn Loaf", "Cairn Deep")), STRANGER, 3, "model", True),
    Case(
        "path-long", put(f"kettlemoor-works/{'x' * 170}.toml", OTHER), f"kettlemoor-works/{'x' * 170}.toml", remark=True
    ),
    Case("schema-unknown", swap("schema = 1", "schema = 2"), line=1, key="schema"),
    Case("missing-key", swap('maker = "Kettlemoor Works"\n', ""), key="maker"),
    Case("missing-key", swap("length_mm = 80.0", ""), line=11, key="size[2].length_mm"),
    Case("missing-key", put("set.toml", "schema = 1\n"), "set.toml", key="title"),
    Case("unknown-key", swap("depth_mm", "dept_mm"), line=8, key="size[1].dept_mm"),
    Case("unknown-key", swap("count = 1", "cuont = 1"), line=9, key="size[1].line_ties.cuont"),
    Case("wrong-type", swap('code = "2"', "code = 2"), line=12, key="size[2].code"),
    Case("wrong-type", swap("length_mm = 60.0", 'length_mm = "60"'), line=7, key="size[1].length_mm"),
    Case("wrong-type", swap("[[15.0, 10.0]]", "15.0"), line=9, key="size[1].line_ties.at_mm"),
    Case("wrong-type", swap('code = "slate"', 'code = "slate"\nzones = 3'), line=17, key="colourway[1].zones"),
    Case("bad-value", add('pattern = "spots"\n'), line=18, key="colourway[1].pattern"),
    Case("bad-value", swap("depth_mm = 20.0", "depth_mm = -20.0"), line=8, key="size[1].depth_mm"),
    Case("bad-value", swap("depth_mm = 20.0", "depth_mm = nan"), line=8, key="size[1].depth_mm"),
    Case("bad-value", swap("[[15.0, 10.0]]", "[[15.0]]"), line=9),
    Case("bad-value", swap("depth_mm = 20.0", 'outline = "../x.svg"'), line=8, key="size[1].outline"),
    Case("toml-syntax", swap("schema = 1", "schema = 1\nsize = []"), line=6),
    Case("missing-key", put(FILE, 'schema = 1\nmaker = "A"\nmodel = "B"\nsize = []\n'), line=4, key="size"),
    Case(
        "outline-reversed",
        lambda f: (put(DRAWING, BOAT)(f), swap("20.0", "11.3")(f), swap("[15.0, 10.0]", "[24.0, 8.5]")(f)),
        remark=True,
    ),
    Case("bad-name", swap("Low Otter", "Low / Otter"), line=3, key="model"),
    Case("bad-name", swap('code = "2"', 'code = ""'), line=12, key="size[2].code"),
    Case("made-invalid", swap("\n\n", '\nmade = "c. 1936"\n\n'), line=4, key="made"),
    Case("lab-impossible", swap("38.0, -2.0", "138.0, -2.0"), line=17, key="colourway[1].back_lab"),
    Case("lab-impossible", swap("-2.0, -8.0", "-90.0, -80.0"), line=17, key="colourway[1].back_lab"),
    Case("lab-fluorescent", swap("38.0, -2.0, -8.0", "60.0, 90.0, 70.0"), line=17, remark=True),
    Case("duplicate-code", swap('code = "2"', 'code = "1"'), line=12, key="size[2].code"),
    Case("duplicate-code", add('[[colourway]]\ncode = "slate"\n'), line=19, key="colourway[2].code"),
    Case("duplicate-model", put("kettlemoor-works/low-otter-2.toml", MODEL.replace("Low", "low"))),
    Case(
        "duplicate-source",
        add('[[source]]\nid="s"\ncitation="a"\n[[source]]\nid="s"\ncitation="b"', "set.toml"),
        "set.toml",
        7,
        "source[2].id",
    ),
    Case("unknown-size", add('sizes = ["1", "3"]\n'), line=18, key="colourway[1].sizes", remark=True),
    Case("unknown-source", add('source = "s9"\n'), line=18, key="colourway[1].source", remark=True),
    Case("unknown-model", swap("\n\n", '\nsame_mould_as = ["A / B"]\n\n'), line=4, remark=True),
    Case("unknown-maker", add('[prior]\n"Kettlemore" = 2\n', "set.toml"), "set.toml", 4, remark=True),
    Case("sizes-order", swap("80.0", "50.0"), line=13, key="size[2].length_mm", remark=True),
    Case("length-absurd", swap("60.0", "6.35"), line=7, key="size[1].length_mm"),
    Case("length-absurd", swap("80.0", "63500"), line=13, key="size[2].length_mm"),
    Case("length-odd", swap("80.0", "635"), line=13, key="size[2].length_mm", remark=True),
    Case("depth-absurd", swap("depth_mm = 20.0", "depth_mm = 200.0"), line=8, key="size[1].depth_mm"),
    Case("depth-absurd", swap("80.0", "80.0\nthickness_mm = 110.0"), line=14, key="size[2].thickness_mm"),
    Case("thickness-odd", swap("20.0", "20.0\nthickness_mm = 50"), line=9, key="size[1].thickness_mm", remark=True),
    Case("tolerance-odd", swap("20.0", "20.0\ntolerance_mm = 4.0"), line=9, key="size[1].tolerance_mm", remark=True),
    Case("ring-count", swap("count = 1", "count = 2"), line=9, key="size[1].line_ties"),
    Case("ring-count", swap("{ count = 1, at_mm = [[15.0, 10.0]] }", "{}"), line=9, key="size[1].line_ties"),
    Case("ring-off-outline", swap("[15.0, 10.0]", "[25.0, 24.0]"), line=9, key="size[1].line_ties", remark=True),
    Case("eye-off-outline", swap("\n\n", "\neye = { at_mm = [8.0, 13.0] }\n\n"), line=4, key="eye", remark=True),
    Case("count-odd", swap("\n\n", "\nhooks = 30\n\n"), line=4, key="hooks", remark=True),
    Case("count-odd", swap("{ count = 1, at_mm = [[15.0, 10.0]] }", "{ count = 22 }"), line=9, remark=True),
    Case("eye-odd", swap("20.0", "20.0\neye = { diameter_mm = 18 }"), line=9, key="size[1].eye", remark=True),
    Case(
        "linked-to-itself",
        swap("\n\n", '\ncast_from = ["Kettlemoor Works / low otter"]\n\n'),
        line=4,
        key="cast_from[1]",
        remark=True,
    ),
    Case(
        "years-contradict",
        lambda f: (swap("\n\n", '\nmade = "1936/1957"\n\n')(f), add('made = "1960"\n')(f)),
        line=19,
        key="colourway[1].made",
        remark=True,
    ),
    Case(
        "years-contradict",
        lambda f: (swap("\n\n", '\nmade = "1936/1957"\n\n')(f), swap('"2"', '"2"\nmade="1950/1960"')(f)),
        line=14,
        key="size[2].made",
        remark=True,
    ),
    Case(
        "zone-twice",
        add('zones = [{ kind = "head", lab = [30, 0, 0] }, { kind = "head", lab = [50, 0, 0] }]\n'),
        line=18,
    ),
    Case("outline-missing", swap("80.0", '80.0\noutline = "low-otter-2.svg"'), line=14, key="size[2].outline"),
    Case("outline-none", drop(DRAWING), remark=True),
    Case("outline-syntax", swap("<path", "<path<", DRAWING), DRAWING, 2),
    Case("outline-syntax", put(DRAWING, '<!DOCTYPE svg [<!ENTITY a "b">]><svg viewBox="0 0 1 1"/>'), DRAWING, 1),
    Case("outline-syntax", put(DRAWING, "<html/>"), DRAWING, 1),
    Case("outline-syntax", path("M0,0 L10 L5"), DRAWING, 2),
    Case("outline-syntax", path("M" + " ".join(f"{i},{i * i % 7}" for i in range(2000)) + "Z"), DRAWING, 2),
    Case("outline-no-path", swap('id="outline"', 'id="body"', DRAWING), DRAWING),
    Case("outline-no-path", swap("</svg>", '<path id="outline" d="M0 0"/></svg>', DRAWING), DRAWING),
    Case("outline-command", path("M0,10 A30 10 0 0 1 60,10 A30 10 0 0 1 0,10 Z"), DRAWING, 2),
    Case("outline-transform", swap("<path", '<g transform="scale(2)"><path', DRAWING), DRAWING, 2),
    Case("outline-viewbox", swap(' viewBox="0 0 60 20"', "", DRAWING), DRAWING, 1),
    Case("outline-viewbox", swap("viewBox", 'width="6cm" height="30mm" viewBox', DRAWING), DRAWING, 1),
    Case("outline-open", path(PATH[:-2].replace("0,16 0,10", "0,16 0,12")), DRAWING, 2),
    Case("outline-open", path(PATH + " M10 10 L20 10 L15 12 Z"), DRAWING, 2),
    Case("outline-crosses", path("M0,0 L60,20 L60,0 L0,20 Z"), DRAWING, 2),
    Case("outline-scale", swap("60.0", "64.0"), DRAWING, 2),
    Case("outline-proportion", swap("20.0", "17.0"), DRAWING, 2),
    Case(
        "outline-reversed",
        lambda f: (put(DRAWING, WEDGE)(f), swap("20.0", "30.0")(f), swap("[15.0, 10.0]", "[18.0, 28.5]")(f)),
        line=9,
    ),
]


def test_the_good_set_is_good(tmp_path: Path) -> None:
    report = lint(write_set(tmp_path, good()))
    assert (report.errors, report.remarks) == ((), ())
    assert read(tmp_path).title == "Lakes"


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.code)
def test_every_fault_is_found_where_it_stands(case: Case, tmp_path: Path) -> None:
    files = good()
    case.change(files)
    report = lint(write_set(tmp_path, files))
    found = [f for f in (report.remarks if case.remark else report.errors) if f.code == case.code]
    assert found, report
    if case.file != FILE or case.line is not None:
        assert found[0].file == case.file
    if case.line is not None:
        assert found[0].line == case.line
    if case.key is not None:
        assert found[0].key == case.key
    assert found[0].text and found[0].fix
    if case.remark:
        assert report.errors == ()
        read(tmp_path)
    else:
        with pytest.raises((SetFaulty, SetMissing)):
            read(tmp_path)


def test_every_code_has_a_case() -> None:
    assert {case.code for case in CASES} | {"file-unreadable", "look-alike"} == set(CODES)


def test_a_misspelt_key_is_answered_with_the_right_one(tmp_path: Path) -> None:
    files = good()
    swap("length_mm", "lenght_mm")(files)
    faults = lint(write_set(tmp_path, files)).errors
    assert any(f.fix == "Did you mean length_mm?" for f in faults)


def test_a_file_that_may_not_be_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    write_set(tmp_path, good())
    monkeypatch.setattr(Path, "read_bytes", refuse)
    assert {f.code for f in lint(tmp_path).errors} == {"file-unreadable"}


def test_all_faults_come_at_once_in_the_order_of_files_and_lines(tmp_path: Path) -> None:
    files = good()
    swap("depth_mm", "dept_mm")(files)
    swap('code = "2"', "code = 2")(files)
    put("set.toml", "schema = 1\n")(files)
    report = lint(write_set(tmp_path, files))
    assert [(f.file, f.line) for f in report.errors] == [("set.toml", None), (FILE, 8), (FILE, 12)]


def test_the_document_follows_the_contract(tmp_path: Path) -> None:
    files = good()
    swap("depth_mm", "dept_mm")(files)
    document = json.loads(json.dumps(as_document([lint(write_set(tmp_path, files))])))
    assert document["schema"] == "baitprint/lint/1"
    assert list(document["errors"][0]) == ["file", "line", "key", "code", "text", "fix"]
    assert document["errors"][0]["file"] == f"{tmp_path}/{FILE}"
    assert document["remarks"] == []


def test_a_missing_folder(tmp_path: Path) -> None:
    with pytest.raises(SetMissing, match="no folder"):
        lint(tmp_path / "nothing")
