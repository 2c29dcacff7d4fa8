"""The files of a set's models as they lie there.  They are looked at whenever they are asked for, since a person may
write to them meanwhile; what was made of them is used again as long as they say the same."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from identify.errors import SetFaulty
from identify.reference.load import load_model
from identify.reference.pieces import Record, read_record
from identify.reference.profile import Form
from identify.reference.sets import Profile

PIECES = ".pieces.jsonl"


@dataclass(frozen=True)
class ModelFiles:
    """A model's files as they are: `outlines` holds every SVG of its maker's folder by name."""

    file: str
    text: str | None
    outlines: dict[str, bytes]
    record: Record
    had_pieces: bool


@dataclass(frozen=True)
class _Loaded:
    """A profile, and what it was read from: the text, and by name the outlines looked for (None: not there)."""

    text: str
    outlines: dict[str, bytes | None]
    profile: Profile

    def holds(self, files: ModelFiles) -> bool:
        """Whether the files still say the same."""
        return self.text == files.text and all(files.outlines.get(name) == svg for name, svg in self.outlines.items())


def pieces_path(file: str) -> str:
    """Where the record of what a model file was learned from lies."""
    return file.removesuffix(".toml") + PIECES


def pieces_of(folder: Path, file: str) -> Record:
    """What the profile of a model file was learned from; empty when nothing is known.  Raises SetFaulty."""
    path = pieces_path(file)
    text = _pieces_text(folder, path)
    return Record() if text is None else read_record(text, path)


def _pieces_text(folder: Path, path: str) -> str | None:
    try:
        return (folder / path).read_bytes().decode("utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as why:
        raise SetFaulty(f"{path} cannot be read: {why}.", "Restore it from a copy, or delete it.") from why


class Files:
    """The files of a set's models."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._record: tuple[str, str, Record] | None = None
        self._loaded: dict[str, _Loaded] = {}

    def record(self, file: str) -> Record | None:
        """What a model file was learned from; None when there is no such record.  Raises SetFaulty."""
        path = pieces_path(file)
        text = _pieces_text(self.folder, path)
        if text is None:
            return None
        if self._record is None or self._record[:2] != (path, text):
            self._record = (path, text, read_record(text, path))
        return self._record[2]

    def read(self, file: str) -> ModelFiles:
        """A model's files.  Raises SetFaulty."""
        maker = (self.folder / file).parent
        outlines = {f.name: f.read_bytes() for f in maker.glob("*.svg")} if maker.is_dir() else {}
        path = self.folder / file
        text = path.read_bytes().decode("utf-8-sig") if path.is_file() else None
        record = self.record(file)
        return ModelFiles(file, text, outlines, record or Record(), record is not None)

    def forms(self, files: ModelFiles) -> tuple[Form, ...]:
        """The sizes and variants that a model's files describe.  Raises SetFaulty."""
        if files.text is None:
            return ()
        known = self._loaded.get(files.file)
        if known is not None and known.holds(files):
            return known.profile.forms
        maker = files.file.rpartition("/")[0]
        contents = {f"{maker}/{name}": svg for name, svg in files.outlines.items()}
        loaded = load_model(files.file, {files.file: files.text.encode(), **contents})
        if loaded.errors:
            raise SetFaulty(f"{loaded.errors[0].where}: {loaded.errors[0].text}.", "Mend it: `baitprint refs lint`.")
        return loaded.profiles[0].forms

    def wrote(self, file: str, text: str, outlines: dict[str, bytes | None], profile: Profile) -> None:
        """Remember the profile that a model file was written for, among these outlines of its maker's folder."""
        paths = {file.removesuffix(".toml") + ".svg", *(drawing.file for drawing in profile.drawings.values())}
        names = [path.rpartition("/")[2] for path in paths]
        self._loaded[file] = _Loaded(text, {name: outlines.get(name) for name in names}, profile)
