"""From the cells of one zone to a Colour: what the surface shows, the paint below its gloss, and how sure each is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from identify.card.medians import median, middle, quantile
from identify.colour import delta_e, hex_of, iscc_nbs, linear_to_lab, munsell
from identify.geometry import Array
from identify.paint.shading import LUMINANCE
from identify.records import Colour

VEIL = 0.004
"""Reflectance that a glossy coat adds by mirroring the even part of the light (about 4 % of it, Fresnel at normal
incidence of an index of 1.5, less what the robust medians leave out as highlights)."""
TRANSMITTANCE = 0.97
"""Of the coat, in and out, against the matt card."""
SAME = 8.0
"""Cells within this weighted CIEDE2000 have the zone's colour."""
ENOUGH = 200
"""Cells of a zone that tell how alike its colours are."""
FAINT = 0.35
"""Cells lit less than this in proportion to the card count only where there are no others."""
OBLIQUE = 0.08
"""How fast light on a zone grows uncertain as it is lit less, or more, than the card."""
UNSTEADY = 2.0
"""Uncertainties of finishes whose colour depends on the light, against those of paint."""


def read_colour(
    rgb: NDArray[np.float32],
    factor: Array,
    cells: NDArray[np.bool_],
    u_light: float,
    calibrated: bool,
    hard: bool = False,
) -> Colour | None:
    """The colour of the paint in `cells` (h, w) bool; None when too few are left.

    `rgb` (h, w, 3): reflectance as photographed; `factor` (h, w): light on each cell over that on the card; `u_light`:
    relative standard uncertainty of that factor; `calibrated`: white balance and exposure come from a card; `hard`: the
    finish is hard to read.
    """
    lit = cells & (factor > FAINT)
    chosen = lit if lit.sum() >= 40 else cells
    if chosen.sum() < 12:
        return None
    flat = np.maximum(rgb[chosen] / factor[chosen][:, None], 0.0)
    seen_rgb = _typical(flat)
    seen = linear_to_lab(seen_rgb)
    labs = linear_to_lab(flat[:: max(1, len(flat) // ENOUGH)])
    share = float(np.mean(delta_e(labs, seen, weights=(2, 1, 1)) < SAME))
    paint = np.clip((seen_rgb - VEIL) / TRANSMITTANCE, 0.003, 1.0)
    lab = linear_to_lab(paint)
    ranked = np.sort(labs, axis=0)
    spread = (ranked[(3 * len(labs)) // 4] - ranked[len(labs) // 4]) / 1.349
    u_light = float(np.hypot(u_light, OBLIQUE * abs(1 / median(factor[chosen]) - 1)))
    u_lch, u_seen = _uncertainty(lab, spread, u_light, calibrated)
    if hard:
        u_lch, u_seen = (UNSTEADY * u_lch[0], UNSTEADY * u_lch[1], UNSTEADY * u_lch[2]), UNSTEADY * u_seen
    u = _as_ciede2000(lab, u_lch)
    return Colour(
        lab=_triple(lab),
        u=u,
        u_lch=u_lch,
        lab_seen=_triple(seen),
        u_seen=u_seen,
        share=share,
        hex=hex_of(lab),
        munsell=munsell(lab),
        name=iscc_nbs(lab),
    )


def _typical(rgb: Array) -> Array:
    """Median of the mid tones: the darkest tenth and the brightest sixth, where gloss sits, left out."""
    y = rgb @ LUMINANCE
    return middle(rgb[(y >= quantile(y, 0.10)) & (y <= quantile(y, 0.84))])


def _uncertainty(
    lab: Array, spread: Array, u_light: float, calibrated: bool
) -> tuple[tuple[float, float, float], float]:
    """Standard uncertainties of lightness, chroma and hue (as ΔH*, all in CIELAB units), and of what is seen.

    Lightness: light on the flank (dL*/dln Y = (L* + 16) / 3), an unknown tone curve, nil at the card's mid grey and
    growing away from it, and spread.  Chroma and hue: the camera's colour matrix and tone curve, which grow with
    chroma.
    """
    lightness, chroma = float(lab[0]), float(np.hypot(lab[1], lab[2]))
    from_light = (lightness + 16) / 3 * u_light
    from_curve = 3.8 * min(1.0, abs(lightness - 49.5) / 25)
    u_l = float(np.sqrt(from_light**2 + from_curve**2 + (0.3 * spread[0]) ** 2 + 1.8**2))
    u_c = float(np.hypot(1.8, 0.125 * chroma))
    u_h = float(np.hypot(1.3, 0.055 * chroma))
    if not calibrated:
        u_l, u_c, u_h = float(np.hypot(u_l, 18.0)), float(np.hypot(u_c, 9.0)), float(np.hypot(u_h, 9.0))
    return (u_l, u_c, u_h), float(np.hypot(0.8 * from_light, 1.5 if calibrated else 12.0))


def _as_ciede2000(lab: Array, u_lch: tuple[float, float, float]) -> float:
    """The three uncertainties as one figure: what each moves the colour in CIEDE2000, added in quadrature."""
    hue = float(np.arctan2(lab[2], lab[1]))
    along, across = np.array([0, np.cos(hue), np.sin(hue)]), np.array([0, -np.sin(hue), np.cos(hue)])
    up = np.array([1.0, 0.0, 0.0])
    away = np.array([lab + up * u_lch[0], lab + along * u_lch[1], lab + across * u_lch[2]])
    return float(np.sqrt((delta_e(lab, away) ** 2).sum()))


def _triple(values: Array) -> tuple[float, float, float]:
    a, b, c = (float(v) for v in values)
    return a, b, c
