"""What is suspicious in a reference set, but may be right: remarks, which keep nobody from using it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from itertools import pairwise

from identify.errors import SetFaulty
from identify.reference import placement, years
from identify.reference.checks import LONGEST_MM, SHORTEST_MM
from identify.reference.faults import Fault
from identify.reference.load import Loaded
from identify.reference.parse import Notes
from identify.reference.pieces import read_record
from identify.reference.placement import levels
from identify.reference.schema import ColourwayTable, SetFile
from identify.reference.sets import Profile
from identify.reference.slugs import slug
from identify.reference.surface import Lab, vivid
from identify.reference.tomllines import Path

USUAL_MM = (20.0, 400.0)
STEP = 3.0
"""A size more than this many times as long as the one before it is unusual."""
THICK = 1.6
LOOSE = 0.05
MANY = 9
"""More rings or hooks of a kind than this are unusual."""
WIDE = 0.8
"""An eye wider than this share of the depth is unusual."""
LONG_PATH = 160


def of(loaded: Loaded) -> list[Fault]:
    """All remarks on a set."""
    found: list[Fault] = []
    for name in loaded.with_bom:
        text = "the file begins with a byte order mark"
        found.append(Fault(name, 1, None, "has-bom", text, "Save it as UTF-8 without BOM: other programs refuse it."))
    names = {p.name.casefold(): p.name for p in loaded.profiles}
    for profile in loaded.profiles:
        notes = Notes(profile.file, loaded.texts[profile.file])
        _lengths(profile, notes)
        _counts(profile, notes)
        _years(profile, notes)
        _colours(profile, notes)
        _links(profile, names, notes)
        _named(profile, loaded.set_file, notes)
        _file(profile, loaded.present, notes)
        placement.remarks(profile, notes)
        _pieces(loaded, profile, notes)
        found += notes.found
    return found + list(_files(loaded)) + list(_prior(loaded))


def _usual(length_mm: float) -> bool:
    return USUAL_MM[0] <= length_mm <= USUAL_MM[1]


def _lengths(what: Profile, notes: Notes) -> None:
    for i, size in enumerate(what.data.size):
        if SHORTEST_MM <= size.length_mm <= LONGEST_MM and not _usual(size.length_mm):
            text = f"{size.length_mm:g} mm is an unusual length for a bait"
            notes.add("length-odd", ("size", i, "length_mm"), text, "Check the unit: lengths are in millimetres.")
        if size.thickness_mm and size.depth_mm and size.thickness_mm > THICK * size.depth_mm:
            text = f"the body is {size.thickness_mm:g} mm thick, but {size.depth_mm:g} mm deep"
            notes.add("thickness-odd", ("size", i, "thickness_mm"), text, "Were the two mixed up?")
        whole_of = {"tolerance_mm": size.length_mm, "depth_tolerance_mm": size.depth_mm}
        for key, whole in (whole_of | {"outline_tolerance_mm": size.depth_mm}).items():
            value = getattr(size, key)
            if value and whole and value > LOOSE * whole:
                text = f"{key} is {value:g} of {whole:g} mm, which lets almost anything pass"
                notes.add("tolerance-odd", ("size", i, key), text, "Give one standard deviation, in millimetres.")
    for i, (a, b) in enumerate(pairwise(what.data.size), 1):
        if b.length_mm < a.length_mm:
            text = f"size '{what.sizes[i]}' is shorter than the size before it"
            notes.add(
                "sizes-order", ("size", i, "length_mm"), text, "Put the sizes in order of length, smallest first."
            )
        elif b.length_mm > STEP * a.length_mm and _usual(a.length_mm) and _usual(b.length_mm):
            text = f"size '{what.sizes[i]}' is {b.length_mm / a.length_mm:.1f} times as long as the one before it"
            notes.add("length-odd", ("size", i, "length_mm"), text, "Check both lengths and their unit.")


def _counts(what: Profile, notes: Notes) -> None:
    for path, level in levels(what):
        for key, count in (
            ("line_ties", level.line_ties.count if level.line_ties is not None else None),
            ("hangers", level.hangers.count if level.hangers is not None else None),
            ("hooks", level.hooks),
        ):
            if count is not None and count > MANY:
                text = f"{count} {key.replace('_', ' ')} are unusual for a bait"
                notes.add("count-odd", (*path, key), text, "Check the number.")
    for form in what.forms:
        wide = form.eye.diameter_mm if form.eye is not None else None
        if wide is not None and form.depth_mm is not None and wide > WIDE * form.depth_mm:
            path = placement.where(what, form.size, form.variant, "eye")
            text = f"the eye is {wide:g} mm wide, the body {form.depth_mm:g} mm deep (size '{form.size}')"
            notes.add("eye-odd", path, text, "Check diameter_mm: the outermost painted ring, in millimetres.")
            break


def _years(what: Profile, notes: Notes) -> None:
    file = what.data
    parts: list[tuple[Path, str | None, str]] = [
        ((*p, "made"), level.made, str(p[0])) for p, level in levels(what) if p
    ]
    parts += [(("colourway", i, "made"), c.made, "colourway") for i, c in enumerate(file.colourway)]
    parts += [(("dated", i, "made"), d.made, "dated part") for i, d in enumerate(file.dated)]
    if file.made is None:
        return
    low, high = years.span(file.made)
    for path, made, label in parts:
        if made is None:
            continue
        first, last = years.span(made)
        if last < low or first > high:
            text = f"the {label} is of {made}, but the model of {file.made}"
        elif path[0] != "dated" and ((first < low and first != -years.OPEN) or (last > high and last != years.OPEN)):
            text = f"the {label}'s years {made} reach beyond the model's {file.made}"
        else:
            continue
        notes.add("years-contradict", path, text, "Mend the one or widen the other.")


def _labs(colourway: ColourwayTable) -> Iterator[tuple[tuple[str | int, ...], Lab]]:
    for key in ("back_lab", "belly_lab", "pattern_lab"):
        if (lab := getattr(colourway, key)) is not None:
            yield (key,), lab
    for i, zone in enumerate(colourway.zones):
        yield ("zones", i, "lab"), zone.lab


def _colours(what: Profile, notes: Notes) -> None:
    for i, colourway in enumerate(what.data.colourway):
        for path, lab in _labs(colourway):
            if vivid(lab):
                text = f"the colour {list(lab)} is more vivid than paint usually is"
                notes.add("lab-fluorescent", ("colourway", i, *path), text, "Check a* and b*: signs, decimal points.")


def _links(what: Profile, names: dict[str, str], notes: Notes) -> None:
    for key in ("same_mould_as", "cast_from", "copied_from"):
        for i, name in enumerate(getattr(what.data, key)):
            if name.casefold() == what.name.casefold():
                notes.add("linked-to-itself", (key, i), f"{name} is linked to itself", "Name the other model.")
            elif name.casefold() not in names:
                text = f"the set has no model '{name}'"
                notes.add("unknown-model", (key, i), text, 'Write it as "MAKER / MODEL", as in its own file.')


def _named(what: Profile, about: SetFile | None, notes: Notes) -> None:
    """Sizes and sources that are named but not there."""
    for table, lists in (
        ("variant", [v.sizes for v in what.data.variant]),
        ("colourway", [c.sizes for c in what.data.colourway]),
    ):
        for i, sizes in enumerate(lists):
            for code in sizes:
                if code not in what.sizes:
                    fix = f"The file's sizes are {', '.join(what.sizes)}."
                    notes.add("unknown-size", (table, i, "sizes"), f"there is no size '{code}'", fix)
    known = {source.id for source in about.source} if about is not None else set()
    for path, name in _sources(what):
        if name not in known:
            text = f"set.toml has no source with the id '{name}'"
            notes.add("unknown-source", path, text, "Add a [[source]] to set.toml, or mend the id.")


def _sources(what: Profile) -> Iterable[tuple[Path, str]]:
    for path, level in levels(what):
        if level.source is not None:
            yield (*path, "source"), level.source
    for table, named in (
        ("colourway", [c.source for c in what.data.colourway]),
        ("dated", [d.source for d in what.data.dated]),
    ):
        for i, source in enumerate(named):
            if source is not None:
                yield (table, i, "source"), source


def _file(what: Profile, files: Collection[str], notes: Notes) -> None:
    folder, _, name = what.file.partition("/")
    for part, stem, key in (
        (folder, slug(what.data.maker), "maker"),
        (name[: -len(".toml")], slug(what.data.model), "model"),
    ):
        if part != stem:
            text = f"the {'folder' if key == 'maker' else 'file'} '{part}' is not called after the {key}"
            notes.add("slug-differs", (key,), text, f"Rename it to {stem}.")
    if not what.drawings and f"{what.file[: -len('.toml')]}.svg" not in files:
        text = "there is no outline, so the shape speaks for nothing"
        notes.add("outline-none", (), text, f"Add {what.file[: -len('.toml')]}.svg.")
    if len(what.file) > LONG_PATH:
        text = f"the path has {len(what.file)} characters"
        notes.add("path-long", (), text, "Shorten the names: Windows allows 260 with the set's own folder.")


def _pieces(loaded: Loaded, what: Profile, notes: Notes) -> None:
    path = what.file.removesuffix(".toml") + ".pieces.jsonl"
    try:
        text = (loaded.folder / path).read_bytes().decode("utf-8")
        read_record(text, path)
    except FileNotFoundError:
        return
    except (OSError, UnicodeDecodeError, SetFaulty) as why:
        fix = "Restore it from a copy, or delete it: `refs add` does not go on with it."
        said = str(why).removeprefix(path).strip().rstrip(".")
        notes.found.append(Fault(path, None, None, "pieces-unreadable", said, fix))


def _files(loaded: Loaded) -> Iterable[Fault]:
    used = {d.file for p in loaded.profiles for d in p.drawings.values()} | set(loaded.outlines)
    broken = {f.file for f in loaded.errors}
    for name in loaded.files:
        stem = name[: -len(".svg")]
        if not name.lower().endswith(".svg") or name in used or {name, f"{stem}.toml"} & broken:
            continue
        text = "the drawing belongs to no model"
        yield Fault(
            name, None, None, "file-unused", text, "Name it after its model's file, or in a size's outline key."
        )


def _prior(loaded: Loaded) -> Iterable[Fault]:
    if loaded.set_file is None:
        return
    notes = Notes("set.toml", loaded.texts["set.toml"])
    makers = {p.data.maker for p in loaded.profiles}
    for maker in loaded.set_file.prior:
        if maker not in makers:
            notes.add("unknown-maker", ("prior", maker), f"the set has no maker '{maker}'", "Mend the name.")
    yield from notes.found
