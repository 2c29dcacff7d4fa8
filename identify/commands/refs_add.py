"""`baitprint refs new` and `refs add`: a set begun, photos learned from, photos taken out again."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from identify.commands.console import DONE, INTERRUPTED, PARTLY, USAGE, complain, console, put_line
from identify.commands.photos import Bar, expand
from identify.commands.refs_added import Added
from identify.errors import INTERNAL, BadOption, BaitprintError, PhotoMissing, internal
from identify.reference import write
from identify.reference.enrol import Editor, Wish
from identify.reference.learning import Outcome, learn_all
from identify.reference.piles import pile_wishes
from identify.reference.told import facts_of, name_of
from identify.settings import Settings


def new_set(folder: str, title: str, editor: str, licence: str) -> int:
    """The command `refs new`; returns its exit code."""
    place = Path(folder)
    if (place / "set.toml").exists():
        raise BadOption(f"{folder} is a reference set already.", "Choose another folder, or add to it with `refs add`.")
    if place.is_file():
        raise BadOption(f"{folder} is a file.", "Name a folder.")
    if not title.strip():
        raise BadOption("A set needs a title.", 'Give one: --title "My shelf".')
    values = {"title": title.strip(), "editor": editor.strip() or None, "licence": licence.strip() or None}
    write.put(place / "set.toml", write.set_toml(values))
    put_line(f'{folder} is a reference set now: "{title.strip()}".')
    put_line(f'Next: baitprint refs add "{folder}" --maker M --model N --size S PHOTO...')
    return DONE


@dataclass(frozen=True)
class Asked:
    """What `refs add` was told, as it came from the command line."""

    photos: Sequence[str] = ()
    maker: str | None = None
    model: str | None = None
    size: str | None = None
    variant: str | None = None
    colourway: str | None = None
    name: str | None = None
    made: str | None = None
    ties: int | None = None
    known_by: str | None = None
    piece: str | None = None
    contributor: str | None = None
    length_mm: str | None = None
    depth_mm: str | None = None
    table: str | None = None
    pile: str | None = None
    without: str | None = None

    @property
    def describes(self) -> bool:
        """Whether anything is said of what the photos show."""
        return any(
            value is not None
            for value in (self.maker, self.model, self.size, self.variant, self.colourway, self.name, self.made)
        ) or any(v is not None for v in (self.ties, self.known_by, self.piece, self.length_mm, self.depth_mm))


def add(folder: str, asked: Asked, settings: Settings, jobs: int | None) -> int:
    """The command `refs add`; returns its exit code."""
    ways = [asked.table is not None, asked.pile is not None, asked.without is not None]
    if sum(ways) > 1 or ((ways[0] or ways[2]) and (asked.photos or asked.describes)):
        raise BadOption(
            "--table, --without, --pile and photos with --maker, --model, --size are ways of their own.",
            "Use one of them at a time.",
        )
    if asked.without is not None:
        return _without(folder, asked.without)
    if asked.table is None:
        return _learn(folder, _told(asked), settings, jobs)
    from identify.reference.table import read_table

    wishes, rows = read_table(Path(asked.table), asked.contributor)
    for row in rows:
        complain(f"{asked.table} line {row.line}: {row.text}")
    return _learn(folder, wishes, settings, jobs, asked.table, [row.line for row in rows])


def _told(asked: Asked) -> list[Wish]:
    if asked.maker is None or asked.model is None or asked.size is None:
        raise BadOption("--maker, --model and --size are needed.", "Say what the photos show.")
    maker, model = name_of("--maker", asked.maker), name_of("--model", asked.model)
    keys = ("size", "variant", "colourway", "name", "made", "ties", "known_by", "length_mm", "depth_mm")
    told = {key: getattr(asked, key) for key in keys}
    piece = None if asked.piece is None else name_of("--piece", asked.piece)
    if asked.pile is not None:
        if len(asked.photos) != 1:
            raise BadOption("--pile needs the folder of `baitprint sort` and a pile's name.", "--pile DIR NAME")
        return pile_wishes(Path(asked.pile), asked.photos[0], maker, model, facts_of(told), asked.contributor)
    if not asked.photos:
        raise BadOption("No photo was given.", "Name one or more photos of the bait.")
    facts = facts_of(told)
    return [Wish(Path(p), maker, model, facts, piece, asked.contributor) for p in expand(asked.photos)]


def _learn(
    folder: str,
    wishes: Sequence[Wish],
    settings: Settings,
    jobs: int | None,
    table: str | None = None,
    bad_lines: Sequence[int] = (),
) -> int:
    editor = Editor(Path(folder))
    out = console()
    faults = ["bad-row"] * len(bad_lines)
    refused = [(line, f"line {line}") for line in bad_lines]
    added = Added()
    new = known = 0
    bar = Bar(len(wishes), False)
    try:
        bar.show(0, str(wishes[0].photo) if wishes else "")
        for done, outcome in enumerate(learn_all(editor, wishes, settings, jobs), 1):
            bar.show(done, str(outcome.wish.photo))
            if outcome.done is None:
                bar.hide()
                faults.append(_complain(outcome, table))
                row = outcome.wish.row
                refused.append((row or 0, outcome.wish.photo.name if row is None else f"line {row}"))
                continue
            new, known = (new + 1, known) if outcome.done.changed else (new, known + 1)
            if outcome.done.turned is not None:
                bar.hide()
                out.print(f"{outcome.wish.photo}: {outcome.done.turned}, to lie as the profile does.", soft_wrap=True)
            if outcome.done.changed:
                added.note(outcome.wish, outcome.done)
    except KeyboardInterrupt:
        bar.hide()
        complain(f"Interrupted: {new + known} of {len(wishes)} photos are in. The same command goes on from there.")
        return INTERRUPTED
    finally:
        bar.hide()
    added.show(out, summary=table is not None)
    said = [f"{new} of {len(wishes)} photos learned from"]
    said += [f"{known} in already"] if known else []
    said += [f"{len(faults)} refused"] if faults else []
    out.print(f"{folder}: {', '.join(said)}.", soft_wrap=True)
    if faults and added:  # what was said of them stands far above by now
        names = ", ".join(name for _, name in sorted(refused, key=lambda one: one[0]))
        out.print(f"Refused, for the reasons given above: {names}.", soft_wrap=True)
    if faults and len(faults) == len(wishes) + len(bad_lines) and all(code == PhotoMissing.code for code in faults):
        return USAGE
    return PARTLY if faults else DONE


def _complain(outcome: Outcome, table: str | None) -> str:
    fault = outcome.fault
    assert fault is not None
    where = f"{table} line {outcome.wish.row}: " if table is not None and outcome.wish.row is not None else ""
    if isinstance(fault, BaitprintError):
        complain(f"{where}{fault.message}")
        return fault.code
    if os.environ.get("BAITPRINT_DEBUG"):
        raise fault
    complain(f"{where}{outcome.wish.photo}: {internal(fault)}")
    return INTERNAL


def _without(folder: str, photo: str) -> int:
    done = Editor(Path(folder)).without(photo)
    for file, one in done.items():
        left = "the profile is gone: it rested on this photo" if one.learned is None else "learned again without it"
        put_line(f"{photo} was taken out of {file}; {left}.")
    return DONE
