"""Reference sets that were kept ready: titles and names are there, a model's file is read again when asked for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from identify.errors import SetFaulty
from identify.kept.forms import OnDemand
from identify.reference import Profile, ReferenceSet, Source


def about(sets: tuple[ReferenceSet, ...]) -> list[dict[str, Any]]:
    """What is kept of sets beside their forms, as JSON."""
    return [
        {
            "title": s.title, "description": s.description, "editor": s.editor, "licence": s.licence,
            "sources": [[source.id, source.citation] for source in s.sources], "prior": s.prior, "sha256": s.sha256,
            "names": s.names, "files": [profile.file for profile in s.profiles],
        }
        for s in sets
    ]  # fmt: skip


def kept_set(folder: Path, index: int, told: dict[str, Any]) -> ReferenceSet:
    """The inverse of `about` for one set, whose files lie in `folder` as they did.  Raises KeyError, TypeError."""
    files: list[str] = told["files"]
    return ReferenceSet(
        folder=folder,
        index=index,
        title=told["title"],
        description=told["description"],
        editor=told["editor"],
        licence=told["licence"],
        sources=tuple(Source(*source) for source in told["sources"]),
        prior=tuple((maker, weight) for maker, weight in told["prior"]),
        sha256=told["sha256"],
        profiles=OnDemand(len(files), lambda i: _profile(folder, files[i])),
        names=tuple(told["names"]),
    )


def _profile(folder: Path, name: str) -> Profile:
    from identify.reference.load import load_model

    maker = folder / Path(name).parent
    contents = {f"{maker.name}/{p.name}": p.read_bytes() for p in maker.iterdir() if p.suffix.lower() == ".svg"}
    contents[name] = (folder / name).read_bytes()
    found = load_model(name, contents).profiles
    if not found:
        raise SetFaulty(f"{folder / name} has changed and has faults now.", "See them: baitprint refs lint.")
    return found[0]
