"""Profiles learned from photos: what one photo gives, what more of them add, what is refused, what stays."""

from __future__ import annotations

import datetime
import math
import os
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from identify.errors import BadOption, Contradicts, NotLearned
from identify.rank import rank
from identify.records import PhotoRecord
from identify.reference import Form, lint, read, write
from identify.reference.average import Centre, centre, robust_sides
from identify.reference.enrol import Editor, Wish
from identify.reference.filed import pieces_of
from identify.reference.frame import sides
from identify.reference.learn import SizeFound, depth_tolerance
from identify.reference.pieces import Facts
from identify.reference.relearn import relearned
from identify.reference.shapes import apart
from tests.unit.known_baits import body, learn, photo

FILE = "kettlemoor-works/low-otter.toml"
TODAY = datetime.date(2026, 11, 25)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "shelf"
    write.put(place / "set.toml", write.set_toml({"title": "Shelf"}))
    return place


@pytest.fixture
def editor(folder: Path) -> Editor:
    return Editor(folder, TODAY)


def form(folder: Path, size: str = "1", variant: str | None = None) -> Form:
    report = lint(folder)
    assert not report.errors and not report.remarks, (report.errors, report.remarks)
    (found,) = [f for f in read(folder).forms() if (f.size, f.variant) == (size, variant)]
    return found


def snapshot(folder: Path) -> dict[str, bytes]:
    found = {p.relative_to(folder).as_posix(): p for p in folder.rglob("*") if p.is_file()}
    return {name: p.read_bytes() for name, p in found.items() if not name.startswith(".")}


def test_one_photo_makes_a_profile_that_says_how_unsure_it_is(folder: Path, editor: Editor) -> None:
    done = learn(editor, photo("a.jpg"), colourway="31", name="Slate", made="1936~/1957", known_by="paper")
    assert done.changed and not done.kept
    found = form(folder)
    assert found.length_mm == pytest.approx(60.0, abs=0.01) and found.depth_mm == pytest.approx(16.0, abs=0.1)
    assert found.line_ties and found.line_ties.count == 2 and found.line_ties.at_mm
    assert [x for x, _ in found.line_ties.at_mm] == pytest.approx([12.0, 21.0], abs=0.05)
    assert found.hangers and found.hangers.count == found.hooks == 2
    assert found.eye and found.eye.at_mm == pytest.approx((7.2, 1.2), abs=0.05)
    assert found.lip is None and found.made == "1936~/1957" and found.known_by == "paper"
    assert found.outline_mm and apart(sides(found.outline_mm), sides(body())) < 0.01
    assert found.tolerance_mm is not None and np.hypot(0.3, 0.006 * 60) * 0.8 < found.tolerance_mm < 0.6
    (colourway,) = found.colourways
    assert (colourway.code, colourway.name, colourway.basis) == ("31", "Slate", "photo")
    assert colourway.back_lab == pytest.approx((40.0, -2.0, -8.0))


def test_further_pieces_sharpen_and_their_scatter_is_kept_apart_from_noise(folder: Path, editor: Editor) -> None:
    rng = np.random.default_rng(1)
    tolerances = []
    for k in range(6):
        value = 60 * float(np.exp(0.004 * rng.standard_normal() + 0.008 * rng.standard_normal()))
        learn(editor, photo(f"{k}.jpg", length=value, depth=value * 16 / 60, u=0.48), piece=f"A-{k}")
        tolerances.append(form(folder).tolerance_mm or 0)
    assert form(folder).lip == "none"  # one photo alone may miss a lip
    assert tolerances[-1] < 0.75 * tolerances[0]
    x = 0.004 * rng.standard_normal(300) + 0.012 * rng.standard_normal(300)
    found = centre(list(x), [0.012] * 300, 0.0, usual=0.006)
    assert found.between == pytest.approx(0.004, abs=0.0015)
    assert abs(found.value) < 3 * found.u < 0.003
    wide = centre(list(0.02 * rng.standard_normal(40)), [0.002] * 40, 0.0, usual=0.006)
    assert wide.between == pytest.approx(0.02, rel=0.35)


def test_photos_of_one_piece_are_no_pieces(folder: Path, editor: Editor) -> None:
    for k in range(3):
        learn(editor, photo(f"{k}.jpg", length=60 + 0.2 * k), piece="A-1")
    record = pieces_of(folder, FILE)
    assert [len(p.photos) for p in record.pieces] == [3]
    assert record.pieces[0].photos[0].contributor == "E. Marl" and record.pieces[0].photos[0].added == "2026-11-25"


def test_a_piece_damaged_on_one_side_does_not_dent_the_outline(folder: Path, editor: Editor) -> None:
    for k, notch in enumerate((0.0, 0.25, 0.0, 0.0)):
        learn(editor, photo(f"{k}.jpg", notch=notch), piece=f"A-{k}")
    outline = form(folder).outline_mm
    assert outline is not None
    assert apart(sides(outline), sides(body())) < 0.012
    assert apart(sides(body(notch=0.25)), sides(body())) > 0.02
    shifted = [sides(body()) + shift for shift in (-0.02, 0.0, 0.02)]
    assert np.abs(robust_sides(shifted, 0.012) - sides(body())).max() < 0.004


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"ties": (0.2,)}, "1 line tie"),
        ({"length": 69.0, "depth": 18.4}, "+15 %"),
        ({"power": 3.0}, "its outline lies"),
        ({"depth": 20.5}, "its depth is"),
    ],
)
def test_a_photo_that_contradicts_is_refused_with_the_differences_and_a_way_out(
    folder: Path, editor: Editor, other: dict[str, float], said: str
) -> None:
    learn(editor, photo("a.jpg"))
    before = snapshot(folder)
    with pytest.raises(Contradicts) as why:
        learn(editor, photo("b.jpg", **other))  # type: ignore[arg-type]
    assert said in str(why.value) and "--size" in why.value.what_to_do and "--variant" in why.value.what_to_do
    assert snapshot(folder) == before


def test_a_variant_may_differ_and_a_new_size_may_be_longer(folder: Path, editor: Editor) -> None:
    learn(editor, photo("a.jpg"))
    learn(editor, photo("b.jpg", ties=(0.2,)), variant="early", made="../1941")
    learn(editor, photo("c.jpg", length=69.0, depth=18.4), size="2")
    assert form(folder).line_ties.count == 2  # type: ignore[union-attr]
    early = form(folder, variant="early")
    assert early.line_ties and early.line_ties.count == 1 and early.made == "../1941"
    assert form(folder, "2").length_mm == pytest.approx(69.0, abs=0.02)
    outlines = sorted(p.name for p in (folder / FILE).parent.glob("*.svg"))
    assert outlines == ["low-otter.svg"]


def test_a_size_of_another_shape_gets_its_own_outline(folder: Path, editor: Editor) -> None:
    learn(editor, photo("a.jpg"))
    learn(editor, photo("b.jpg", length=80.0, depth=21.0, power=2.6, ties=(0.2, 0.3, 0.4)), size="2")
    two, three = form(folder), form(folder, "2")
    assert two.outline_mm and three.outline_mm
    assert apart(sides(two.outline_mm), sides(three.outline_mm)) > 0.05
    assert (two.line_ties.count, three.line_ties.count) == (2, 3)  # type: ignore[union-attr]
    forms = read(folder).forms()
    small, large = photo("c.jpg"), photo("d.jpg", length=80.0, depth=21.0, power=2.6, ties=(0.2, 0.3, 0.4))
    for record, size in ((small, "1"), (large, "2")):
        assert rank(record.baits[0].measurement, forms).candidates[0].size == size


def test_a_smaller_size_comes_first_and_the_outline_is_drawn_for_it(folder: Path, editor: Editor) -> None:
    learn(editor, photo("a.jpg"), size="2")
    learn(editor, photo("b.jpg", length=45.0, depth=12.0), size="1")
    assert [s.code for s in read(folder).profiles[0].data.size] == ["1", "2"]
    assert form(folder, "1").length_mm == pytest.approx(45.0)


def test_what_a_person_wrote_stays_with_comments_and_order(folder: Path, editor: Editor) -> None:
    learn(editor, photo("a.jpg"), known_by="paper")
    path = folder / FILE
    text = path.read_text("utf-8")
    edited = text.replace('known_by = "paper"', 'known_by = "marked"')
    edited = edited.replace("length_mm = 60.0", "length_mm = 60.4  # by caliper\nweight_g = 14.0")
    edited = edited.replace('model = "Low Otter"', 'notes = "from the mill"\nmodel = "Low Otter"  # so the box says')
    edited = "\n".join(line for line in edited.splitlines() if not line.startswith("eye")) + "\n"
    path.write_text(edited, "utf-8")
    done = learn(Editor(folder, TODAY), photo("b.jpg", length=60.2), piece="B", ties=2)
    after = path.read_text("utf-8")
    for line in ("length_mm = 60.4  # by caliper", "weight_g = 14.0", 'known_by = "marked"', "# so the box says"):
        assert line in after
    assert after.index("notes") < after.index("model =") and "eye" not in after
    assert ("size", "1", "length_mm") in {k.path for k in done.kept}
    assert form(folder).length_mm == 60.4
    changed = {line.split(" = ")[0] for line in set(after.splitlines()) ^ set(edited.splitlines())}
    assert changed <= {
        "tolerance_mm",
        "depth_mm",
        "depth_tolerance_mm",
        "outline_tolerance_mm",
        "line_ties",
        "hangers",
        "lip",
    }


def test_what_is_kept_in_mind_between_photos_never_shows(tmp_path: Path) -> None:
    """One editor for all photos makes what a new one for each does, two models of a maker in turn, with the files
    edited by hand and taken away in between."""

    def text(folder: Path) -> None:
        path = folder / FILE
        path.write_text(path.read_text("utf-8").replace("length_mm = 60.0", "length_mm = 60.4  # by caliper"), "utf-8")

    def drawing(folder: Path) -> None:
        write.put((folder / FILE).with_suffix(".svg"), write.outline_svg(body(60.0, 17.0), "By hand", curved=False))

    def sibling(folder: Path) -> None:
        (folder / "kettlemoor-works/long-lamp.svg").unlink()

    def record(folder: Path) -> None:
        (folder / FILE.replace(".toml", ".pieces.jsonl")).unlink()

    made = []
    for fresh in (False, True):
        folder = tmp_path / str(fresh)
        write.put(folder / "set.toml", write.set_toml({"title": "Shelf"}))
        editor = Editor(folder, TODAY)
        steps = [None, text, None, drawing, None, sibling, None, record]
        for k, step in enumerate(steps):
            for model, size in (("Low Otter", "1"), ("Long Lamp", str(1 + k % 2))):
                length = 60.0 + 0.1 * k + 10 * (size == "2")
                editor = Editor(folder, TODAY) if fresh else editor
                learn(editor, photo(f"{model}-{k}.jpg", length, 0.27 * length), model=model, size=size, piece=f"P{k}")
            if step is not None:
                step(folder)
        made.append(snapshot(folder))
    assert made[0] == made[1] and "60.4" in made[0][FILE].decode() and b"By hand" in made[0][FILE[:-4] + "svg"]


def test_a_photo_is_held_against_what_a_person_wrote_a_moment_ago(folder: Path, editor: Editor) -> None:
    learn(editor, photo("a.jpg"))
    path = folder / FILE
    text, svg = path.read_text("utf-8"), path.with_suffix(".svg").read_text("utf-8")
    path.write_text(re.sub(r"line_ties = .*", "line_ties = { count = 3 }", text), "utf-8")
    with pytest.raises(Contradicts, match="the profile has 3"):
        learn(editor, photo("b.jpg"))
    path.write_text(text, "utf-8")
    write.put(path.with_suffix(".svg"), write.outline_svg(body(power=3.0), "Another"))
    with pytest.raises(Contradicts, match="its outline lies"):
        learn(editor, photo("b.jpg"))
    write.put(path.with_suffix(".svg"), svg)
    assert learn(editor, photo("b.jpg")).changed


def test_photos_that_are_in_already_cost_nothing_but_a_look(
    folder: Path, editor: Editor, monkeypatch: pytest.MonkeyPatch
) -> None:
    photos = [photo(f"{k}.jpg", length=60 + 0.2 * k) for k in range(4)]
    for k, one in enumerate(photos):
        learn(editor, one, piece=f"P{k}")
    times = []

    def counted(*arguments: Any) -> Any:
        times.append(1)
        return relearned(*arguments)

    monkeypatch.setattr("identify.reference.enrol.relearned", counted)
    again = Editor(folder, TODAY)
    before = snapshot(folder)

    def known(**facts: Any) -> list[bool]:
        wishes = [
            Wish(Path(p.photo), "Kettlemoor Works", "Low Otter", Facts(**{"size": "1", **facts}), f"P{k}")
            for k, p in enumerate(photos)
        ]
        return [again.add(wish, None, p.sha256 or "").changed for wish, p in zip(wishes, photos, strict=True)]

    assert known() == [False] * 4 and len(times) == 1 and snapshot(folder) == before
    assert known(colourway="31") == [True] * 4 and len(times) == 5  # what is told now counts
    path = folder / FILE
    path.write_text(path.read_text("utf-8").replace("length_mm = ", "length_mm = 60.4  # "), "utf-8")
    assert known(colourway="31")[0] and len(times) > 5  # the outline follows the length


def test_a_hand_written_profile_is_only_added_to(folder: Path) -> None:
    text = (
        'schema = 1\nmaker = "Kettlemoor Works"\nmodel = "Low Otter"  # ours\n\n'
        '[[size]]\ncode = "2"\nlength_mm = 80.0\n\n[[size]]\ncode = "1"\nlength_mm = 60.0\ndepth_mm = 16.2\n'
    )
    write.put(folder / FILE, text)
    done = learn(Editor(folder, TODAY), photo("a.jpg"))
    after = (folder / FILE).read_text("utf-8")
    assert [line for line in text.splitlines() if line not in after] == []
    assert ("size", "1", "depth_mm") in {k.path for k in done.kept}
    (found,) = [f for f in read(folder).forms() if f.size == "1"]
    assert found.line_ties and found.line_ties.count == 2 and found.outline_mm
    Editor(folder, TODAY).without("a.jpg")
    assert (folder / FILE).read_text("utf-8").split() == text.split()
    assert sorted(p.name for p in (folder / FILE).parent.iterdir()) == ["low-otter.toml"]


def test_a_drawing_by_hand_stays(folder: Path, editor: Editor) -> None:
    learn(editor, photo("a.jpg"))
    drawing = folder / FILE.replace(".toml", ".svg")
    own = drawing.read_bytes().replace(b"<title>", b"<title>by hand: ")
    drawing.write_bytes(own)
    learn(Editor(folder, TODAY), photo("b.jpg", power=1.25))
    assert drawing.read_bytes() == own


def test_taking_a_photo_out_leaves_the_set_as_it_was(folder: Path, editor: Editor) -> None:
    empty = snapshot(folder)
    learn(editor, photo("a.jpg"))
    first = snapshot(folder)
    learn(editor, photo("b.jpg", length=60.5), colourway="31")
    learn(editor, photo("c.jpg", length=45.0, depth=12.0), size="0")
    editor.without("c.jpg")
    editor.without("b.jpg")
    assert snapshot(folder) == first
    editor.without(photo("a.jpg").sha256 or "")
    assert snapshot(folder) == empty
    with pytest.raises(BadOption):
        editor.without("a.jpg")


def test_a_photo_goes_in_once(folder: Path, editor: Editor) -> None:
    one = photo("a.jpg")
    learn(editor, one)
    wish = Wish(Path("a.jpg"), "Kettlemoor Works", "Low Otter", Facts(size="1"))
    assert one.sha256 and editor.knows(wish, one.sha256)
    before = snapshot(folder)
    assert not editor.add(wish, None, one.sha256).changed and snapshot(folder) == before
    with pytest.raises(NotLearned, match="in the set already"):
        editor.knows(Wish(Path("a.jpg"), "Kettlemoor Works", "Low Otter", Facts(size="2")), one.sha256)
    later = Wish(Path("a.jpg"), "Kettlemoor Works", "Low Otter", Facts(size="1", colourway="31"))
    assert editor.add(later, None, one.sha256).changed and form(folder).colourways[0].code == "31"


def test_what_only_the_program_named_counts_for_nothing_beside_others(folder: Path, editor: Editor) -> None:
    learn(editor, photo("t.jpg", length=61.5, depth=16.4), known_by="tool")
    assert form(folder).known_by == "tool" and form(folder).length_mm == pytest.approx(61.5)
    learn(editor, photo("a.jpg"), known_by="paper")
    assert form(folder).known_by == "paper" and form(folder).length_mm == pytest.approx(60.0)


def test_years_and_names_that_are_known_best_count_and_others_are_said(folder: Path, editor: Editor) -> None:
    learn(editor, photo("a.jpg"), made="1936~/1957", known_by="paper", colourway="31", name="Slate")
    done = learn(editor, photo("b.jpg"), piece="B", made="1999", known_by="tool", colourway="31", name="Grey")
    assert form(folder).made == "1936~/1957" and form(folder).colourways[0].name == "Slate"
    assert done.learned
    assert [d for d in done.learned.doubts if "1999 (b.jpg)" in d.text and "1936~/1957 counts" in d.text]
    learn(editor, photo("c.jpg"), piece="C", made="1938/1957", known_by="paper")
    assert form(folder).made == "1938/1957"  # as well known, and told later


def test_told_ties_fewer_than_are_seen_have_no_place_until_it_is_clear_which_they_are(
    folder: Path, editor: Editor
) -> None:
    done = learn(editor, photo("a.jpg", ties=(0.1, 0.2, 0.35)), ties=2)
    here = form(folder).line_ties
    assert here and (here.count, here.at_mm) == (2, None)
    assert done.learned and [d for d in done.learned.doubts if "which of them are ties is open" in d.text]
    learn(editor, photo("b.jpg", ties=(0.2, 0.35)), piece="B", ties=2)
    done = learn(editor, photo("c.jpg", ties=(0.2, 0.35)), piece="C", ties=2)
    here = form(folder).line_ties
    assert here and here.at_mm
    assert [x for x, _ in here.at_mm] == pytest.approx([12.0, 21.0], abs=0.05)
    assert done.learned and not [d for d in done.learned.doubts if "which of them" in d.text]


def test_a_photo_read_the_wrong_way_round_is_turned(folder: Path, editor: Editor) -> None:
    learn(editor, photo("a.jpg"))
    before = form(folder)
    done = learn(editor, photo("b.jpg", way=3, orientation=(0.6, 0.7)), piece="B")
    assert done.turned == "turned round"
    after = form(folder)
    assert after.line_ties and before.line_ties
    assert after.line_ties.at_mm == before.line_ties.at_mm
    # two pieces that agree are in less doubt than one
    assert 0 < (after.line_ties.tolerance_mm or 0) < 0.75 * (before.line_ties.tolerance_mm or 0)
    assert 0 < (after.outline_tolerance_mm or 0) < 0.75 * (before.outline_tolerance_mm or 0)


def test_the_first_photo_must_show_which_way_round_it_lies(folder: Path, editor: Editor) -> None:
    with pytest.raises(NotLearned, match="which end is the nose"):
        learn(editor, photo("a.jpg", orientation=(0.6, 0.99)))


def test_an_unclear_outline_must_at_least_resemble_the_other_sizes(folder: Path, editor: Editor) -> None:
    learn(editor, photo("a.jpg"))
    with pytest.raises(NotLearned, match="outline is unclear"):
        learn(editor, photo("b.jpg", length=80.0, depth=21.0, power=3.0, warnings=("outline-unclear",)), size="2")
    learn(editor, photo("c.jpg", length=80.0, depth=21.0, warnings=("outline-unclear",)), size="2")


def test_without_a_card_shape_and_ties_are_learned_and_a_told_length_is_enough(folder: Path, editor: Editor) -> None:
    with pytest.raises(NotLearned, match="no card"):
        learn(editor, photo("a.jpg", scaled=False))
    learn(editor, photo("a.jpg", scaled=False), length_mm=63.5, depth_mm=17.0)
    found = form(folder)
    assert found.length_mm == pytest.approx(63.5) and found.depth_mm == pytest.approx(17.0)
    assert found.tolerance_mm and found.tolerance_mm < 0.6
    assert found.line_ties and found.line_ties.at_mm and found.line_ties.at_mm[0][0] == pytest.approx(12.7, abs=0.05)


def test_what_is_told_against_what_is_seen_is_said(folder: Path, editor: Editor) -> None:
    done = learn(editor, photo("a.jpg", ties=(0.2, 0.35)), ties=2, length_mm=60.4)
    assert done.learned is not None and not done.learned.doubts
    done = learn(editor, photo("b.jpg", ties=(0.2,)), size="2", ties=2, length_mm=63.0)
    assert done.learned is not None
    one, other = (doubt.text for doubt in done.learned.doubts)
    assert "size 2, b.jpg: told are 2 line ties, seen 1 (" in one and "told are 63.0 mm, seen 60.0 mm" in other
    small, large = read(folder).forms()
    assert large.length_mm == pytest.approx(63.0) and large.line_ties is not None and large.line_ties.count == 2
    assert small.length_mm == pytest.approx(60.4, abs=0.1)


def test_a_told_length_that_the_photo_surely_contradicts_is_refused(folder: Path, editor: Editor) -> None:
    before = snapshot(folder)
    with pytest.raises(NotLearned, match=r"you say 75\.0 mm, a\.jpg shows 60\.0 ± 0\.3 mm") as why:
        learn(editor, photo("a.jpg"), length_mm=75.0)
    assert "right photo" in why.value.what_to_do and "--no-card" in why.value.what_to_do
    with pytest.raises(NotLearned, match="you say its depth is 40 % of its length"):
        learn(editor, photo("a.jpg"), length_mm=60.0, depth_mm=24.0)
    assert snapshot(folder) == before
    learn(editor, photo("a.jpg", scaled=False), length_mm=75.0)  # as with --no-card
    assert form(folder).length_mm == pytest.approx(75.0)
    learn(editor, photo("b.jpg", u=4.0), length_mm=75.0)  # a photo that is not sure itself contradicts nobody
    learn(editor, photo("c.jpg", warnings=("outline-unclear",)), length_mm=75.0)
    with pytest.raises(NotLearned, match="you say 75"):
        learn(editor, photo("d.jpg"), piece=(photo("a.jpg").sha256 or "")[:12])  # another photo of the first one


def test_what_is_told_anew_of_a_photo_is_held_against_it_and_the_others(folder: Path, editor: Editor) -> None:
    photos = [photo("a.jpg"), photo("b.jpg", length=60.3), photo("n.jpg", scaled=False)]
    for one in photos:
        learn(editor, one)

    def tell(one: PhotoRecord, **facts: Any) -> bool:
        wish = Wish(Path(one.photo), "Kettlemoor Works", "Low Otter", Facts(size="1", **facts))
        return editor.add(wish, None, one.sha256 or "").changed

    before = snapshot(folder)
    with pytest.raises(Contradicts, match="you say 7 line ties, the profile 2") as why:
        tell(photos[0], ties=7)
    assert "b.jpg" in why.value.what_to_do and "--without" in why.value.what_to_do
    assert "rests on a.jpg" not in why.value.what_to_do
    with pytest.raises(NotLearned, match=r"you say 70\.0 mm, a\.jpg shows 60\.0") as seen:
        tell(photos[0], length_mm=70.0)
    assert "--without" in seen.value.what_to_do
    with pytest.raises(Contradicts, match=r"it is 70\.0 ± 0\.2 mm long, the profile 60\."):
        tell(photos[2], length_mm=70.0)
    assert snapshot(folder) == before
    assert tell(photos[0], ties=2, length_mm=60.2, made="1950") and form(folder).made == "1950"
    assert tell(photos[2], length_mm=60.2)
    for k in range(6):
        learn(editor, photo(f"{k}.jpg"))
    with pytest.raises(Contradicts) as many:
        tell(photos[0], ties=7)
    assert "b.jpg, n.jpg, 0.jpg, 1.jpg and 4 more: what is wrong" in many.value.what_to_do


def test_a_slip_in_what_was_told_can_be_mended(folder: Path, editor: Editor) -> None:
    one, two = photo("a.jpg", ties=(0.2,)), photo("b.jpg", ties=(0.2,))

    def tell(of: PhotoRecord, ties: int) -> bool:
        wish = Wish(Path(of.photo), "Kettlemoor Works", "Low Otter", Facts(size="1", ties=ties))
        return editor.add(wish, None, of.sha256 or "").changed

    learn(editor, one, ties=3)
    assert tell(one, 2) and form(folder).line_ties.count == 2  # type: ignore[union-attr]
    assert tell(one, 3)
    learn(editor, two, ties=3)
    with pytest.raises(Contradicts, match="you say 2 line ties, the profile 3"):
        tell(one, 2)  # neither what it shows nor what the other says
    assert tell(one, 1) and tell(two, 1)  # the same slip in both, mended to what they show
    assert form(folder).line_ties.count == 1  # type: ignore[union-attr]
    editor.without("b.jpg")
    assert tell(one, 2)


def test_what_is_told_anew_is_held_against_what_a_person_wrote(folder: Path, editor: Editor) -> None:
    one = photo("a.jpg", ties=(0.2,), sure=0.5)
    learn(editor, one, ties=3)
    path = folder / FILE
    path.write_text(re.sub(r"line_ties = .*", "line_ties = { count = 2 }", path.read_text("utf-8")), "utf-8")

    def tell(ties: int) -> bool:
        wish = Wish(Path(one.photo), "Kettlemoor Works", "Low Otter", Facts(size="1", ties=ties, made="1950"))
        return editor.add(wish, None, one.sha256 or "").changed

    with pytest.raises(Contradicts, match="the profile 2") as why:
        tell(4)
    assert "written by hand" in why.value.what_to_do
    assert tell(2) and "count = 2" in path.read_text("utf-8")


@pytest.mark.skipif(os.name != "posix", reason="forks")
def test_killed_at_any_moment_the_set_is_as_before_or_as_after(folder: Path, editor: Editor) -> None:
    learn(editor, photo("a.jpg"))
    before = snapshot(folder)
    learn(editor, photo("b.jpg", length=60.6))
    after = snapshot(folder)
    seen = []
    for step in range(0, 60, 2):
        editor.without("b.jpg")
        assert snapshot(folder) == before
        child = os.fork()
        if child == 0:
            _die_at(step)
            learn(editor, photo("b.jpg", length=60.6))
            os._exit(0)
        _, status = os.waitpid(child, 0)
        found = form(folder)  # whoever opens the set next finishes or drops
        assert snapshot(folder) in (before, after), step
        seen.append(snapshot(folder) == after)
        assert found is not None
        if status == 0:
            break
        editor = Editor(folder, TODAY)
        if not seen[-1]:
            learn(editor, photo("b.jpg", length=60.6))
    else:
        pytest.fail("the writer never came to its end")
    assert seen[0] is False and seen[-1] is True and step > 10


def _die_at(step: int) -> None:
    """End the process without any farewell before its nth change of a file."""
    left = [step]

    def dying(real: object) -> object:
        def change(*arguments: object, **more: object) -> object:
            if left[0] == 0:
                os._exit(9)
            left[0] -= 1
            return real(*arguments, **more)  # type: ignore[operator]

        return change

    for name in ("mkdir", "replace", "rename", "unlink", "rmdir", "fsync"):
        setattr(os, name, dying(getattr(os, name)))


def test_what_is_learned_of_depth_is_what_ranking_adds_to_that_of_length() -> None:
    """Ranking takes proportion to vary by the tolerances of length and of depth; together they are what was learned."""

    def found(of_length: float | None, of_aspect: float) -> SizeFound:
        length = None if of_length is None else Centre(3.7, 0.0, of_length, 1)
        return SizeFound(length, Centre(-0.8, 0.0, of_aspect, 1), 1, 1, 1)

    for of_length, of_aspect in ((0.006, 0.010), (0.010, 0.016), (0.004, 0.009)):
        assert math.hypot(depth_tolerance(found(of_length, of_aspect)), of_length) == pytest.approx(of_aspect)
    assert depth_tolerance(found(0.02, 0.01)) == pytest.approx(0.005)  # never next to nothing
    assert depth_tolerance(found(None, 0.01)) == pytest.approx(0.01)
