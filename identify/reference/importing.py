"""Somebody else's set into one's own: whole, or not at all, and nothing of one's own overwritten."""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import tomlkit

from identify.errors import BadArchive, BadOption, ImportDiffers, NotLearned, SetFaulty, SetMissing
from identify.reference import agree, journal
from identify.reference.differ import Difference, Side, differences, paths_of
from identify.reference.exchange import PHOTOS, manifest_of
from identify.reference.filed import PIECES, pieces_of, pieces_path
from identify.reference.forms import forms_of
from identify.reference.merge import JOIN, merge, value_at
from identify.reference.pieces import Facts, Piece, Record, record_text
from identify.reference.reader import read
from identify.reference.relearn import must_hold, relearned
from identify.reference.safezip import Archive, opened
from identify.reference.sets import Profile, ReferenceSet
from identify.reference.write import toml_value

PATIENCE = 40
"""So many differences are shown."""


@dataclass
class Imported:
    """What came of an import: models added, merged and there already; of what differed, what stayed as it was here
    and what was learned anew from the pieces of both."""

    title: str
    added: list[str] = field(default_factory=list)
    merged: list[str] = field(default_factory=list)
    same: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    anew: list[str] = field(default_factory=list)
    photos: int = 0


def import_set(source: Path, folder: Path, merging: bool = False) -> Imported:
    """Unpack a set, or add it to the set in a folder.

    Raises BadArchive, ImportDiffers (a model is there already and says something else, or its pieces contradict),
    SetFaulty (of the set that is there), BadOption (the folder holds something else) and CannotWrite; the folder is
    then as before.
    """
    with opened(source) as archive, tempfile.TemporaryDirectory() as scratch:
        manifest_of(archive)
        place = Path(scratch)
        for name in archive.entries:
            if not name.startswith(f"{PHOTOS}/"):
                (place / name).parent.mkdir(exist_ok=True)
                (place / name).write_bytes(archive.read(name))
        theirs = _their_set(source, place)
        existing = (folder / "set.toml").exists()
        if not existing and folder.exists() and (not folder.is_dir() or any(_visible(folder))):
            raise BadOption(f"{folder} holds other things than a reference set.", "Name a new folder, or a set's.")
        with journal.locked(folder):
            done = Imported(theirs.title)
            changes: dict[str, bytes | Path | None] = {}
            if existing:
                _into(read(folder), theirs, merging, changes, done)
            else:
                for name in archive.entries:
                    if name != "manifest.json" and not name.startswith(f"{PHOTOS}/"):
                        changes[name] = (place / name).read_bytes()
                done.added = [p.name for p in theirs.profiles]
            with tempfile.TemporaryDirectory(dir=folder, prefix=journal.INCOMING) as waiting:
                _photos(archive, folder, Path(waiting), changes, done)
                if changes:
                    journal.commit(folder, changes)
    return done


def _visible(folder: Path) -> list[Path]:
    return [p for p in folder.iterdir() if not p.name.startswith(".")]


def _their_set(source: Path, place: Path) -> ReferenceSet:
    try:
        found = read(place)
        for profile in found.profiles:
            pieces_of(place, profile.file)
    except (SetMissing, SetFaulty) as why:
        said = str(why).replace(str(place), str(source))
        raise BadArchive(said, "Ask its editor to mend it: `baitprint refs lint` names every fault.") from why
    return found


def _photos(
    archive: Archive, folder: Path, waiting: Path, changes: dict[str, bytes | Path | None], done: Imported
) -> None:
    """Photos lie beside the models, under the hash of what they were when they were learned from."""
    for i, name in enumerate(n for n in archive.entries if n.startswith(f"{PHOTOS}/")):
        if not (folder / name).exists():
            with (waiting / f"{i}").open("wb") as file:
                for chunk in archive.chunks(name):
                    file.write(chunk)
            changes[name] = waiting / f"{i}"
            done.photos += 1


def _into(
    ours: ReferenceSet, theirs: ReferenceSet, merging: bool, changes: dict[str, bytes | Path | None], done: Imported
) -> None:
    """Add the models of one set to another; what cannot be done is gathered and refused whole."""
    here = {p.name.casefold(): p for p in ours.profiles}
    files = {p.file.casefold() for p in ours.profiles}
    against: list[str] = []
    renamed = _sources(ours, theirs, merging, changes, against)
    for profile in theirs.profiles:
        own = here.get(profile.name.casefold())
        if own is None:
            if profile.file.casefold() in files:
                against.append(f"{profile.name}: another model stands in {profile.file} here")
                continue
            _copy(theirs, profile, renamed, changes)
            done.added.append(profile.name)
            continue
        one, other = _side(ours, own), _side(theirs, profile)
        differ = differences(one, other)
        news = _news(one.record, other.record)
        fresh = [path for path in paths_of(other.values) if value_at(one.values, path) is None]
        if not differ and not news and not fresh:
            done.same.append(profile.name)
        elif not merging:
            about = [d.text for d in differ] or [f"{len(news)} piece(s) and {len(fresh)} value(s) that are not here"]
            against += [f"{profile.name}: {text}" for text in about]
        elif contradicting := _contradicting(own, news):
            against += [f"{profile.name}: {text}" for text in contradicting]
        else:
            try:
                joined = _joined(ours, theirs, one, other, news, renamed)
            except NotLearned as why:
                against.append(f"{profile.name}: {why.message}")
                continue
            changes |= joined
            done.merged.append(profile.name)
            for difference in differ:
                stays = _stays(ours, one, difference, joined)
                (done.kept if stays else done.anew).append(f"{profile.name}: {difference.text}")
    if against:
        more = f"\n  and {len(against) - PATIENCE} more" if len(against) > PATIENCE else ""
        listed = "".join(f"\n  {text}" for text in against[:PATIENCE])
        raise ImportDiffers(
            f"Nothing was imported, since the two sets differ:{listed}{more}\n",
            "Settle these in one of the two sets (other sizes or variants for other pieces)."
            if merging
            else "Look at them. With --merge what is here stays, what only they have is added, and all pieces count.",
        )


def _stays(ours: ReferenceSet, one: Side, difference: Difference, joined: Mapping[str, bytes | None]) -> bool:
    """Whether what was here in that which differs is the same after two sets were joined."""
    if (name := difference.drawing) is not None:
        return name not in joined or joined[name] == (ours.folder / name).read_bytes()
    after = tomlkit.parse((joined[one.profile.file] or b"").decode("utf-8")).unwrap()
    return all(value_at(after, path) == value_at(one.values, path) for path in difference.paths)


def _side(found: ReferenceSet, profile: Profile) -> Side:
    values = tomlkit.parse((found.folder / profile.file).read_bytes().decode("utf-8-sig")).unwrap()
    return Side(profile, values, pieces_of(found.folder, profile.file), found.editor)


def _news(here: Record, there: Record) -> tuple[Piece, ...]:
    """Pieces with the photos that are not here yet."""
    known = {(s.sha256, s.bait) for p in here.pieces for s in p.photos}
    left = ((p, tuple(s for s in p.photos if (s.sha256, s.bait) not in known)) for p in there.pieces)
    return tuple(p.model_copy(update={"photos": shots}) for p, shots in left if shots)


def _contradicting(own: Profile, news: tuple[Piece, ...]) -> list[str]:
    """Pieces that would have been refused if they had been photographed here."""
    forms = list(forms_of(own, 0))
    found = []
    for piece in news:
        form = next((f for f in forms if (f.size, f.variant) == (piece.size, piece.variant)), None)
        if form is None:
            continue
        facts = Facts.model_validate(piece.model_dump(exclude={"piece", "photos"}))
        for shot in piece.photos:
            if differ := agree.differences(shot, facts, form, ties_may_differ=False):
                found.append(f"{shot.photo} of size {piece.size} does not fit: {'; '.join(differ)}")
    return found


def _joined(
    ours: ReferenceSet,
    theirs: ReferenceSet,
    one: Side,
    other: Side,
    news: tuple[Piece, ...],
    renamed: Mapping[str, str],
) -> dict[str, bytes | None]:
    """The files of one model of two sets: what is here stays, what only they have is added, all pieces count.  Raises
    NotLearned if the two do not go together."""
    written = other.record.written.values
    by_hand = {
        path: _with_sources(path, value_at(other.values, path), renamed)
        for path in paths_of(other.values)
        if value_at(one.values, path) is None and JOIN.join(path) not in written
    }
    file = one.profile.file
    maker = file.rpartition("/")[0]
    text = (ours.folder / file).read_bytes().decode("utf-8-sig")
    if by_hand:
        text = merge(text, by_hand, {}).text or text
    outlines: dict[str, bytes | None] = {p.name: p.read_bytes() for p in (ours.folder / maker).glob("*.svg")}
    for drawing in other.profile.drawings.values():
        outlines.setdefault(drawing.file.rpartition("/")[2], (theirs.folder / drawing.file).read_bytes())
    pieces = _named_apart(one.record.pieces, news)
    changes: dict[str, bytes | None] = {}
    if pieces:
        data, there = one.profile.data, {name: svg for name, svg in outlines.items() if svg is not None}
        after = relearned(file, text, there, one.record.written, data.maker, data.model, pieces)
        text = after.merged.text or text
        outlines |= after.outlines
        changes[pieces_path(file)] = record_text(after.record).encode()
    must_hold(file, text, {name: svg for name, svg in outlines.items() if svg is not None})
    return changes | {file: text.encode()} | {f"{maker}/{name}": svg for name, svg in outlines.items()}


def _named_apart(here: tuple[Piece, ...], news: tuple[Piece, ...]) -> tuple[Piece, ...]:
    """All pieces, ours last: of years and names told the last count.  One of theirs that has the name of another piece
    here gets a name of its own."""
    taken = {p.piece for p in here}
    out: list[Piece] = []
    for piece in news:
        name, n = piece.piece, 2
        while name in taken:
            name, n = f"{piece.piece} ({n})", n + 1
        taken.add(name)
        out.append(piece.model_copy(update={"piece": name}))
    return (*out, *here)


def _copy(
    theirs: ReferenceSet, profile: Profile, renamed: Mapping[str, str], changes: dict[str, bytes | Path | None]
) -> None:
    stem = profile.file.removesuffix(".toml")
    text = (theirs.folder / profile.file).read_bytes()
    changes[profile.file] = _renamed(text.decode("utf-8-sig"), renamed).encode() if renamed else text
    for name in {f"{stem}{PIECES}", *(d.file for d in profile.drawings.values())}:
        if (theirs.folder / name).is_file():
            changes[name] = (theirs.folder / name).read_bytes()


def _with_sources(path: tuple[str, ...], value: Any, renamed: Mapping[str, str]) -> Any:
    if path[-1] == "source":
        return renamed.get(value, value)
    if path[-1] == "dated":
        return [{k: renamed.get(v, v) if k == "source" else v for k, v in entry.items()} for entry in value]
    return value


def _renamed(text: str, renamed: Mapping[str, str]) -> str:
    """A model file with other ids of sources."""

    def other(found: re.Match[str]) -> str:
        value = str(tomlkit.value(found[2]).unwrap())
        return f"{found[1]}{toml_value(renamed[value])}" if value in renamed else found[0]

    return re.sub(r"""(^\s*source\s*=\s*)("[^"\n]*"|'[^'\n]*')""", other, text, flags=re.MULTILINE)


def _sources(
    ours: ReferenceSet,
    theirs: ReferenceSet,
    merging: bool,
    changes: dict[str, bytes | Path | None],
    against: list[str],
) -> dict[str, str]:
    """Add their sources to set.toml; ids that mean another source here are renamed when merging.  Gives the new ids."""
    here = {s.id: s.citation for s in ours.sources}
    used = {name for p in theirs.profiles for name in re.findall(r'"source":\s*"([^"]*)"', json.dumps(_dump(p)))}
    renamed: dict[str, str] = {}
    added: list[dict[str, str]] = []
    for source in theirs.sources:
        if source.id not in used or here.get(source.id) == source.citation:
            continue
        name = source.id
        if name in here:
            if not merging:
                against.append(f"set.toml: the source {name} is '{here[name]}' here, '{source.citation}' there")
                continue
            name = next(f"{name}-{n}" for n in range(2, 1000) if f"{name}-{n}" not in here)
            renamed[source.id] = name
        here[name] = source.citation
        added.append({"id": name, "citation": source.citation})
    if added:
        text = (ours.folder / "set.toml").read_bytes().decode("utf-8-sig").rstrip("\n")
        entries = [f"\n\n[[source]]\nid = {toml_value(s['id'])}\ncitation = {toml_value(s['citation'])}" for s in added]
        prior = text.find("\n[prior]")
        head, tail = (text, "") if prior < 0 else (text[:prior].rstrip("\n"), f"\n{text[prior:]}")
        changes["set.toml"] = f"{head}{''.join(entries)}{tail}\n".encode()
    return renamed


def _dump(profile: Profile) -> dict[str, Any]:
    return profile.data.model_dump(mode="json", exclude_none=True)
