"""Reading sets, resolving their values, writing them again."""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import FrozenInstanceError
from pathlib import Path

import numpy as np
import pytest

from identify.errors import BadOption, CannotWrite, SetFaulty, SetMissing
from identify.geometry import Array, extent_across, max_feret, resample_closed
from identify.reference import ReferenceSet, forms, lint, read, rows, write
from identify.reference.fit import curve_at, fit_closed
from identify.reference.placement import distance_to, inside
from identify.reference.slugs import slug, storable

FULL = """\
schema = 1
maker = "Kettlemoor Works"
model = "Low Otter"
made = "1936/1957"
known_by = "paper"
hooks = 2
tie_kind = "wire"
line_ties = { count = 2, at_mm = [[6.0, 8.0], [14.0, 9.0]], known_by = "marked" }
eye = { at_mm = [7.0, 3.0], diameter_mm = 3.6, kind = "painted" }

[[size]]
code = "1"
length_mm = 60.0
depth_mm = 20.0
tolerance_mm = 0.3

[[size]]
code = "2"
length_mm = 90.0
depth_mm = 24.0
tolerance_mm = 0.45
depth_tolerance_mm = 0.2
hooks = 3

[[size]]
code = "3"
length_mm = 120.0
line_ties = { count = 3 }
made = "1950/1957"

[[variant]]
code = "early"
made = "../1941"
sizes = ["1", "2"]
line_ties = { count = 1, at_mm = [[10.0, 9.0]] }

[[colourway]]
code = "slate"
back_lab = [38.0, -2.0, -8.0]
zones = [{ kind = "head", lab = [30, 40, 20] }]

[[colourway]]
code = "moss"
name = "Moss"
sizes = ["2"]
"""
# A body 60 long and 20 deep, drawn away from the page's corner
BODY = "M3,14 c0-6 12-10 24-10 20 0 36 6 36 10 s-16,10 -36,10 S3 20 3 14z"
SVG = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 66 28"><path id="outline" d="{BODY}"/></svg>'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    home = tmp_path / "set"
    write.put(home / "set.toml", 'schema = 1\ntitle = "Lakes"\n[prior]\n"Kettlemoor Works" = 2\n')
    write.put(home / "kettlemoor-works/low-otter.toml", FULL)
    write.put(home / "kettlemoor-works/low-otter.svg", SVG)
    return home


def form_of(found: ReferenceSet, size: str, variant: str | None = None):  # type: ignore[no-untyped-def]
    return next(f for f in found.forms() if (f.size, f.variant) == (size, variant))


def test_forms_are_sizes_times_variants(folder: Path) -> None:
    found = read(folder, index=4)
    sizes = [("1", None), ("1", "early"), ("2", None), ("2", "early"), ("3", None)]
    assert [(f.size, f.variant) for f in found.forms()] == sizes
    assert {f.set for f in found.forms()} == {4}
    assert found.prior == (("Kettlemoor Works", 2.0),)
    with pytest.raises(FrozenInstanceError):
        found.title = "other"  # type: ignore[misc]


def test_a_variant_goes_before_its_size_and_a_size_before_the_file(folder: Path) -> None:
    found = read(folder)
    made = {(f.size, f.variant): f.made for f in found.forms()}
    assert made["1", None] == "1936/1957" and made["3", None] == "1950/1957" and made["2", "early"] == "../1941"
    assert form_of(found, "1").hooks == 2 and form_of(found, "2", "early").hooks == 3
    assert [form_of(found, s).line_ties.count for s in "123"] == [2, 2, 3]
    assert form_of(found, "1", "early").line_ties.count == 1
    assert form_of(found, "3").line_ties.at_mm is None
    assert form_of(found, "1").line_ties.known_by == "marked"


def test_places_at_the_top_and_in_variants_scale_by_length_and_depth(folder: Path) -> None:
    found = read(folder)
    assert form_of(found, "1").line_ties.at_mm == ((6.0, 8.0), (14.0, 9.0))
    np.testing.assert_allclose(form_of(found, "2").line_ties.at_mm, [[9.0, 9.6], [21.0, 10.8]])
    np.testing.assert_allclose(form_of(found, "2", "early").line_ties.at_mm, [[15.0, 10.8]])
    np.testing.assert_allclose(form_of(found, "3").eye.at_mm, [14.0, 6.0])
    assert form_of(found, "2").eye.diameter_mm == pytest.approx(3.6 * 1.5)


def test_tolerances_and_depth_in_proportion_where_not_given(folder: Path) -> None:
    found = read(folder)
    assert form_of(found, "1").depth_tolerance_mm == pytest.approx(0.1)
    assert form_of(found, "2").depth_tolerance_mm == 0.2
    assert form_of(found, "3").depth_mm == pytest.approx(40.0)
    assert form_of(found, "3").tolerance_mm is None and form_of(found, "3").depth_tolerance_mm is None


def test_how_far_outlines_and_places_may_lie_off_scales_with_them(folder: Path) -> None:
    slim = '<svg viewBox="0 0 90 24"><path id="outline" d="M0,12 L20,0 L90,12 L20,24 Z"/></svg>'
    text = FULL.replace("hooks = 2", "hooks = 2\noutline_tolerance_mm = 0.2")
    text = text.replace("9.0]], known_by", "9.0]], tolerance_mm = 0.3, known_by").replace(
        "3.6,", "3.6, tolerance_mm = 0.1,"
    )
    write.put(folder / "kettlemoor-works/low-otter.toml", text)
    found = read(folder)
    assert form_of(found, "1").outline_tolerance_mm == pytest.approx(0.2)
    assert form_of(found, "2").outline_tolerance_mm == pytest.approx(0.2 * 24 / 20)
    assert form_of(found, "2").line_ties.tolerance_mm == pytest.approx(0.3 * 1.5)
    assert form_of(found, "2").eye.tolerance_mm == pytest.approx(0.1 * 1.5)
    assert form_of(found, "1", "early").line_ties.tolerance_mm is None
    own = text.replace("hooks = 3", 'hooks = 3\noutline = "low-otter-2.svg"')
    write.put(folder / "kettlemoor-works/low-otter.toml", own)
    write.put(folder / "kettlemoor-works/low-otter-2.svg", slim)
    assert form_of(read(folder), "2").outline_tolerance_mm is None  # of its own outline nothing is said
    write.put(folder / "kettlemoor-works/low-otter.toml", own.replace('-2.svg"', '-2.svg"\noutline_tolerance_mm = 0.5'))
    assert form_of(read(folder), "2").outline_tolerance_mm == 0.5


def test_outlines_lie_in_the_frame_at_each_size(folder: Path) -> None:
    for form in read(folder).forms():
        outline = np.array(form.outline_mm)
        nose, tail = sorted(max_feret(outline), key=lambda p: float(p[0]))
        np.testing.assert_allclose(nose, [0, 0], atol=1e-6)
        np.testing.assert_allclose(tail, [form.length_mm, 0], atol=1e-6)
        assert extent_across(outline, nose, tail) == pytest.approx(form.depth_mm)
        assert outline[:, 1].max() > 0 > outline[:, 1].min()


def test_back_is_up_and_nose_is_left(folder: Path) -> None:
    bulge = '<svg viewBox="0 0 60 20"><path id="outline" d="M0,15 C5,0 15,0 20,0 L60,15 L50,20 L10,20 Z"/></svg>'
    write.put(folder / "kettlemoor-works/low-otter.svg", bulge)
    outline = np.array(read(folder).forms()[0].outline_mm)
    top = outline[np.argmax(outline[:, 1])]
    assert 15 < top[0] < 25 and top[1] > 10


def test_a_sizes_own_outline_and_a_variants(folder: Path) -> None:
    slim = '<svg viewBox="0 0 90 24"><path id="outline" d="M0,12 L20,0 L90,12 L20,24 Z"/></svg>'
    text = FULL.replace("hooks = 3", 'hooks = 3\noutline = "low-otter-2.svg"')
    write.put(folder / "kettlemoor-works/low-otter.toml", text)
    write.put(folder / "kettlemoor-works/low-otter-2.svg", slim)
    found = read(folder)
    assert len(form_of(found, "2").outline_mm) == 4
    assert len(form_of(found, "1").outline_mm) > 20 and len(form_of(found, "3").outline_mm) > 20
    write.put(folder / "kettlemoor-works/low-otter.toml", FULL.replace('"early"', '"early"\noutline = "early.svg"'))
    write.put(folder / "kettlemoor-works/early.svg", slim.replace("90", "60").replace("24", "20"))
    (folder / "kettlemoor-works/low-otter-2.svg").unlink()
    found = read(folder)
    assert len(form_of(found, "2", "early").outline_mm) == 4 and len(form_of(found, "2").outline_mm) > 20


def test_colourways_of_a_size_with_their_defaults(folder: Path) -> None:
    found = read(folder)
    assert [c.code for c in form_of(found, "1").colourways] == ["slate"]
    slate, moss = form_of(found, "2").colourways
    assert (slate.name, slate.basis, slate.pattern, slate.belly_lab) == ("slate", "paint", None, None)
    assert slate.zones[0].lab == (30.0, 40.0, 20.0)
    assert moss.name == "Moss"


def test_only_what_is_required(tmp_path: Path) -> None:
    write.put(tmp_path / "set.toml", 'schema = 1\ntitle = "T"\n')
    write.put(tmp_path / "a/b.toml", 'schema = 1\nmaker = "A"\nmodel = "B"\n[[size]]\nlength_mm = 50\n')
    (form,) = read(tmp_path).forms()
    assert (form.size, form.length_mm) == ("1", 50.0)
    unsaid = (form.depth_mm, form.outline_mm, form.line_ties, form.hangers, form.eye, form.hooks, form.lip, form.parts)
    assert unsaid == (None,) * 8


def test_a_set_without_models_is_a_set(tmp_path: Path) -> None:
    write.put(tmp_path / "set.toml", 'schema = 1\ntitle = "Empty"\n')
    assert read(tmp_path).profiles == () and read(tmp_path).forms() == ()


def test_what_is_no_set(tmp_path: Path, folder: Path) -> None:
    with pytest.raises(SetMissing, match="no folder") as missing:
        read(tmp_path / "nowhere")
    assert missing.value.what_to_do
    with pytest.raises(SetMissing, match="is a file"):
        read(folder / "set.toml")
    with pytest.raises(SetMissing, match=r"no set\.toml"):
        read(folder / "kettlemoor-works")


def test_a_faulty_set_is_refused_with_its_first_faults(folder: Path) -> None:
    write.put(folder / "kettlemoor-works/cairn.toml", "a = 1\nb = 2\nc = 3\n")
    with pytest.raises(SetFaulty, match=r"7 faults: .*cairn\.toml.*and 4 more") as faulty:
        read(folder)
    assert "refs lint" in faulty.value.what_to_do


def test_the_hash_is_over_paths_and_contents(folder: Path) -> None:
    before = read(folder).sha256
    lines = ""
    for name in ("kettlemoor-works/low-otter.svg", "kettlemoor-works/low-otter.toml", "set.toml"):
        lines += f"{name}\0{hashlib.sha256((folder / name).read_bytes()).hexdigest()}\n"
    assert before == hashlib.sha256(lines.encode()).hexdigest()
    write.put(folder / "kettlemoor-works/low-otter.pieces.jsonl", "{}")
    write.put(folder / ".hidden/note.toml", "nothing")
    write.put(folder / "kettlemoor-works/._low-otter.toml", "\0")
    assert read(folder).sha256 == before
    write.put(folder / "kettlemoor-works/low-otter.toml", FULL + "# a remark\n")
    assert read(folder).sha256 != before


def test_windows_line_ends_are_read_alike(folder: Path) -> None:
    before = read(folder).forms()
    path = folder / "kettlemoor-works/low-otter.toml"
    path.write_bytes(FULL.replace("\n", "\r\n").encode())
    assert read(folder).forms() == before


@pytest.mark.parametrize("name", ["set [old]", "lac d'été", "🎣 plugs", "Fjällsjö % 100"])
def test_odd_folder_names(name: str, tmp_path: Path) -> None:
    values = {"maker": "Øre & Söhne", "model": "Älvens «Gädda» 🐟", "size": [{"length_mm": 70.0}]}
    path = write.model_path(values["maker"], values["model"])
    assert path == "ore-and-sohne/alvens-gadda.toml"
    write.put(tmp_path / name / "set.toml", write.set_toml({"title": name}))
    write.put(tmp_path / name / path, write.model_toml(values))
    found = read(tmp_path / name)
    assert (found.title, found.profiles[0].name) == (name, "Øre & Söhne / Älvens «Gädda» 🐟")
    assert lint(tmp_path / name).errors == ()


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    values = {
        "maker": "Brack & Linn",
        "model": "Cairn Deep",
        "notes": 'a "quoted" \\ line\nand another\ttab \x7f',
        "formerly": ["Brack & Linn / Deep"],
        "made": "1946~/1954",
        "lip": None,
        "size": [{"code": "1", "length_mm": 42.0, "depth_mm": 19.0, "hangers": {"count": 1, "at_mm": [[20.0, -9.5]]}}],
        "colourway": [{"code": "31", "name": "Slate", "back_lab": [36.0, -2.0, -9.123456], "zones": []}],
        "dated": [{"part": "hanger", "text": "cup", "made": "../1949"}],
    }
    text = write.model_toml(values)
    assert write.model_toml(values) == text
    parsed = tomllib.loads(text)
    assert parsed["notes"] == values["notes"] and "lip" not in parsed
    assert parsed["colourway"][0]["back_lab"] == [36.0, -2.0, -9.1235]
    assert list(parsed)[:3] == ["schema", "maker", "model"]
    about = {"title": "T", "source": [{"id": "s", "citation": "c"}], "prior": {"Brack & Linn": 2.0}}
    assert tomllib.loads(write.set_toml(about)) == {"schema": 1, **about}


def test_values_that_do_not_fit_are_not_written() -> None:
    with pytest.raises(ValueError, match="length_mm"):
        write.model_toml({"maker": "A", "model": "B", "size": [{}]})


def test_writing_leaves_the_old_file_if_it_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.toml"
    write.put(path, "old")

    def full(self: Path, target: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(CannotWrite, match="No space left"):
        write.put(path, "new")
    assert path.read_text() == "old" and [p.name for p in tmp_path.iterdir()] == ["a.toml"]


def ellipse(n: int = 240) -> Array:
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return np.column_stack([30 - 30 * np.cos(t), 9 * np.sin(t)])


def square() -> Array:
    return resample_closed([[0, 0], [0, 10], [40, 10], [40, 0]], 200)


@pytest.mark.parametrize(("points", "most"), [(ellipse(), 12), (square(), 4)])
def test_a_few_curves_stay_near_the_points(points: Array, most: int) -> None:
    curves = fit_closed(points, 0.02)
    assert len(curves) <= most
    np.testing.assert_allclose(curves[:, 3], np.roll(curves[:, 0], -1, 0), atol=1e-9)
    plane = np.concatenate([curve_at(c @ (1, 1j), np.linspace(0, 1, 60)[:-1]) for c in curves])
    drawn = np.column_stack([plane.real, plane.imag])
    assert distance_to(drawn, points).max() < 0.03


def test_a_written_outline_is_read_back_in_its_frame(folder: Path) -> None:
    body = ellipse()
    write.put(folder / "kettlemoor-works/low-otter.toml", FULL.replace("20.0", "18.0"))
    write.put(folder / "kettlemoor-works/low-otter.svg", write.outline_svg(body, "A <b> & c"))
    outline = np.array(read(folder).forms()[0].outline_mm)
    assert distance_to(outline, body).max() < 0.1


def test_inside_and_distance() -> None:
    box = np.array([[0, 0], [10, 0], [10, 4], [0, 4.0]])
    assert inside(box, (5, 2)) and not inside(box, (11, 2)) and not inside(box, (5, -1))
    np.testing.assert_allclose(distance_to(box, np.array([[5, 2], [13, 8], [5, 4.0]])), [2, 5, 0])


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Low Otter", "low-otter"),
        ("Brack & Linn", "brack-and-linn"),
        ("O'Hara  No. 7 ½", "ohara-no-7-1-2"),
        ("CON", "con-x"),
        ("lpt1", "lpt1-x"),
        ("Straße Łódź", "strasse-lodz"),
        ("Сом", "сом"),
        ("???", "unnamed"),
        ("x" * 100, "x" * 60),
    ],
)
def test_slugs(name: str, expected: str) -> None:
    assert slug(name) == expected
    assert storable(slug(name)) is None


@pytest.mark.parametrize("name", ["con", "NUL.toml", "Com1.svg", "a:b", "what?", "end.", "end ", "LPT9 .txt"])
def test_names_that_cannot_be_stored_everywhere(name: str) -> None:
    assert storable(name)


def test_rows_of_sets(folder: Path) -> None:
    write.put(folder.parent / "broken/set.toml", "schema = 1")
    (folder.parent / "photos").mkdir()
    broken, good = rows.set_rows(folder.parent)
    assert broken.title is None and broken.fault and "title is missing" in broken.fault
    assert (good.title, good.models, good.sizes, good.colourways, good.fault) == ("Lakes", 1, 3, 2, None)
    assert rows.set_rows(folder)[0].path == str(folder)
    with pytest.raises(SetMissing):
        rows.set_rows(folder / "nothing")


def test_rows_of_models(folder: Path) -> None:
    found = read(folder)
    shown = rows.model_rows(found, "kettlemoor works / low otter")
    assert [(r.size, r.variant, r.line_ties) for r in shown[:2]] == [("1", None, 2), ("1", "early", 1)]
    assert shown[0].known_by == "paper" and shown[0].outline
    assert rows.model_rows(found) == rows.model_rows(found, "Kettlemoor Works") == shown
    with pytest.raises(BadOption, match="has no 'Otter'"):
        rows.model_rows(found, "Otter")


def test_the_weakest_link() -> None:
    assert forms.weakest("marked", None, "tool", "paper") == "tool"
    assert forms.weakest(None, None) is None


EXAMPLE = """\
schema = 1
maker = "Kettlemoor Works"
model = "Low Otter"
also_called = ["otter"]        # names people write on boxes and labels
formerly = []                  # "MAKER / MODEL" it stood under before
view = "side"
made = "1936~/1957"            # EDTF (ISO 8601-2): about, before, after
known_by = "paper"             # marked | paper | told | collectors | tool
material = "plastic"           # wood | plastic | metal | rubber | other
parts = 1
hooks = 2                      # hooks fitted when new
lip = "none"                   # none | metal | plastic
tie_kind = "wire"              # screw-eye | wire | plate | cup | other; also hanger_kind
same_mould_as = []             # also cast_from, copied_from: ["MAKER / MODEL"]
notes = ""

[[size]]
code = "2"
length_mm = 63.5
depth_mm = 17.8
thickness_mm = 11.0            # optional
weight_g = 14.0                # optional
tolerance_mm = 0.4             # of length, 1 sigma between true pieces
outline = "low-otter-2.svg"    # optional: this size's own outline
line_ties = { count = 2, at_mm = [[6.0, 8.5], [14.0, 9.9]], known_by = "marked" }
hangers = { count = 2, at_mm = [[26.0, -8.0], [63.5, 0.0]] }
eye = { at_mm = [7.0, 3.0], diameter_mm = 3.6, kind = "painted" }

[[variant]]                    # optional: same model, something differs
code = "early"
made = "../1941"
sizes = ["2"]                  # optional: all sizes if absent
line_ties = { count = 1, at_mm = [[10.0, 9.4]] }

[[colourway]]
code = "slate"
name = "Slate back, straw belly"
back_lab = [38.0, -2.0, -8.0]  # CIELAB D50 2°
belly_lab = [80.0, 0.0, 34.0]
basis = "paint"                # paint: the paint's own colour; photo: lab_seen of photographs
pattern = "plain"              # plain | dots | bars | blend | other
pattern_lab = [82.0, 2.0, 14.0]  # optional
zones = [{ kind = "head", lab = [30.0, 40.0, 20.0] }]   # optional: head | side | tail | throat
finish = "paint"               # optional: paint | leaf | clear
sizes = ["2"]                  # optional: all sizes if absent
known_by = "collectors"        # optional
source = "s1"                  # optional

[[dated]]                      # optional: a part that dates a piece
part = "hanger"
text = "brass cup"
made = "../1949"
source = "s1"
"""


def test_the_formats_own_example(tmp_path: Path) -> None:
    body = np.array([[31.75 - 31.75 * np.cos(t), 8.9 * np.sin(t)] for t in np.linspace(0, 2 * np.pi, 200)[:-1]])
    about = 'schema = 1\ntitle = "T"\n[[source]]\nid = "s1"\ncitation = "Rolls"\n[prior]\n"Kettlemoor Works" = 1\n'
    write.put(tmp_path / "set.toml", about)
    write.put(tmp_path / "kettlemoor-works/low-otter.toml", EXAMPLE)
    write.put(tmp_path / "kettlemoor-works/low-otter-2.svg", write.outline_svg(body, "Low Otter"))
    report = lint(tmp_path)
    assert (report.errors, report.remarks) == ((), ())
    late, early = read(tmp_path).forms()
    assert (late.made, early.made, late.depth_tolerance_mm) == (
        "1936~/1957",
        "../1941",
        pytest.approx(0.4 * 17.8 / 63.5),
    )
    assert (late.line_ties.count, early.line_ties.count, early.hangers.count) == (2, 1, 2)
    assert rows.model_rows(read(tmp_path))[0].known_by == "paper"
