"""What a photo shows, settled by the other photos of the same piece: alone it may have been left open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from identify.colour import delta_e
from identify.piece.agree import own_u
from identify.piece.unit import Shot
from identify.records import Colour, View
from identify.view import SAME, as_shown

OTHER_PROPORTION = 3.0
"""Combined standard uncertainties, and `AT_LEAST` beyond, by which a proportion must differ from that of the sides."""
AT_LEAST = 0.05
DECIDED = 0.9


def settle(shots: Sequence[Shot]) -> tuple[Shot, ...]:
    """The shots with their views settled.

    A view that was left open is a back or belly if it shows one colour on both sides of its axis, has another
    proportion than the sides, and that colour is the back's or the belly's there.  Whether back or belly, the nearer
    colour says.
    """
    sides = [s for s in shots if s.m.view.kind == "side"]
    backs = [s.m.back_colour for s in sides if s.m.back_colour is not None]
    bellies = [s.m.belly_colour for s in sides if s.m.belly_colour is not None]
    if not backs or not bellies:
        return tuple(shots)
    return tuple(_settled(s, sides, backs, bellies) for s in shots)


def _settled(shot: Shot, sides: Sequence[Shot], backs: Sequence[Colour], bellies: Sequence[Colour]) -> Shot:
    m = shot.m
    if m.view.kind not in ("unsure", "back", "belly"):
        return shot
    colours = [c for c in (m.back_colour, m.belly_colour) if c is not None]
    if not colours:
        return shot
    if m.view.kind == "unsure":
        alike = len(colours) < 2 or float(delta_e(colours[0].lab, colours[1].lab)) < SAME
        if not alike or not all(_other_proportion(shot, s) for s in sides):
            return shot
    to_back, to_belly = (min(float(delta_e(colours[0].lab, c.lab)) for c in known) for known in (backs, bellies))
    if abs(to_back - to_belly) < SAME:
        return shot
    kind: Literal["back", "belly"] = "back" if to_back < to_belly else "belly"
    if m.view.kind == "unsure":
        return replace(shot, m=as_shown(replace(m, view=View(kind, DECIDED))))
    back, belly = (colours[0], None) if kind == "back" else (None, colours[0])
    ties = m.line_ties if kind == "back" else None
    return replace(shot, m=replace(m, view=View(kind, DECIDED), back_colour=back, belly_colour=belly, line_ties=ties))


def _other_proportion(shot: Shot, side: Shot) -> bool:
    a, b = shot.m.depth_to_length, side.m.depth_to_length
    return abs(math.log(a.value / b.value)) > AT_LEAST + OTHER_PROPORTION * math.hypot(own_u(a), own_u(b))
