"""Looking for the card in a photo."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from identify.calibration import Calibration
from identify.card.calibrate import from_card, without_card
from identify.card.judge import Candidate, judge, refine, rough_candidate
from identify.card.propose import perceptual, propose
from identify.card.sides import Sampler, sample_photo, sampler
from identify.geometry import Array
from identify.photo import Photo
from identify.settings import Settings

LONG_SIDE = 1000
AS_GOOD = 4.0
"""Two candidates whose costs differ by less can't be told apart."""


@dataclass(frozen=True, eq=False)
class Search:
    """All quadrilaterals that came as far as full resolution, and the reasons why others did not."""

    candidates: tuple[Candidate, ...]
    refusals: tuple[str, ...]

    @property
    def accepted(self) -> list[Candidate]:
        """Those that may be the card, the likeliest first."""
        return sorted((c for c in self.candidates if c.refusal is None), key=lambda c: c.cost)


def search(photo: Photo, settings: Settings) -> Search:
    """Look for the card at half and, when that finds none, at whole resolution of the reduced picture."""
    if min(photo.width, photo.height) < 40:
        return Search((), ())
    reduced, shrink = photo.reduced(LONG_SIDE)
    picture = perceptual(reduced)
    sample = sampler(reduced)
    full = sample_photo(photo)
    aspect = max(settings.card_size_mm) / min(settings.card_size_mm)
    result = Search((), ())
    for coarse in (2, 1):
        small = picture
        if coarse > 1:
            size = (picture.shape[1] // coarse, picture.shape[0] // coarse)
            small = cv2.resize(picture[: size[1] * coarse, : size[0] * coarse], size, interpolation=cv2.INTER_AREA)
        quads = [(q + 0.5) * coarse - 0.5 for q in propose(small, aspect)]
        result = _weigh(photo, reduced, shrink, quads, sample, full, settings)
        if result.accepted:
            break
    return result


def _weigh(photo: Photo, reduced: np.ndarray, shrink: int, quads: list[Array], sample: Sampler, full: Sampler, settings: Settings
) -> Search:  # fmt: skip
    candidates: list[Candidate] = []
    refusals: list[str] = []
    for quad in quads:
        rough = rough_candidate(photo, reduced, sample, quad, settings)
        if rough is None:
            continue
        corners, refusal = rough
        if refusal is not None:
            refusals.append(refusal)
            continue
        middle = ((corners + 0.5) * shrink - 0.5).mean(0)
        if any(np.hypot(*(c.corners.mean(0) - middle)) < 4 * shrink + 4 for c in candidates):
            continue
        found = refine(photo, (corners + 0.5) * shrink - 0.5, settings, full, 2.5 * shrink + 5)
        if found is None:
            refusals.append("its sides are not clear")
            continue
        candidate = judge(photo, reduced, shrink, *found, settings)
        if candidate is not None:
            candidates.append(candidate)
    return Search(tuple(candidates), tuple(refusals))


def find(photo: Photo, settings: Settings) -> Calibration:
    """What the card in the photo, or what a person told instead of it, makes known.

    Never raises for a photo without a card: the result then has no scale and says why.
    """
    if settings.no_card:
        return without_card(photo, settings, "you said that there is no card")
    result = search(photo, settings)
    accepted = result.accepted
    if not accepted:
        return without_card(photo, settings, "no grey card seen")
    return from_card(photo, settings, accepted[0])
