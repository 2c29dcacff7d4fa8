"""What a profile rests on: pieces and photos, who contributed them, sources."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from identify.reference.filed import pieces_of
from identify.reference.sets import Profile, ReferenceSet


@dataclass(frozen=True)
class PieceRow:
    """One photo of a piece that was learned from."""

    maker: str
    model: str
    size: str
    variant: str | None
    colourway: str | None
    piece: str
    known_by: str | None
    photo: str
    bait: int
    sha256: str
    taken: str | None
    added: str
    contributor: str | None
    version: str


def piece_rows(found: ReferenceSet, which: str) -> tuple[PieceRow, ...]:
    """The photos behind one "MAKER / MODEL" or "MAKER" of a set.  Raises SetFaulty."""
    return tuple(row for profile in _chosen(found, which) for row in _rows(found, profile))


def _chosen(found: ReferenceSet, which: str) -> Iterator[Profile]:
    for profile in found.profiles:
        if which.casefold() in (profile.name.casefold(), profile.data.maker.casefold()):
            yield profile


def _rows(found: ReferenceSet, profile: Profile) -> Iterator[PieceRow]:
    for piece in pieces_of(found.folder, profile.file).pieces:
        for shot in piece.photos:
            yield PieceRow(
                profile.data.maker, profile.data.model, piece.size, piece.variant, piece.colourway, piece.piece,
                piece.known_by, shot.photo, shot.bait, shot.sha256, shot.taken, shot.added, shot.contributor,
                shot.version,
            )  # fmt: skip


def citations(found: ReferenceSet, which: str) -> tuple[str, ...]:
    """The sources that the files of one model or maker name, each once."""
    named: dict[str, None] = {}
    for profile in _chosen(found, which):
        data = profile.data
        levels = [data.source, *(s.source for s in data.size), *(v.source for v in data.variant)]
        levels += [*(c.source for c in data.colourway), *(d.source for d in data.dated)]
        named |= {name: None for name in levels if name is not None}
    cited = {source.id: source.citation for source in found.sources}
    return tuple(f"{name}: {cited.get(name, 'not listed in set.toml')}" for name in named)
