"""Figures of colour: against the paint of the truth, and of one piece in two photos."""

from __future__ import annotations

import numpy as np

from identify.colour import delta_e
from tests.benchmarks.collect import Match
from tests.benchmarks.figure import Figure, middle, share


def colour_figures(matches: list[Match]) -> list[Figure]:
    """CIEDE2000 of back and belly against the paint, plain finishes and leaf or clear apart; patterns and zones."""
    plain: list[float] = []
    flat: list[float] = []
    hard: list[float] = []
    ratio: list[float] = []
    flags, pattern = [], []
    found, claimed = [], []
    for m in matches:
        if not m.bait or "back_lab_d50" not in m.truth:
            continue
        measured = m.bait.measurement
        difficult = bool(m.truth["foil"] or m.truth["translucent"])
        flags.append(bool(measured.hard_to_read) == difficult)
        for side in ("back", "belly"):
            colour = getattr(measured, f"{side}_colour")
            if colour is None:
                continue
            true = np.array(m.truth[f"{side}_lab_d50"])
            error = float(delta_e(colour.lab, true))
            (hard if difficult else plain).append(error)
            if not difficult:
                flat.append(float(delta_e(colour.lab, true, ignore_lightness=True)))
                ratio.append(error / colour.u)
        if measured.pattern:
            true_kind = "dots" if m.truth["dots"] else "bars" if m.truth["bars"] else "neither"
            pattern.append(
                (measured.pattern.kind if measured.pattern.kind in ("dots", "bars") else "neither") == true_kind
            )
        kinds = {{"stripe": "side"}.get(z["kind"], z["kind"]) for z in m.truth["zones"]}
        seen = {z.kind for z in measured.zones}
        found += [k in seen for k in kinds]
        claimed.append(bool(seen - kinds))
    return [
        middle("colour against paint, median CIEDE2000", plain, "", "<= 6 (4.5)"),
        middle("the same, lightness left out", flat, "", "<= 3.2"),
        middle("colour against paint, leaf and clear", hard, "", ""),
        middle("colour: median error / u", ratio, "", "about 0.7"),
        share("leaf and clear flagged right", flags, ""),
        share("dots and bars told", pattern, ""),
        share("other zones found", found, ">= 85 %"),
        share("baits with a zone claimed that is not there", claimed, "<= 10 %"),
    ]
