"""A set's folder as far as it can be read, with every fault on the way: what `read` and `lint` share."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from identify.errors import SetMissing
from identify.reference import checks
from identify.reference.bulk import all_kept
from identify.reference.faults import Fault
from identify.reference.hashing import digest, files_of
from identify.reference.journal import settle
from identify.reference.parse import Notes, decode, parse_toml, validate
from identify.reference.schema import ModelFile, SetFile
from identify.reference.sets import Drawing, Profile
from identify.reference.svgfile import Outline, SvgFault, read_outline
from identify.stages import as_polygon

LARGEST = 2_000_000
"""Bytes of the largest file that is read."""


@dataclass
class Loaded:
    """What a folder holds.  `texts` are the TOML files' texts by relative path, `files` all .toml and .svg files."""

    folder: Path
    files: tuple[str, ...]
    sha256: str
    set_file: SetFile | None = None
    profiles: list[Profile] = field(default_factory=list)
    outlines: dict[str, Outline] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)
    with_bom: list[str] = field(default_factory=list)
    errors: list[Fault] = field(default_factory=list)

    @cached_property
    def present(self) -> frozenset[str]:
        return frozenset(self.files)


def load(folder: Path, progress: Callable[[int, int], None] | None = None) -> Loaded:
    """Read and check all of a set; what an interrupted writer left is settled first.  `progress` is told how many of
    how many files are done.  Raises SetMissing if there is no such folder."""
    if not folder.is_dir():
        what = f"{folder} is a file" if folder.exists() else f"There is no folder {folder}"
        raise SetMissing(f"{what}.", "Name the folder of a reference set: the one that holds set.toml.")
    settle(folder)
    files = files_of(folder)
    contents: dict[str, bytes] = {}
    errors: list[Fault] = []
    for name in files:
        if (data := _bytes_of(folder / name, name, errors)) is not None:
            contents[name] = data
    hashes = {name: hashlib.sha256(data).hexdigest() for name, data in contents.items()}
    loaded = Loaded(folder, files, digest(hashes), errors=errors)
    _load_set_file(loaded, contents)
    with all_kept():
        for done, name in enumerate(files):
            if progress is not None:
                progress(done, len(files))
            if not name.lower().endswith(".toml") or name == "set.toml" or name not in contents:
                continue
            if name.count("/") != 1:
                fix = "Move it to <maker>/<model>.toml, or out of the set."
                text = "the file lies where no model file is looked for"
                errors.append(Fault(name, None, None, "file-misplaced", text, fix))
                continue
            _load_model(loaded, name, contents)
    errors += checks.of_set(loaded.profiles, loaded.texts)
    return loaded


def load_model(file: str, contents: dict[str, bytes]) -> Loaded:
    """One model file of a set with the outlines it names, from bytes by relative path."""
    loaded = Loaded(Path(), tuple(sorted(contents)), "")
    _load_model(loaded, file, contents)
    return loaded


def _bytes_of(path: Path, name: str, errors: list[Fault]) -> bytes | None:
    try:
        if (size := path.stat().st_size) > LARGEST:
            text = f"the file has {size / 1e6:.1f} MB"
            errors.append(Fault(name, None, None, "file-too-large", text, "Is it the right file? Simplify it."))
            return None
        return path.read_bytes()
    except OSError as why:
        text = f"the file cannot be opened: {why.strerror or why}"
        errors.append(Fault(name, None, None, "file-unreadable", text, "Check that it may be read."))
        return None


def _load_set_file(loaded: Loaded, contents: dict[str, bytes]) -> None:
    notes = Notes("set.toml")
    if "set.toml" not in contents:
        if "set.toml" not in loaded.files:
            fix = 'Create one with schema = 1 and title = "…", or name the folder that has it.'
            notes.add("set-toml-missing", (), "there is no set.toml in the folder", fix)
    else:
        _text(loaded, "set.toml", contents, notes)
        if (values := parse_toml(notes.text, notes) if "set.toml" in loaded.texts else None) is not None:
            loaded.set_file = validate(SetFile, values, notes)
        if loaded.set_file is not None:
            checks.set_file(loaded.set_file, notes)
    loaded.errors += notes.found


def _text(loaded: Loaded, name: str, contents: dict[str, bytes], notes: Notes) -> None:
    if contents[name].startswith(b"\xef\xbb\xbf"):
        loaded.with_bom.append(name)
    if (text := decode(contents[name], notes)) is not None:
        loaded.texts[name] = notes.text = text


def _load_model(loaded: Loaded, name: str, contents: dict[str, bytes]) -> None:
    notes = Notes(name)
    _text(loaded, name, contents, notes)
    values = parse_toml(notes.text, notes) if name in loaded.texts else None
    data = validate(ModelFile, values, notes) if values is not None else None
    if data is not None:
        before = len(loaded.errors)
        drawings = _drawings(loaded, name, data, contents, notes)
        if len(loaded.errors) == before and not notes.found:
            profile = Profile(name, data, drawings)
            checks.profile(profile, loaded.outlines, notes)
            loaded.profiles.append(profile)
    loaded.errors += notes.found


def _drawings(
    loaded: Loaded, name: str, data: ModelFile, contents: dict[str, bytes], notes: Notes
) -> dict[str | None, Drawing]:
    """The outlines of a model: its own file beside it, and those that sizes and variants name."""
    folder = name.partition("/")[0]
    own = f"{name[: -len('.toml')]}.svg"
    wanted: dict[str | None, str] = {None: own} if own in loaded.present else {}
    for table, named in (("size", [s.outline for s in data.size]), ("variant", [v.outline for v in data.variant])):
        for i, svg in enumerate(named):
            if svg is None:
                continue
            path = f"{folder}/{svg}"
            if "/" in svg or "\\" in svg or not svg.lower().endswith(".svg"):
                fix = "Name an SVG file that lies beside the model file, without folders."
                notes.add("bad-value", (table, i, "outline"), f"'{svg}' cannot be an outline's name", fix)
            elif path not in loaded.present:
                text = f"the outline {svg} is not there"
                notes.add("outline-missing", (table, i, "outline"), text, f"Add {path}, or remove the key.")
            else:
                wanted[svg] = path
    drawings: dict[str | None, Drawing] = {}
    for key, path in wanted.items():
        outline = loaded.outlines.get(path) or _outline(loaded, path, contents)
        if outline is not None:
            points = as_polygon(outline.points)
            drawings[key] = Drawing(path, points, outline.length_mm, outline.depth_mm)
    return drawings


def _outline(loaded: Loaded, path: str, contents: dict[str, bytes]) -> Outline | None:
    if path not in contents:
        return None
    try:
        loaded.outlines[path] = read_outline(contents[path])
    except SvgFault as why:
        loaded.errors.append(Fault(path, why.line, None, why.code, str(why), why.fix))
    return loaded.outlines.get(path)
