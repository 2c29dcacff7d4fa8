"""Ageing: one yellow film and one loss of chroma over all paints of a piece, so that an aged paint job is told from a
new one.

A clear coat that yellows absorbs blue most: its density falls off towards red exponentially, as that of aged varnishes
and nitrocellulose does (an Urbach tail).  The film is a density for each channel of linear sRGB at the wavelength where
that channel weighs most; fading draws a paint towards the grey of its own lightness.  Amounts are told from 0 to 1:
yellowing as the share of blue light that the film keeps back, fading as the share of chroma lost.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from identify.colour import lab_to_linear, linear_to_lab
from identify.geometry import Array
from identify.records import Ageing, Quantity

CHANNELS_NM = (610.0, 545.0, 455.0)
"""Where red, green and blue of sRGB weigh most."""
DECAY_PER_NM = 0.014
"""How fast a yellowed film's density falls towards red (common practice, no published source)."""
YELLOWING = ((0.0, 0.70), (0.1, 0.12), (0.2, 0.07), (0.3, 0.045), (0.4, 0.03), (0.5, 0.02), (0.6, 0.015))
FADING = ((0.0, 0.80), (0.15, 0.11), (0.3, 0.06), (0.45, 0.03))
"""Amounts that are weighed, with how common they are among old pieces whose colours a set lists (bench).  Less than
half the first step is within the tolerance of any paint."""


@dataclass(frozen=True, eq=False)
class Grid:
    """Amounts weighed together, g of them, the first one no ageing: `yellowing`, `fading` and `chance`, each (g,)."""

    yellowing: Array
    fading: Array
    chance: Array


@lru_cache(maxsize=1)
def grid() -> Grid:
    (yellow, p_yellow), (fade, p_fade) = (np.array(table).T for table in (YELLOWING, FADING))
    y, f = (a.ravel() for a in np.meshgrid(yellow, fade, indexing="ij"))
    return Grid(y, f, np.outer(p_yellow, p_fade).ravel())


def film(yellowing: ArrayLike) -> Array:
    """Transmittance (..., 3) in linear sRGB of a film that keeps back so much blue light."""
    density = np.exp(-DECAY_PER_NM * (np.array(CHANNELS_NM) - CHANNELS_NM[2]))
    through: Array = (1 - np.asarray(yellowing, float))[..., None] ** density
    return through


def aged(lab: ArrayLike, yellowing: ArrayLike, fading: ArrayLike) -> Array:
    """What paints (..., 3), CIELAB, show once they have faded and lie under a yellowed film; amounts broadcast."""
    kept = 1 - np.asarray(fading, float)
    faded = np.asarray(lab, float) * np.stack([np.ones_like(kept), kept, kept], axis=-1)
    return linear_to_lab(lab_to_linear(faded) * film(yellowing))


def unaged(lab: ArrayLike, yellowing: ArrayLike, fading: ArrayLike) -> Array:
    """The inverse of `aged`."""
    kept = 1 - np.asarray(fading, float)
    cleaned = linear_to_lab(lab_to_linear(lab) / film(yellowing))
    own: Array = cleaned / np.stack([np.ones_like(kept), kept, kept], axis=-1)
    return own


def when_new(labs: ArrayLike) -> tuple[Array, Array]:
    """Colours (z, 3) as they would have been when new for each amount of `grid`: (z, g, 3), and there the derivatives
    (z, g, 3, 3) of what shows (last axis) by what was painted (third axis)."""
    amounts = grid()
    shown = np.asarray(labs, float)[:, None]
    new = unaged(shown, amounts.yellowing, amounts.fading)
    step = 0.5
    shifted = new[:, :, None] + step * np.eye(3)
    slopes = (aged(shifted, amounts.yellowing[:, None], amounts.fading[:, None]) - shown[:, :, None]) / step
    return new, slopes


def estimate(chance: Array) -> Ageing:
    """Mean and standard uncertainty of both amounts from how likely (g,) each of the grid is; the steps between the
    amounts weighed count as uncertainty too (JCGM 100, 4.3.7)."""
    amounts = grid()
    share = chance / chance.sum()

    def quantity(values: Array, step: float) -> Quantity:
        mean = float(share @ values)
        return Quantity.of(mean, colours=math.sqrt(share @ np.square(values - mean)), steps=step / math.sqrt(12))

    return Ageing(
        quantity(amounts.yellowing, YELLOWING[1][0] - YELLOWING[0][0]),
        quantity(amounts.fading, FADING[1][0] - FADING[0][0]),
    )
