"""A reference set as read from its folder: frozen values that later stages share and never change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from identify.records import Polygon
from identify.reference.profile import Form

if TYPE_CHECKING:
    from identify.reference.schema import ModelFile


@dataclass(frozen=True)
class Source:
    id: str
    citation: str


@dataclass(frozen=True)
class Drawing:
    """An outline as drawn: in the bait's frame, mm, with its own length (maximum Feret diameter) and depth."""

    file: str
    outline_mm: Polygon
    length_mm: float
    depth_mm: float


@dataclass(frozen=True)
class Profile:
    """One model file with the outlines it names.

    `file` is relative to the set's folder.  `drawings` holds the model's own outline under None, a size's or a
    variant's under the file name that it gives as `outline`.
    """

    file: str
    data: ModelFile
    drawings: dict[str | None, Drawing]

    @property
    def name(self) -> str:
        """MAKER / MODEL."""
        return f"{self.data.maker} / {self.data.model}"

    @property
    def sizes(self) -> tuple[str, ...]:
        """Codes of the sizes; a size without a code is called by its place, from 1."""
        return tuple(size.code if size.code is not None else str(i + 1) for i, size in enumerate(self.data.size))

    @cached_property
    def forms(self) -> tuple[Form, ...]:
        """Every size and variant with its values resolved, as of the first of the sets that are asked."""
        from identify.reference.forms import forms_of

        return tuple(forms_of(self, 0))


@dataclass(frozen=True)
class ReferenceSet:
    """A whole set.  `index` is its place among the sets that are asked, `sha256` that of its .toml and .svg files."""

    folder: Path
    index: int
    title: str
    description: str
    editor: str
    licence: str
    sources: tuple[Source, ...]
    prior: tuple[tuple[str, float], ...]
    sha256: str
    profiles: Sequence[Profile]
    names: tuple[str, ...] = ()
    """Of the profiles, in their order: MAKER / MODEL."""

    @cached_property
    def _places(self) -> dict[str, int]:
        return {name.casefold(): i for i, name in enumerate(self.names)}

    def named(self, name: str) -> Profile | None:
        """The model called MAKER / MODEL, in whatever case."""
        place = self._places.get(name.casefold())
        return None if place is None else self.profiles[place]

    @cached_property
    def _forms(self) -> tuple[Form, ...]:
        forms = (form for profile in self.profiles for form in profile.forms)
        return tuple(forms) if self.index == 0 else tuple(replace(form, set=self.index) for form in forms)

    def forms(self) -> tuple[Form, ...]:
        """Every maker, model, size and variant with its values resolved, in the order of files, sizes, variants."""
        return self._forms
