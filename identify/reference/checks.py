"""Faults that lie between values: codes, places, outlines, names of files.  Each keeps a set from being used."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from identify.reference import placement
from identify.reference.faults import Fault
from identify.reference.forms import depth_of, drawing_for
from identify.reference.parse import Notes
from identify.reference.schema import SetFile
from identify.reference.sets import Profile
from identify.reference.slugs import storable
from identify.reference.svgfile import Outline

SHORTEST_MM, LONGEST_MM = 8.0, 1000.0
SCALE_SLACK = 0.03
PROPORTION_SLACK = 0.06


def set_file(data: SetFile, notes: Notes) -> None:
    """Faults within set.toml."""
    seen: set[str] = set()
    for i, source in enumerate(data.source):
        if source.id in seen:
            notes.add("duplicate-source", ("source", i, "id"), f"the source {source.id} stands twice", "Rename one.")
        seen.add(source.id)


def profile(what: Profile, outlines: Mapping[str, Outline], notes: Notes) -> None:
    """Faults within one model file and its outlines."""
    _codes(what, notes)
    _lengths(what, notes)
    _rings(what, notes)
    if not notes.found:
        _outlines(what, outlines, notes)


def _codes(what: Profile, notes: Notes) -> None:
    file = what.data
    for table, codes in (
        ("size", what.sizes),
        ("variant", [v.code for v in file.variant]),
        ("colourway", [c.code for c in file.colourway]),
    ):
        for i, code in enumerate(codes):
            if code in codes[:i]:
                fix = "Give each its own code, or remove one."
                notes.add("duplicate-code", (table, i, "code"), f"the {table} '{code}' stands twice", fix)
    for i, colourway in enumerate(file.colourway):
        kinds = [zone.kind for zone in colourway.zones]
        for kind in sorted({k for k in kinds if kinds.count(k) > 1}):
            notes.add("zone-twice", ("colourway", i, "zones"), f"the zone {kind} stands twice", "Keep one.")


def _lengths(what: Profile, notes: Notes) -> None:
    for i, size in enumerate(what.data.size):
        length, depth = size.length_mm, size.depth_mm
        if not SHORTEST_MM <= length <= LONGEST_MM:
            fix = "Give millimetres: 63.5, not 6.35 (centimetres) or 2.5 (inches)."
            notes.add("length-absurd", ("size", i, "length_mm"), f"{length:g} mm cannot be a bait's length", fix)
        if depth is not None and depth > length:
            text = f"the depth of {depth:g} mm is greater than the length of {length:g} mm"
            notes.add("depth-absurd", ("size", i, "depth_mm"), text, "Check both, and their unit.")
        if size.thickness_mm is not None and size.thickness_mm > length:
            text = f"the thickness of {size.thickness_mm:g} mm is greater than the length of {length:g} mm"
            notes.add("depth-absurd", ("size", i, "thickness_mm"), text, "Check both, and their unit.")


def _rings(what: Profile, notes: Notes) -> None:
    for path, level in placement.levels(what):
        for key, rings in (("line_ties", level.line_ties), ("hangers", level.hangers)):
            if rings is None:
                continue
            if rings.count is None and rings.at_mm is None:
                text = f"{key} says neither count nor at_mm"
                notes.add("ring-count", (*path, key), text, "Add count = …, or leave the key out if it is not known.")
            elif rings.count is not None and rings.at_mm is not None and rings.count != len(rings.at_mm):
                text = f"{key} counts {rings.count}, but gives {len(rings.at_mm)} place(s)"
                notes.add("ring-count", (*path, key), text, "Give every place, or leave at_mm out.")


def _outlines(what: Profile, outlines: Mapping[str, Outline], notes: Notes) -> None:
    for i, size in enumerate(what.data.size):
        if (drawn := drawing_for(what, size, None)) is None or drawn[1] is not size:
            continue
        drawing = drawn[0]
        place = outlines[drawing.file].line
        ratio = drawing.length_mm / size.length_mm
        if abs(ratio - 1) > SCALE_SLACK:
            text = (
                f"the outline is {drawing.length_mm:.1f} mm long, but the size '{what.sizes[i]}' {size.length_mm:g} mm"
            )
            fix = "Draw it at that length, one unit of the viewBox a millimetre, or mend the length."
            _in_svg(notes, "outline-scale", drawing.file, place, text, fix)
        elif (depth := depth_of(what, size)) is not None:
            wide = drawing.depth_mm / drawing.length_mm / (depth / size.length_mm)
            if abs(wide - 1) > PROPORTION_SLACK:
                text = f"the outline is {drawing.depth_mm:.1f} mm deep, but depth_mm is {depth:g}"
                fix = "Mend depth_mm (greatest extent at right angles to the length) or the drawing."
                _in_svg(notes, "outline-proportion", drawing.file, place, text, fix)
    placement.errors(what, notes)


def _in_svg(notes: Notes, code: str, file: str, line: int, text: str, fix: str) -> None:
    notes.found.append(Fault(file, line, None, code, text, fix))


def of_set(profiles: Sequence[Profile], texts: Mapping[str, str]) -> list[Fault]:
    """Faults between the files of a set."""
    found: list[Fault] = []
    models: dict[tuple[str, str], str] = {}
    paths: dict[str, str] = {}
    for what in profiles:
        notes = Notes(what.file, texts[what.file])
        key = (what.data.maker.casefold(), what.data.model.casefold())
        if (other := models.setdefault(key, what.file)) != what.file:
            text = f"{what.name} is described in {other} too"
            notes.add("duplicate-model", ("model",), text, "Join the two files, or rename one model.")
        for place in (what.file, what.file.partition("/")[0]):
            if (other := paths.setdefault(place.casefold(), place)) != place:
                text = f"'{place}' and '{other}' differ in upper and lower case only"
                notes.add("slug-case", (), text, "Rename one, and the outline with its model.")
                break
        for part in what.file.split("/"):
            if why := storable(part):
                notes.add("slug-reserved", (), f"'{part}' cannot be stored everywhere: {why}", "Rename it.")
        found += notes.found
    return found
