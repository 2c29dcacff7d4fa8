"""A prepared set as named arrays, and back: nothing that could run is ever stored."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

import numpy as np

from identify.rank import Noise, Prepared
from identify.rank.background import Background
from identify.rank.covariance import outline_axes
from identify.rank.palette import ZONES, Coats, Looks, Palette
from identify.rank.prepared import BY_FORM, KINDS
from identify.rank.rings import Rings
from identify.reference.profile import Colourway, Form

PLAIN = (*BY_FORM, "maker_of_model")
LISTS = ("listed", "starts", "counts", "list_of")
Arrays = dict[str, Any]


def to_arrays(p: Prepared) -> Arrays:
    """Everything but names, forms and colourways."""
    coats = p.palette.coats
    return {
        **_fields(p, PLAIN),
        **{f"kinds.{key}": kinds for key, kinds in p.kinds.items()},
        **{f"kind_shares.{key}": shares for key, shares in p.kind_shares.items()},
        **_fields(p.ties, _names(Rings), "ties."),
        **_fields(p.hangers, _names(Rings), "hangers."),
        **_fields(p.palette, LISTS, "palette."),
        **_fields(coats, ("back", "belly", "look"), "coats."),
        **{f"coats.{kind}": coats.zones[kind] for kind in ZONES},
        **_fields(coats.looks, _names(Looks), "looks."),
        **_fields(p.background, _names(Background), "background."),
    }


def from_arrays(
    found: Mapping[str, Any],
    makers: Sequence[str],
    models: Sequence[tuple[str, str]],
    forms: Sequence[Form],
    colourways: Sequence[Colourway],
    noise: Noise,
) -> Prepared:
    """The inverse of `to_arrays`.  Raises KeyError for arrays that are not there, ValueError if they do not fit."""
    look = found["coats.look"]
    if len(found["maker"]) != len(forms) or len(look) != len(colourways):
        raise ValueError("the arrays are those of another set")
    zones = {kind: found[f"coats.{kind}"] for kind in ZONES}
    coats = Coats(
        found["coats.back"], found["coats.belly"], zones, look, Looks(**_take(found, _names(Looks), "looks."))
    )
    background = _take(found, _names(Background), "background.")
    return Prepared(
        forms=forms,
        noise=noise,
        axes=outline_axes(noise),
        makers=tuple(makers),
        models=tuple(models),
        **_take(found, PLAIN),
        kinds=_take(found, tuple(KINDS), "kinds."),
        kind_shares=_take(found, tuple(KINDS), "kind_shares."),
        ties=Rings(**_take(found, _names(Rings), "ties.")),
        hangers=Rings(**_take(found, _names(Rings), "hangers.")),
        palette=Palette(colourways=colourways, coats=coats, **_take(found, LISTS, "palette.")),
        background=Background(
            **background
            | {
                "ln_length": _pair(background["ln_length"]),
                "ln_aspect": _pair(background["ln_aspect"]),
                "outline_log_scale": float(background["outline_log_scale"]),
            }
        ),
    )


def _names(kind: type) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))


def _fields(value: object, names: Sequence[str], prefix: str = "") -> Arrays:
    return {f"{prefix}{name}": np.asarray(getattr(value, name)) for name in names}


def _take(found: Mapping[str, Any], names: Sequence[str], prefix: str = "") -> Arrays:
    return {name: found[f"{prefix}{name}"] for name in names}


def _pair(values: Any) -> tuple[float, float]:
    return float(values[0]), float(values[1])
