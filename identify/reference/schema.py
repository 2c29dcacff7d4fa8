"""The TOML files of a reference set as pydantic models: every key, its type and the range of its value.

Unknown keys are faults, so that a misspelt key is not silently ignored.  Values that must fit each other are the
business of `checks`.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, Strict, StringConstraints
from pydantic_core import PydanticCustomError

from identify.reference import surface, years

SCHEMA = 1
CONTROL = re.compile(r"[\x00-\x1f]")

Pattern = Literal["plain", "dots", "bars", "blend", "other"]
KnownBy = Literal["marked", "paper", "told", "collectors", "tool"]
Material = Literal["wood", "plastic", "metal", "rubber", "other"]
Hardware = Literal["screw-eye", "wire", "plate", "cup", "other"]
LipKind = Literal["none", "metal", "plastic", "other"]
EyeKind = Literal["painted", "glass", "tack", "none"]


def _version(value: int) -> int:
    if value != SCHEMA:
        raise PydanticCustomError(
            "schema-unknown",
            "schema {value} is not known here",
            {"value": value, "fix": f"Write schema = {SCHEMA}, or use a newer version of this program."},
        )
    return value


def _name(value: str) -> str:
    if not value.strip() or " / " in value or value != value.strip() or CONTROL.search(value):
        raise PydanticCustomError(
            "bad-name",
            "'{value}' cannot be a name",
            {
                "value": value,
                "fix": "Write a name of at least one letter, without ' / ' and without space at its ends.",
            },
        )
    return value


def _made(value: str) -> str:
    try:
        years.span(value)
    except ValueError as why:
        raise PydanticCustomError(
            "made-invalid",
            "'{value}' is not a date as EDTF",
            {"value": value, "fix": f"EDTF: {why}. Spans are written 1936/1957, before ../1941, about 1936~."},
        ) from None
    return value


def _lab(value: tuple[float, float, float]) -> tuple[float, float, float]:
    if why := surface.impossible(value):
        raise PydanticCustomError(
            "lab-impossible",
            "no surface can have the colour {value}",
            {"value": str(list(value)), "fix": f"{why[0].upper()}{why[1:]}. Give L*, a*, b* of CIELAB under D50."},
        )
    return value


def _some(value: tuple[SizeTable, ...]) -> tuple[SizeTable, ...]:
    if not value:
        raise PydanticCustomError("missing-key", "there is no size", {"fix": "Add one [[size]] with length_mm."})
    return value


Text = Annotated[str, Strict()]
Line = Annotated[str, Strict(), StringConstraints(min_length=1)]
Name = Annotated[str, Strict(), AfterValidator(_name)]
Made = Annotated[str, Strict(), AfterValidator(_made)]
Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
Positive = Annotated[float, Strict(), Field(gt=0, allow_inf_nan=False)]
Count = Annotated[int, Strict(), Field(ge=0, le=99)]
PointMm = tuple[Number, Number]
LabValue = Annotated[tuple[Number, Number, Number], AfterValidator(_lab)]
Version = Annotated[int, Strict(), AfterValidator(_version)]


class Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class RingsTable(Table):
    count: Count | None = None
    at_mm: tuple[PointMm, ...] | None = None
    tolerance_mm: Positive | None = None
    known_by: KnownBy | None = None


class EyeTable(Table):
    at_mm: PointMm | None = None
    diameter_mm: Positive | None = None
    tolerance_mm: Positive | None = None
    kind: EyeKind | None = None
    known_by: KnownBy | None = None


class Places(Table):
    """What may stand at the top of a model file, in a size and in a variant."""

    made: Made | None = None
    known_by: KnownBy | None = None
    material: Material | None = None
    parts: Annotated[int, Strict(), Field(ge=1, le=99)] | None = None
    hooks: Count | None = None
    lip: LipKind | None = None
    tie_kind: Hardware | None = None
    hanger_kind: Hardware | None = None
    line_ties: RingsTable | None = None
    hangers: RingsTable | None = None
    eye: EyeTable | None = None
    notes: Text = ""
    source: Line | None = None


class SizeTable(Places):
    code: Name | None = None
    length_mm: Positive
    depth_mm: Positive | None = None
    thickness_mm: Positive | None = None
    weight_g: Positive | None = None
    tolerance_mm: Positive | None = None
    depth_tolerance_mm: Positive | None = None
    outline: Line | None = None
    outline_tolerance_mm: Positive | None = None


class VariantTable(Places):
    code: Name
    sizes: tuple[Name, ...] = ()
    outline: Line | None = None
    outline_tolerance_mm: Positive | None = None


class ZoneTable(Table):
    kind: Literal["head", "side", "tail", "throat"]
    lab: LabValue


class ColourwayTable(Table):
    code: Name
    name: Name | None = None
    back_lab: LabValue | None = None
    belly_lab: LabValue | None = None
    basis: Literal["paint", "photo"] = "paint"
    pattern: Pattern | None = None
    pattern_lab: LabValue | None = None
    zones: tuple[ZoneTable, ...] = ()
    finish: Literal["paint", "leaf", "clear"] | None = None
    sizes: tuple[Name, ...] = ()
    made: Made | None = None
    known_by: KnownBy | None = None
    notes: Text = ""
    source: Line | None = None


class DatedTable(Table):
    part: Line
    text: Line
    made: Made
    source: Line | None = None


class ModelFile(Places):
    """One `<maker-slug>/<model-slug>.toml`."""

    schema_: Version = Field(alias="schema")
    outline_tolerance_mm: Positive | None = None
    maker: Name
    model: Name
    also_called: tuple[Line, ...] = ()
    formerly: tuple[Line, ...] = ()
    view: Literal["side"] = "side"
    same_mould_as: tuple[Line, ...] = ()
    cast_from: tuple[Line, ...] = ()
    copied_from: tuple[Line, ...] = ()
    size: Annotated[tuple[SizeTable, ...], AfterValidator(_some)]
    variant: tuple[VariantTable, ...] = ()
    colourway: tuple[ColourwayTable, ...] = ()
    dated: tuple[DatedTable, ...] = ()


class SourceTable(Table):
    id: Line
    citation: Line


class SetFile(Table):
    """`set.toml`."""

    schema_: Version = Field(alias="schema")
    title: Line
    description: Text = ""
    editor: Text = ""
    licence: Text = ""
    source: tuple[SourceTable, ...] = ()
    prior: dict[Name, Annotated[float, Strict(), Field(ge=0, allow_inf_nan=False)]] = Field(default_factory=dict)
