"""A pile of `baitprint sort` as photos to learn from."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from identify.errors import BadOption
from identify.reference.enrol import Wish
from identify.reference.pieces import Facts

KINDS = ("piles", "unknown_piles")


def pile_wishes(folder: Path, name: str, maker: str, model: str, facts: Facts, contributor: str | None) -> list[Wish]:
    """One wish for each bait of a pile; a pile that the program named is known by that alone, unless told otherwise.
    Photos of a piece without a bait in them, such as its box, are left out.  Raises BadOption if there is no such pile,
    or no bait in it."""
    place = folder / "piles.json"
    try:
        found: dict[str, Any] = json.loads(place.read_text("utf-8"))
        piles = [pile for kind in KINDS for pile in found.get(kind, ())]
        chosen = next((pile for pile in piles if pile["name"] == name), None)
    except OSError as why:
        said = f"{place} cannot be read: {why.strerror or why}."
        raise BadOption(said, "Name the folder that `baitprint sort` wrote.") from why
    except (ValueError, KeyError, TypeError, AttributeError) as why:
        raise BadOption(f"{place} holds no piles.", "Name the folder that `baitprint sort` wrote.") from why
    if chosen is None:
        raise BadOption(f"There is no pile '{name}' in {folder}.", f"It has: {', '.join(p['name'] for p in piles)}.")
    if chosen.get("maker") is not None and facts.known_by is None:
        facts = facts.model_copy(update={"known_by": "tool"})  # it was this program that named it
    baits = [entry for entry in chosen["photos"] if entry.get("bait") is not None]
    if not baits:
        raise BadOption(f"No photo of the pile '{name}' shows a bait.", "Choose another pile, or name photos yourself.")
    base = _photos_of(folder, found.get("folder"), [str(entry["photo"]) for entry in baits])
    return [
        Wish(
            photo=base / entry["photo"],
            maker=maker,
            model=model,
            facts=facts,
            piece=None if entry.get("piece") is None else str(entry["piece"]),
            contributor=contributor,
            bait=entry["bait"],
        )
        for entry in baits
    ]


def _photos_of(folder: Path, sorted_from: object, names: list[str]) -> Path:
    """The folder that was sorted, to which names of photos are relative: as `sort` noted it, seen from its own; or, if
    one of the two has been moved since, near by, or where one stands.  Raises BadOption."""
    whole = folder.resolve()
    noted = [whole / sorted_from] if isinstance(sorted_from, str) else []
    around = [*noted, Path.cwd(), whole, whole.parent, *(p for p in sorted(whole.parent.iterdir()) if p.is_dir())]
    for base in around:
        if all((base / name).is_file() for name in names):
            return base
    raise BadOption(
        f"The photos of the pile are not found near {folder} ({names[0]} and others).",
        "Run this in the folder that was sorted: names of photos are relative to it.",
    )
