"""Lens distortion, bounded from how straight the card's sides look.

A radial distortion r' = r (1 + k r²) (Brown 1966, first term) bends straight lines: a side of half length a at distance
h from the picture's centre bows by k h a².  The card's four sides tell k as well as their edges are placed and as far
from the centre as they lie, which is often not well enough; that cameras correct their own lenses is the prior.
Distortion is not undone: that would need more than one small card shows.  What it may do to a length is a part of that
length's uncertainty.
"""

from __future__ import annotations

import math

import numpy as np

from identify.calibration import Lens
from identify.card.sides import Side
from identify.geometry import Array
from identify.photo import Photo
from identify.settings import Point

CORRECTED = 0.005
"""Standard deviation of what is left at the picture's corner, of the radius, after cameras correct their own lenses
(common practice: phones and compact cameras do; no published source)."""
CLEARLY = 3.0
"""Sides that bow by so many standard uncertainties show a lens that nobody corrected: the prior does not hold."""
UNCORRECTED = 3.0
"""A distortion that is seen but not undone is no random error: one standard uncertainty covers three times what it
stretches, since it also turns the card's pose a little."""
EDGE_PX = 0.1
"""How straight a straight side is found, at best."""


def distortion(photo: Photo, sides: tuple[Side, ...]) -> tuple[float, float]:
    """Coefficient k (per pixel squared) that the card's sides show, with its standard uncertainty; (0, inf) without."""
    centre = _centre(photo)
    top = bottom = 0.0
    for side in sides:
        along = side.end - side.start
        half = float(np.hypot(*along)) / 2
        out = np.array([along[1], -along[0]]) / (2 * half)
        lever = float((side.start - centre) @ out) * half**2
        weight = 1 / math.hypot(side.u_bow_px, EDGE_PX) ** 2
        top += weight * lever * -side.bow_px
        bottom += weight * lever**2
    return (top / bottom, 1 / math.sqrt(bottom)) if bottom > 0 else (0.0, math.inf)


def lens_of(photo: Photo, sides: tuple[Side, ...], reference: list[tuple[Point, Point]]) -> Lens:
    """How far the photo's lens may distort: `Lens.k` is the root mean square of k given prior and sides.

    `reference`: the lines whose lengths gave the scale.
    """
    centre = _centre(photo)
    prior = CORRECTED / float(centre @ centre)
    k, u = distortion(photo, sides)
    if abs(k) > CLEARLY * u:
        return Lens(UNCORRECTED * math.hypot(k, u), True, _point(centre), tuple(reference))
    if not math.isfinite(u):
        return Lens(prior, False, _point(centre), tuple(reference))
    trust = prior**2 / (prior**2 + u**2)
    return Lens(math.hypot(trust * k, math.sqrt(trust) * u), False, _point(centre), tuple(reference))


def _centre(photo: Photo) -> Array:
    return np.array([photo.width - 1, photo.height - 1]) / 2


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])
