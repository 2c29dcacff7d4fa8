"""Sets given away and taken in: hostile archives, what a photo tells of its place, and two sets that differ."""

from __future__ import annotations

import hashlib
import io
import json
import stat
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from identify.errors import BadArchive, BadOption, ImportDiffers, PhotoUnreadable, SetFaulty
from identify.reference import lint, read, safezip, write
from identify.reference.enrol import PLACES, Editor
from identify.reference.exchange import export
from identify.reference.filed import pieces_of
from identify.reference.importing import import_set
from identify.reference.strip import stripped
from tests.unit.known_baits import learn, photo

FILE = "kettlemoor-works/low-otter.toml"


def shelf(folder: Path, title: str = "Shelf", editor: str = "E. Marl", **about: object) -> Path:
    values = {"title": title, "editor": editor, "licence": "CC0-1.0", **about}
    write.put(folder / "set.toml", write.set_toml(values))
    return folder


@pytest.fixture
def ours(tmp_path: Path) -> Path:
    folder = shelf(tmp_path / "ours")
    learn(Editor(folder), photo("a.jpg"), known_by="paper")
    return folder


@pytest.fixture
def theirs(tmp_path: Path) -> Path:
    folder = shelf(tmp_path / "theirs", "Box", "B. Rook")
    learn(Editor(folder), photo("b.jpg", length=60.6), piece="B-1", colourway="31", name="Slate")
    learn(Editor(folder), photo("c.jpg", length=69.0, depth=18.4), size="2")
    return folder


def files(folder: Path) -> dict[str, bytes]:
    found = {p.relative_to(folder).as_posix(): p for p in folder.rglob("*") if p.is_file()}
    return {name: p.read_bytes() for name, p in found.items() if not name.startswith(".")}


def packed(folder: Path, tmp_path: Path) -> Path:
    export(folder, tmp_path / f"{folder.name}.zip")
    return tmp_path / f"{folder.name}.zip"


def test_there_and_back_gives_the_same_set(theirs: Path, tmp_path: Path) -> None:
    archive = packed(theirs, tmp_path)
    done = import_set(archive, tmp_path / "copy")
    assert files(tmp_path / "copy") == files(theirs)
    assert done.added == ["Kettlemoor Works / Low Otter"] and done.title == "Box"
    with zipfile.ZipFile(archive) as file:
        about = json.loads(file.read("manifest.json"))
        assert not [n for n in file.namelist() if n.startswith(".")]
    assert (about["editor"], about["licence"]) == ("B. Rook", "CC0-1.0") and about["sha256"] == read(theirs).sha256
    first = archive.read_bytes()
    archive.unlink()
    assert packed(theirs, tmp_path).read_bytes() == first
    with pytest.raises(BadOption, match="there already"):
        export(theirs, archive)
    again = import_set(archive, tmp_path / "copy")
    assert again.same and not again.added and files(tmp_path / "copy") == files(theirs)


def test_a_model_that_is_there_is_refused_with_the_differences_or_merged(
    ours: Path, theirs: Path, tmp_path: Path
) -> None:
    archive, before = packed(theirs, tmp_path), files(ours)
    with pytest.raises(ImportDiffers) as why:
        import_set(archive, ours)
    said = str(why.value)
    assert "size 1, measured here (E. Marl, " in said and ") and there (E. Marl, " in said
    assert "length_mm 60 and 60.6;" in said and said.count("size 1") == 1
    assert files(ours) == before
    done = import_set(archive, ours, merging=True)
    assert done.merged == ["Kettlemoor Works / Low Otter"] and not lint(ours).errors
    assert not done.kept and any("length_mm 60 and 60.6;" in text for text in done.anew)
    forms = {f.size: f for f in read(ours).forms()}
    assert 60.0 < forms["1"].length_mm < 60.6 and forms["2"].length_mm == pytest.approx(69.0)
    assert forms["1"].known_by == "paper" and [c.code for c in forms["1"].colourways] == ["31"]
    assert len(pieces_of(ours, FILE).pieces) == 3
    after = files(ours)
    assert import_set(archive, ours, merging=True).same or files(ours) == after


def test_what_is_written_by_hand_here_stays(ours: Path, theirs: Path, tmp_path: Path) -> None:
    path = ours / FILE
    path.write_text(path.read_text("utf-8").replace("length_mm = 60.0", "length_mm = 60.2  # caliper"), "utf-8")
    other = theirs / FILE
    text = other.read_text("utf-8").replace('view = "side"', 'view = "side"\nmaterial = "wood"\nnotes = "theirs"')
    other.write_text(text, "utf-8")
    done = import_set(packed(theirs, tmp_path), ours, merging=True)
    after = path.read_text("utf-8")
    assert "length_mm = 60.2  # caliper" in after and 'material = "wood"' in after and 'notes = "theirs"' in after
    assert any("size 1, length_mm: 60.2 here (E. Marl, by hand)" in text for text in done.kept)
    assert not any("length_mm: 60.2" in text for text in done.anew)


def test_what_was_told_here_counts_before_what_was_told_there(ours: Path, tmp_path: Path) -> None:
    learn(Editor(ours), photo("d.jpg"), made="1936/1957", colourway="31", name="Slate", known_by="paper")
    folder = shelf(tmp_path / "other", "Other")
    learn(Editor(folder), photo("e.jpg"), made="1940~", colourway="31", name="Lead", known_by="tool")
    learn(Editor(folder), photo("f.jpg"), made="1940~", colourway="32", name="Straw")
    done = import_set(packed(folder, tmp_path), ours, merging=True)
    form = read(ours).forms()[0]
    assert (form.made, form.known_by) == ("1936/1957", "paper")
    assert {c.code: c.name for c in form.colourways} == {"31": "Slate", "32": "Straw"}
    assert [text for text in done.kept if "1936/1957 here (E. Marl, " in text] and len(
        pieces_of(ours, FILE).pieces
    ) == 4


def test_pieces_that_contradict_are_refused_even_when_merging(ours: Path, tmp_path: Path) -> None:
    folder = shelf(tmp_path / "odd", "Odd")
    learn(Editor(folder), photo("x.jpg", length=70.0, depth=18.6))
    before = files(ours)
    with pytest.raises(ImportDiffers, match="does not fit"):
        import_set(packed(folder, tmp_path), ours, merging=True)
    assert files(ours) == before


def test_sources_of_the_same_name_are_kept_apart(ours: Path, tmp_path: Path) -> None:
    write.put(ours / "set.toml", write.set_toml({"title": "Shelf", "source": [{"id": "s1", "citation": "our rolls"}]}))
    folder = shelf(tmp_path / "cited", "Cited", source=[{"id": "s1", "citation": "their list"}])
    model = {"maker": "Brack & Linn", "model": "Reed", "size": [{"length_mm": 50.0}], "source": "s1"}
    write.put(folder / "brack-and-linn" / "reed.toml", write.model_toml(model))
    archive = packed(folder, tmp_path)
    with pytest.raises(ImportDiffers, match="'our rolls' here, 'their list' there"):
        import_set(archive, ours)
    import_set(archive, ours, merging=True)
    found = read(ours)
    assert {s.id: s.citation for s in found.sources} == {"s1": "our rolls", "s1-2": "their list"}
    assert next(p.data.source for p in found.profiles if p.data.model == "Reed") == "s1-2"


def test_a_record_that_nobody_could_read_is_not_given_away(ours: Path, tmp_path: Path) -> None:
    record = ours / FILE.replace(".toml", ".pieces.jsonl")
    record.write_text(record.read_text("utf-8") + "garbage\n", "utf-8")
    with pytest.raises(SetFaulty, match="line 3 cannot be read: it is no JSON"):
        packed(ours, tmp_path)
    assert not list(tmp_path.glob("*.zip"))
    (remark,) = [r for r in lint(ours).remarks if r.code == "pieces-unreadable"]
    assert remark.text == "line 3 cannot be read: it is no JSON"


def test_no_other_folder_is_filled(theirs: Path, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("x")
    with pytest.raises(BadOption, match="other things"):
        import_set(packed(theirs, tmp_path), tmp_path / "mine")


# ------------------------------------------------------------------ hostile archives


def forged(tmp_path: Path, change: Callable[[dict[str, bytes]], object], listed: bool = True) -> Path:
    """A good archive with its files changed, and its list made to agree with them."""
    folder = shelf(tmp_path / "forged")
    learn(Editor(folder), photo("a.jpg"))
    content = files(folder)
    change(content)
    hashes = {name: hashlib.sha256(data).hexdigest() for name, data in content.items()} if listed else {}
    content["manifest.json"] = json.dumps({"schema": "baitprint/exchange/1", "files": hashes}).encode()
    with zipfile.ZipFile(tmp_path / "forged.zip", "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in content.items():
            file.writestr(name, data)
    return tmp_path / "forged.zip"


@pytest.mark.parametrize(
    "name",
    [
        "../evil.toml",
        "/etc/evil.toml",
        "a/../../evil.toml",
        "C:/evil.toml",
        "a\\..\\evil.toml",
        "a/b/c.toml",
        "a//b.toml",
        "./a.toml",
        ".hidden/a.toml",
        "a/.hidden.toml",
        "a/run.exe",
        "a/nul.toml",
        "a/b?.toml",
        "a/b.toml.",
        "readme.txt",
        f"a/{'x' * 300}.toml",
        "KETTLEMOOR-WORKS/low-otter.toml",
        "photos/a.exe",
    ],
)
def test_nothing_outside_the_set_and_nothing_strange(name: str, tmp_path: Path) -> None:
    archive = forged(tmp_path, lambda content: content.update({name: b"schema = 1\n"}))
    with pytest.raises(BadArchive):
        import_set(archive, tmp_path / "in")
    assert not (tmp_path / "in").exists()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["forged", "forged.zip"]


def test_bombs_are_not_unpacked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    bomb = b"#" * 1_900_000
    with pytest.raises(BadArchive, match="too large"):
        import_set(forged(tmp_path, lambda c: c.update({"a/b.toml": bomb})), tmp_path / "in")
    monkeypatch.setattr(safezip, "MOST_FILES", 10)
    with pytest.raises(BadArchive, match="files"):
        import_set(forged(tmp_path, lambda c: c.update({f"a/{k}.toml": b"x" for k in range(20)})), tmp_path / "in")
    monkeypatch.setattr(safezip, "MOST_FILES", 1000)
    monkeypatch.setattr(safezip, "LARGEST_WHOLE", 1000)
    with pytest.raises(BadArchive, match="space"):
        import_set(forged(tmp_path, lambda c: None), tmp_path / "in")


def test_a_file_that_lies_about_its_size(tmp_path: Path) -> None:
    archive = forged(tmp_path, lambda c: None)
    data = archive.read_bytes()
    with zipfile.ZipFile(archive) as file:
        info = file.getinfo("set.toml")
    real = info.file_size.to_bytes(4, "little")
    told = (info.file_size - 5).to_bytes(4, "little")
    at = data.rindex(b"set.toml") - 46 + 24  # in the directory at the end
    assert data[at : at + 4] == real
    archive.write_bytes(data[:at] + told + data[at + 4 :])
    with pytest.raises(BadArchive):
        import_set(archive, tmp_path / "in")


@pytest.mark.parametrize("kind", [stat.S_IFLNK, stat.S_IFIFO, stat.S_IFCHR])
def test_links_and_devices_are_no_files(kind: int, tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "x.zip", "w") as file:
        info = zipfile.ZipInfo("a/b.toml")
        info.external_attr = (kind | 0o777) << 16
        file.writestr(info, "/etc/passwd")
    with pytest.raises(BadArchive, match="no plain file"):
        import_set(tmp_path / "x.zip", tmp_path / "in")


@pytest.mark.parametrize(
    ("change", "listed"),
    [
        (lambda c: c.update({"set.toml": b"title = "}), True),
        (lambda c: c.pop("set.toml"), True),
        (lambda c: c.update({FILE: c[FILE] + b"length = 3\n"}), True),
        (lambda c: c.update({FILE.replace(".toml", ".pieces.jsonl"): b"{}\n"}), True),
        (lambda c: None, False),
    ],
)
def test_a_faulty_set_is_not_taken_in(
    change: Callable[[dict[str, bytes]], object], listed: bool, tmp_path: Path
) -> None:
    with pytest.raises(BadArchive):
        import_set(forged(tmp_path, change, listed), tmp_path / "in")
    assert not (tmp_path / "in").exists()


def test_what_was_damaged_or_is_no_archive(theirs: Path, tmp_path: Path) -> None:
    archive = packed(theirs, tmp_path)
    data = bytearray(archive.read_bytes())
    data[200] ^= 0xFF
    (tmp_path / "damaged.zip").write_bytes(data)
    (tmp_path / "no.zip").write_bytes(b"PK, but not really")
    (tmp_path / "cut.zip").write_bytes(archive.read_bytes()[:-40])
    for name in ("damaged.zip", "no.zip", "cut.zip"):
        with pytest.raises(BadArchive):
            import_set(tmp_path / name, tmp_path / "in")
    with pytest.raises(BadOption, match="is not there"):
        import_set(tmp_path / "none.zip", tmp_path / "in")
    with pytest.raises(BadOption, match="is a folder"):
        import_set(tmp_path, tmp_path / "in")
    twice = tmp_path / "twice.zip"
    with zipfile.ZipFile(twice, "w") as file, pytest.warns(UserWarning, match="Duplicate"):
        file.writestr("set.toml", "x")
        file.writestr("set.toml", "y")
    with pytest.raises(BadArchive, match="twice"):
        import_set(twice, tmp_path / "in")


# ------------------------------------------------------------------ photos without their places


def picture() -> Image.Image:
    rng = np.random.default_rng(0)
    return Image.fromarray(rng.integers(0, 255, (24, 40, 3), np.uint8))


def place_exif(deep: bool = True) -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x013B] = "B. Rook"
    if not deep:
        return exif
    exif[0x8825] = {1: "N", 2: (52.0, 30.0, 0.0), 3: "E", 4: (13.0, 20.0, 0.0)}
    exif[0x8769] = {0x9003: "2026:11:20 10:11:12", 0x920A: 4.2, 0xA405: 26, 0x927C: b"maker's secrets", 0xA431: "S123"}
    return exif


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_a_photo_loses_its_place_and_keeps_its_picture(kind: str) -> None:
    out = io.BytesIO()
    more = {"comment": b"at the mill"} if kind == "JPEG" else {"lossless": True} if kind == "WEBP" else {}
    picture().save(out, kind, exif=place_exif(kind != "TIFF"), **more)
    data = out.getvalue()
    if kind == "JPEG":
        data += b"trailing: a film with a place"
    bare, suffix = stripped(data)
    assert suffix == {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp", "TIFF": ".png"}[kind]
    for secret in (b"Rook", b"mill", b"S123", b"secrets", b"10:11", b"trailing"):
        assert secret not in bare
    with Image.open(io.BytesIO(data)) as before, Image.open(io.BytesIO(bare)) as after:
        assert not after.getexif().get_ifd(0x8825)
        if kind != "TIFF":
            assert after.tobytes() == before.tobytes() and after.getexif()[0x0112] == 6
            kept = after.getexif().get_ifd(0x8769)
            assert kept[0xA405] == 26 and str(kept[0x9003]).startswith("2026:11:20")
        else:
            assert after.size == (24, 40)


def test_photos_of_a_progressive_kind_and_heic(tmp_path: Path) -> None:
    out = io.BytesIO()
    picture().save(out, "JPEG", progressive=True, exif=place_exif())
    bare, _ = stripped(out.getvalue())
    with Image.open(io.BytesIO(out.getvalue())) as before, Image.open(io.BytesIO(bare)) as after:
        assert after.tobytes() == before.tobytes()
    heic = io.BytesIO()
    pillow_heif.from_pillow(picture().resize((64, 64))).save(heic, quality=90)
    assert stripped(heic.getvalue())[1] == ".png"
    for broken in (b"", b"\xff\xd8\xff", out.getvalue()[:60], b"no picture"):
        with pytest.raises(PhotoUnreadable):
            stripped(broken)


def test_photos_go_along_when_asked(tmp_path: Path) -> None:
    folder = shelf(tmp_path / "shelf")
    record = photo("a.jpg")
    learn(Editor(folder), record)
    out = io.BytesIO()
    picture().save(out, "JPEG", exif=place_exif())
    (tmp_path / "a.jpg").write_bytes(out.getvalue())
    sha = hashlib.sha256(out.getvalue()).hexdigest()
    pieces = folder / FILE.replace(".toml", ".pieces.jsonl")
    pieces.write_text(pieces.read_text("utf-8").replace(record.sha256 or "", sha), "utf-8")
    done = export(folder, tmp_path / "none.zip", with_photos=True)
    assert done.photos == 0 and "not where it was" in done.left_out[0]
    (folder / PLACES).write_text(json.dumps({sha: str(tmp_path / "a.jpg")}), "utf-8")
    assert export(folder, tmp_path / "with.zip", with_photos=True).photos == 1
    assert import_set(tmp_path / "with.zip", tmp_path / "in").photos == 1
    (taken,) = (tmp_path / "in" / "photos").iterdir()
    assert taken.name == f"{sha[:16]}.jpg" and b"Rook" not in taken.read_bytes()
    assert export(tmp_path / "in", tmp_path / "again.zip", with_photos=True).photos == 1
    (tmp_path / "a.jpg").write_bytes(b"another")
    assert "changed since" in export(folder, tmp_path / "changed.zip", with_photos=True).left_out[0]
