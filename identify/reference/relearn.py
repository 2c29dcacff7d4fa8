"""A model's files brought to what its pieces say, and a person's words in them kept."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from identify import __version__
from identify.errors import NotLearned
from identify.geometry import Array
from identify.reference import write
from identify.reference.learn import Held, Learned, learn
from identify.reference.load import load_model
from identify.reference.merge import JOIN, Merged, merge, nested
from identify.reference.parse import Notes, parse_toml
from identify.reference.pieces import Piece, Record, Written
from identify.reference.sets import Profile
from identify.reference.svgfile import SvgFault, read_outline


@dataclass(frozen=True)
class Relearned:
    """A model's files as they should be: outlines by name, None for one that goes; and the profile that they are."""

    merged: Merged
    outlines: dict[str, bytes | None]
    record: Record
    learned: Learned | None
    profile: Profile | None


def relearned(
    file: str,
    text: str | None,
    outlines: Mapping[str, bytes],
    written: Written,
    maker: str,
    model: str,
    pieces: tuple[Piece, ...],
) -> Relearned:
    """A model's files brought to what its pieces say, what a person wrote kept.  Raises NotLearned if the two do not go
    together."""
    ours = {name for name, said in written.drawn.items() if name in outlines and _hash(outlines[name]) == said}
    untouched = text is not None and bool(written.values) and text == _as_written(written)
    if untouched and ours == set(written.drawn):
        text, before = None, {}
    else:
        before = written.values
    learned = learn(maker, model, pieces, _held(text, before)) if pieces else None
    merged = merge(text, learned.values if learned else {}, before)
    drawn, changed = {}, {}
    for name, outline in (learned.drawn if learned else {}).items():
        svg = _drawn(outline, f"{maker} / {model}")
        if name not in outlines or name in ours:
            changed[name] = svg
            drawn[name] = _hash(svg)
    gone: dict[str, bytes | None] = dict.fromkeys(ours - set(drawn))
    record = Record(written=Written(version=__version__, values=merged.values, drawn=drawn), pieces=pieces)
    drawings: dict[str, bytes | None] = {**changed, **gone}
    profile = None
    if merged.text is not None:
        kept = {name: content for name, content in {**outlines, **drawings}.items() if content is not None}
        profile = must_hold(file, merged.text, kept)
    return Relearned(merged, drawings, record, learned, profile)


def _drawn(outline: Array, title: str) -> bytes:
    """An outline as SVG; in straight lines where curves would cross at a sharp end."""
    svg = write.outline_svg(outline, title).encode()
    try:
        read_outline(svg)
    except SvgFault:
        return write.outline_svg(outline, title, curved=False).encode()
    return svg


def must_hold(file: str, text: str, outlines: Mapping[str, bytes]) -> Profile:
    """The profile that a model file and the outlines of its maker's folder would be.  Raises NotLearned if they would
    be faulty."""
    maker = file.rpartition("/")[0]
    loaded = load_model(file, {file: text.encode(), **{f"{maker}/{name}": svg for name, svg in outlines.items()}})
    if loaded.errors:
        fault = loaded.errors[0]
        raise NotLearned(f"What was learned does not go with {fault.where}: {fault.text}.", fault.fix)
    return loaded.profiles[0]


def _as_written(written: Written) -> str:
    try:
        return write.model_text(nested({tuple(name.split(JOIN)): value for name, value in written.values.items()}))
    except TypeError:  # not by this program
        return ""


def _held(text: str | None, written: Mapping[str, Any]) -> Held:
    """What a person wrote of sizes in a file, and its first size."""
    values = parse_toml(text, Notes("")) if text is not None else None
    if not values or not values.get("size"):
        return Held()
    sizes = {}
    for i, size in enumerate(values["size"]):
        code = str(size.get("code", i + 1))
        for key in ("length_mm", "depth_mm"):
            if key in size and written.get(JOIN.join(("size", code, key))) != size[key]:
                sizes[code, key] = float(size[key])
    head = values["size"][0]
    return Held(sizes, (str(head.get("code", "1")), float(head["length_mm"]), head.get("depth_mm")))


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
