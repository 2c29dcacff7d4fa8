"""Rows of the tables that `refs list` and `refs show` print: flat values, the same keys in every row."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from identify.errors import BadOption, SetFaulty, SetMissing
from identify.records import Lab
from identify.reference.find import find, plain
from identify.reference.profile import Form
from identify.reference.reader import read
from identify.reference.sets import Profile, ReferenceSet

NEAREST = 3
"""So many names that come near are told."""


@dataclass(frozen=True)
class SetRow:
    """One set of a folder.  `fault` says why it cannot be used; the counts are then None."""

    path: str
    title: str | None
    models: int | None
    sizes: int | None
    colourways: int | None
    sha256: str | None
    fault: str | None


@dataclass(frozen=True)
class ColourwayRow:
    code: str
    name: str
    back_lab: Lab | None
    belly_lab: Lab | None
    pattern: str | None
    finish: str | None
    made: str | None
    known_by: str | None
    source: str | None


@dataclass(frozen=True)
class ModelRow:
    """One maker, model, size and variant as it counts in ranking.  `known_by` is the weakest link of maker and model,
    line ties and hangers."""

    maker: str
    model: str
    size: str
    variant: str | None
    made: str | None
    known_by: str | None
    length_mm: float
    tolerance_mm: float | None
    depth_mm: float | None
    thickness_mm: float | None
    weight_g: float | None
    line_ties: int | None
    hangers: int | None
    hooks: int | None
    eye: str | None
    lip: str | None
    material: str | None
    outline: bool
    also_called: tuple[str, ...]
    formerly: tuple[str, ...]
    linked: tuple[str, ...]
    notes: str
    file: str
    colourways: tuple[ColourwayRow, ...] = field(default=())


def set_row(folder: Path) -> SetRow:
    """A set's row; a set that cannot be used has the reason in it.  Raises SetMissing if there is no set at all."""
    try:
        found = read(folder)
    except SetFaulty as why:
        return SetRow(str(folder), None, None, None, None, None, why.message)
    return SetRow(
        path=str(folder),
        title=found.title,
        models=len(found.profiles),
        sizes=sum(len(p.data.size) for p in found.profiles),
        colourways=sum(len(p.data.colourway) for p in found.profiles),
        sha256=found.sha256,
        fault=None,
    )


def set_rows(folder: Path) -> tuple[SetRow, ...]:
    """The sets in a folder: the folder itself if it is one, and those directly below it, by name.

    Raises SetMissing if there is no such folder.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise SetMissing(f"There is no folder {folder}.", "Name a folder that holds reference sets.")
    places = [folder, *sorted(p for p in folder.iterdir() if p.is_dir() and not p.name.startswith("."))]
    return tuple(set_row(p) for p in places if (p / "set.toml").is_file())


def model_rows(found: ReferenceSet, which: str | None = None) -> tuple[ModelRow, ...]:
    """The forms of a set, or of one "MAKER / MODEL" or "MAKER" of it (upper and lower case alike).

    Raises BadOption if the set has no such maker or model.
    """
    by_name = {p.name: p for p in found.profiles}
    rows = tuple(
        _row(by_name[f"{form.maker} / {form.model}"], form)
        for form in found.forms()
        if which is None or which.casefold() in (f"{form.maker} / {form.model}".casefold(), form.maker.casefold())
    )
    if which is not None and not rows:
        raise BadOption(f"The set '{found.title}' has no '{which}'.", _near(found, which))
    return rows


def _near(found: ReferenceSet, which: str) -> str:
    """What may have been meant by a name that the set does not have."""
    names = [f'"{row.maker} / {row.model}"' for row in find(found, which)[:NEAREST]] if plain(which) else []
    if not names:
        return f'See what it has with: baitprint refs show "{found.folder}"; write a model as "MAKER / MODEL".'
    return f"Is it {' or '.join(names)}?"


def _linked(profile: Profile) -> Iterator[str]:
    for words, names in (
        ("same mould as", profile.data.same_mould_as),
        ("cast from", profile.data.cast_from),
        ("copied from", profile.data.copied_from),
    ):
        yield from (f"{words} {name}" for name in names)


def _row(profile: Profile, form: Form) -> ModelRow:
    ties, hangers = form.line_ties, form.hangers
    return ModelRow(
        maker=form.maker,
        model=form.model,
        size=form.size,
        variant=form.variant,
        made=form.made,
        known_by=form.known_by,
        length_mm=form.length_mm,
        tolerance_mm=form.tolerance_mm,
        depth_mm=form.depth_mm,
        thickness_mm=form.thickness_mm,
        weight_g=form.weight_g,
        line_ties=ties.count if ties else None,
        hangers=hangers.count if hangers else None,
        hooks=form.hooks,
        eye=form.eye.kind if form.eye else None,
        lip=form.lip,
        material=form.material,
        outline=form.outline_mm is not None,
        also_called=profile.data.also_called,
        formerly=profile.data.formerly,
        linked=tuple(_linked(profile)),
        notes=profile.data.notes,
        file=profile.file,
        colourways=tuple(
            ColourwayRow(c.code, c.name, c.back_lab, c.belly_lab, c.pattern, c.finish, c.made, c.known_by, c.source)
            for c in form.colourways
        ),
    )
