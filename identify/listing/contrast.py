"""Back against belly: what colours say where no card tells the light.

Light that falls on back and belly alike, and how the camera answers it, multiplies both by the same amounts.  So the
logarithm of back over belly is left in each of the CIE's X, Y and Z, whatever the light was: which is lighter, and how
far they differ in hue.  (Gains in XYZ are von Kries' rule in its plainest form; the rest is noise here.)  Figures of
noise: photos without a card, robust, given with `Noise` below.
"""

from __future__ import annotations

import numpy as np

from identify.colour import lab_to_linear
from identify.encoding import SRGB_TO_XYZ_D50
from identify.geometry import Array
from identify.rank import Prepared, Readings
from identify.rank.colourways import unlisted_share
from identify.rank.densities import log_multi_t
from identify.rank.palette import HARD
from identify.records import Colour, Lab

LEAST = 0.004
"""Of X, Y, Z over white: darker paints are taken for this."""
SPREAD = np.array([0.40, 0.06, 0.18])
"""Scatter of the contrast in ln Y, ln X/Y, ln Z/Y about that of the listed paints (render: 42 baits in photos without a
card of the tune split: 0.37, 0.03, 0.10; more for other lights and cameras)."""
BROAD = np.array([1.3, 0.22, 0.75])
"""Scatter over all paints: back and belly of unlisted baits (bench); most backs are darker."""
BROAD_MEAN = np.array([-0.8, 0.0, 0.1])
TAIL = 4.0


def contrast(back: Lab, belly: Lab) -> Array:
    """Back over belly (3,): ln Y, ln X/Y, ln Z/Y."""
    xyz = np.maximum(lab_to_linear([back, belly]) @ SRGB_TO_XYZ_D50.T, LEAST)
    x, y, z = np.log(xyz[0] / xyz[1])
    return np.array([y, x - y, z - y])


def read_contrast(back: Colour | None, belly: Colour | None) -> Array | None:
    """The contrast (3,) that a photo shows; None when one of the two was not read."""
    return None if back is None or belly is None else contrast(back.lab, belly.lab)


def listed_contrasts(p: Prepared) -> Array:
    """Contrasts (c, 3) of a set's colourways; NaN where back or belly is not said."""
    found = np.full((len(p.palette.colourways), 3), np.nan)
    for i, c in enumerate(p.palette.colourways):
        if c.back_lab is not None and c.belly_lab is not None:
            found[i] = contrast(c.back_lab, c.belly_lab)
    return found


def log_ratio(seen: Array, listed: Array, wide: Array) -> Array:
    """Log ratio (…) of a contrast (3,) for listed ones (…, 3) that scatter `wide` (…,) times wider than paint, against
    an unlisted paint job."""
    spread = SPREAD * wide[..., None]
    squared = np.square((seen - listed) / spread).sum(-1)
    broad = np.square((seen - BROAD_MEAN) / BROAD).sum()
    own = log_multi_t(squared, np.log(spread).sum(-1), 3, TAIL)
    ratio: Array = own - log_multi_t(np.array(broad), float(np.log(BROAD).sum()), 3, TAIL)
    return ratio


def against_all(seen: Array, p: Prepared) -> Array:
    """Log ratios (2, c) of a contrast (3,) for every colourway of a set against an unlisted paint job, with back and
    belly as read and swapped; 0 where the set does not say both paints."""
    listed = listed_contrasts(p)
    wide = np.array([p.noise.hard_finish if c.finish in HARD else 1.0 for c in p.palette.colourways])
    known = np.isfinite(listed).all(1)
    ratios = np.zeros((2, len(listed)))
    if known.any():
        for k, sign in enumerate((1.0, -1.0)):
            ratios[k, known] = log_ratio(sign * seen, listed[known], wide[known])
    return ratios


def speak(r: Readings, p: Prepared) -> Array | None:
    """Log ratios (2, n) of forms against an unlisted bait, back and belly as read and swapped: lists of colours are
    never complete, so a foreign contrast costs a model little.  None without both colours or without any listed."""
    seen = read_contrast(r.back, r.belly)
    if seen is None or not p.palette.colourways:
        return None
    new = unlisted_share(p.palette, p.noise)
    rows = [
        np.where(p.palette.lists_any, np.log((1 - new) * p.palette.mean_over_forms(np.exp(row)) + new), 0.0)
        for row in against_all(seen, p)
    ]
    return np.array(rows)
