"""Reading a reference set for use: whole and without faults, or not at all."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from identify.errors import SetFaulty, SetMissing
from identify.reference.load import load
from identify.reference.sets import ReferenceSet, Source

SHOWN = 3


def read(folder: Path, index: int = 0, progress: Callable[[int, int], None] | None = None) -> ReferenceSet:
    """Read the reference set in a folder.

    `index` is the set's place among those that are asked; `progress` is told how many of how many files are done.  A
    set without models is read: its `profiles` are empty.
    Raises SetMissing if there is no such folder or no set.toml in it, SetFaulty (naming the first faults) if any file
    has a fault: a set is never half read.
    """
    folder = Path(folder)
    loaded = load(folder, progress)
    if any(fault.code == "set-toml-missing" for fault in loaded.errors):
        raise SetMissing(
            f"The folder {folder} has no set.toml, so it is no reference set.",
            "Name the folder that holds set.toml, or start a set there with `baitprint refs new`.",
        )
    if loaded.errors:
        first = "; ".join(f"{fault.where}: {fault.text}" for fault in loaded.errors[:SHOWN])
        rest = len(loaded.errors) - SHOWN
        more = f"; and {rest} more" if rest > 0 else ""
        number = "a fault" if len(loaded.errors) == 1 else f"{len(loaded.errors)} faults"
        raise SetFaulty(
            f"The reference set {folder} has {number}: {first}{more}.",
            f'See all with what to do: baitprint refs lint "{folder}"',
        )
    about = loaded.set_file
    assert about is not None, "a set without faults has its set.toml"
    return ReferenceSet(
        folder=folder,
        index=index,
        title=about.title,
        description=about.description,
        editor=about.editor,
        licence=about.licence,
        sources=tuple(Source(s.id, s.citation) for s in about.source),
        prior=tuple(about.prior.items()),
        sha256=loaded.sha256,
        profiles=tuple(loaded.profiles),
        names=tuple(profile.name for profile in loaded.profiles),
    )
