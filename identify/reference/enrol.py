"""Photos into a reference set and out again: each one checked, learned from and written, all or nothing."""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from identify.errors import BadOption, NotLearned
from identify.records import PhotoRecord
from identify.reference import admit, journal, write
from identify.reference.filed import Files, ModelFiles, pieces_of, pieces_path
from identify.reference.learn import Learned
from identify.reference.merge import KeptByHand, spelled, value_at
from identify.reference.parse import Notes, parse_toml
from identify.reference.pieces import Facts, Piece, Record, Shot, record_text
from identify.reference.reader import read
from identify.reference.relearn import relearned
from identify.reference.shots import shot_of, the_bait

PLACES = ".baitprint-photos.json"
"""Hidden in the set and never shared: where on this machine the photos lie, by their hash, for `refs export`."""


@dataclass(frozen=True)
class Wish:
    """One photo to learn from, and what it is told to show.  `row`: of the table it comes from."""

    photo: Path
    maker: str
    model: str
    facts: Facts
    piece: str | None = None
    contributor: str | None = None
    bait: int | None = None
    row: int | None = None

    @property
    def name(self) -> str:
        return f"{self.maker} / {self.model}"


@dataclass(frozen=True)
class Done:
    """What came of a photo: nothing when it was in already; else what was learned, what stayed as a person wrote it,
    and how the photo was turned to lie as the profile does."""

    file: str
    learned: Learned | None = None
    kept: tuple[KeptByHand, ...] = ()
    changed: bool = False
    turned: str | None = None


class Editor:
    """A set that is being added to.  Raises SetMissing, SetFaulty."""

    def __init__(self, folder: Path, today: datetime.date | None = None) -> None:
        self.folder, self.today = folder, today or datetime.date.today()
        found = read(folder)
        self._files = {p.name.casefold(): p.file for p in found.profiles}
        self._shots: dict[tuple[str, int], tuple[str, str]] = {}
        self._shots_of: dict[str, list[tuple[str, int]]] = {}
        self._lying = Files(folder)
        self._settled: dict[str, tuple[ModelFiles, Done]] = {}
        for profile in found.profiles:
            self._note(profile.file, pieces_of(folder, profile.file))

    def _note(self, file: str, record: Record) -> None:
        for key in self._shots_of.pop(file, ()):
            self._shots.pop(key, None)
        shots = {(shot.sha256, shot.bait): (file, piece.piece) for piece in record.pieces for shot in piece.photos}
        self._shots.update(shots)
        self._shots_of[file] = list(shots)

    def file_of(self, wish: Wish) -> str:
        return self._files.get(wish.name.casefold()) or write.model_path(wish.maker, wish.model)

    def knows(self, wish: Wish, sha256: str) -> bool:
        """Whether a photo is in the set already, so that it need not be measured.  Raises NotLearned if it is there as
        something else."""
        place = self._shots.get((sha256, wish.bait or 1))
        if place is None:
            return False
        file, name = place
        record = self._lying.record(file)
        piece = None if record is None else record.piece(name)
        if piece is None:
            return False
        same = (file, piece.size, piece.variant) == (self.file_of(wish), wish.facts.size, wish.facts.variant)
        if not same or (wish.piece is not None and wish.piece != name):
            where = f"{file}, size {piece.size}" + (f", variant {piece.variant}" if piece.variant else "")
            raise NotLearned(
                f"{wish.photo} is in the set already, as piece {name} of {where}.",
                f'To move it, take it out first: baitprint refs add "{self.folder}" --without "{wish.photo}"',
            )
        return True

    def add(self, wish: Wish, record: PhotoRecord | None, sha256: str) -> Done:
        """Learn from a measured photo (None: one that the set `knows`; only what is told of it may have changed, and is
        held against what the photo shows and the others say).

        Raises NotLearned, Contradicts, CannotWrite; the set is then as before.
        """
        with journal.locked(self.folder):
            files = self._lying.read(self.file_of(wish))
            if record is None:
                name = self._shots[sha256, wish.bait or 1][1]
                pieces = _told(files.record.pieces, name, wish.facts)
                settled = self._settled.get(files.file)
                if settled is not None and settled[0] == files and pieces == files.record.pieces:
                    return settled[1]
                self._check_told(wish, files, name, pieces)
                return self._write(files, wish.maker, wish.model, pieces)
            bait = the_bait(record, wish.bait)
            shot = shot_of(record, bait, wish.contributor, self.today)
            forms = self._lying.forms(files)
            name = wish.piece or sha256[:12]
            before = files.record.piece(name)
            if before is not None and (before.size, before.variant) != (wish.facts.size, wish.facts.variant):
                raise NotLearned(f"The piece {name} is in the set already, as size {before.size}.", "Use another name.")
            shot, turned = admit.fitting(wish, shot, forms, files.record, before)
            fresh = Piece(**{**wish.facts.model_dump(), "piece": name, "photos": (shot,)})
            pieces = (*files.record.pieces, fresh)
            if before is not None:
                more = before.model_copy(update={"photos": (*before.photos, shot)})
                pieces = _told(tuple(more if p is before else p for p in files.record.pieces), name, wish.facts)
            done = self._write(files, wish.maker, wish.model, pieces, {sha256: str(wish.photo.resolve())})
            return replace(done, turned=turned)

    def _check_told(self, wish: Wish, files: ModelFiles, name: str, pieces: tuple[Piece, ...]) -> None:
        """Hold what is told anew of a piece against the profile as it is without that piece."""
        before, piece = files.record.piece(name), next(p for p in pieces if p.piece == name)
        if before is None or (anew := admit.told_anew(before, piece)) is None:
            return
        admit.check_told_seen(wish, anew, piece, self.folder)
        others = tuple(p for p in pieces if p is not piece)
        written = files.record.written
        try:
            change = relearned(files.file, files.text, files.outlines, written, wish.maker, wish.model, others)
            forms = () if change.profile is None else change.profile.forms
        except NotLearned:  # what a person wrote is no whole profile by itself
            forms, anew = self._lying.forms(files), _of_hand(files, anew)
        admit.check_told(wish, anew, piece, others, forms, self.folder)

    def without(self, photo: str) -> dict[str, Done]:
        """Take a photo out again, told by its path, its name or the beginning of its hash; what came of each model file
        that it was in.  Raises BadOption if the set does not have it."""
        hashed = hashlib.sha256(Path(photo).read_bytes()).hexdigest() if Path(photo).is_file() else photo.lower()
        done = {}
        with journal.locked(self.folder):
            for file in sorted({place[0] for place in self._shots.values()}):
                files = self._lying.read(file)
                left = tuple(
                    piece.model_copy(update={"photos": rest})
                    for piece in files.record.pieces
                    if (rest := tuple(s for s in piece.photos if not _is(s, photo, hashed)))
                )
                if sum(len(p.photos) for p in left) < sum(len(p.photos) for p in files.record.pieces):
                    values = parse_toml(files.text or "", Notes(file)) or {}
                    done[file] = self._write(files, values["maker"], values["model"], left)
        if not done:
            raise BadOption(f"The set has learned nothing from {photo}.", "See what it has with `baitprint refs show`.")
        return done

    def _write(
        self,
        files: ModelFiles,
        maker: str,
        model: str,
        pieces: tuple[Piece, ...],
        places: Mapping[str, str] | None = None,
    ) -> Done:
        """Write a model's files for these pieces."""
        change = relearned(files.file, files.text, files.outlines, files.record.written, maker, model, pieces)
        changes: dict[str, bytes | None] = {}
        maker_folder = files.file.rpartition("/")[0]
        for name, content in change.outlines.items():
            if files.outlines.get(name) != content:
                changes[f"{maker_folder}/{name}"] = content
        if change.merged.text != files.text:
            changes[files.file] = None if change.merged.text is None else change.merged.text.encode()
        if change.record != files.record or not files.had_pieces:
            content = record_text(change.record).encode() if pieces else None
            if content is not None or files.had_pieces:
                changes[pieces_path(files.file)] = content
        if places and changes:
            changes[PLACES] = json.dumps(photo_places(self.folder) | dict(places), ensure_ascii=False).encode()
        if changes:
            journal.commit(self.folder, changes)
        self._note(files.file, change.record)
        done = Done(files.file, change.learned, change.merged.kept, bool(changes))
        if change.merged.text is not None and change.profile is not None:
            self._files[f"{maker} / {model}".casefold()] = files.file
            outlines = {**files.outlines, **change.outlines}
            self._lying.wrote(files.file, change.merged.text, outlines, change.profile)
        if not changes:
            self._settled[files.file] = (files, done)
        return done


def _of_hand(files: ModelFiles, told: Facts) -> Facts:
    """Of what is told, that for which a person wrote a value into the model's file."""
    plain = parse_toml(files.text or "", Notes(files.file)) or {}
    written = files.record.written.values

    def by_hand(*path: str) -> bool:
        here = value_at(plain, path)
        return here is not None and written.get(spelled(path)) != here

    entries = [(), ("size", told.size), *([("variant", told.variant)] if told.variant is not None else [])]
    ties = any(by_hand(*entry, "line_ties", "count") for entry in entries)
    length = by_hand("size", told.size, "length_mm")
    dropped = [*([] if ties else ["ties"]), *([] if length else ["length_mm", "depth_mm"])]
    return told.model_copy(update=dict.fromkeys(dropped))


def _told(pieces: tuple[Piece, ...], name: str, facts: Facts) -> tuple[Piece, ...]:
    """Pieces, one of them with what is told now."""
    said = facts.model_dump(exclude_none=True)
    return tuple(p.model_copy(update=said) if p.piece == name else p for p in pieces)


def _is(shot: Shot, photo: str, hashed: str) -> bool:
    return shot.sha256 == hashed or shot.photo == photo or (len(hashed) >= 8 and shot.sha256.startswith(hashed))


def photo_places(folder: Path) -> dict[str, str]:
    """Where on this machine photos lie that the set was learned from, by hash."""
    try:
        found = json.loads((folder / PLACES).read_text("utf-8"))
        return {str(k): str(v) for k, v in found.items()}
    except (OSError, ValueError, AttributeError):
        return {}
