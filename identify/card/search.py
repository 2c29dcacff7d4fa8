"""Looking for the card in a photo: quadrilaterals of the reduced picture, their sides at full resolution, a verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.card.judge import Candidate, could_be_grey, judge, refine, rough_candidate
from identify.card.partly import seen_in_part
from identify.card.propose import perceptual, propose, propose_by_texture
from identify.card.strips import sample_photo, sampler
from identify.card.unions import propose_unions
from identify.geometry import Array
from identify.photo import Photo
from identify.settings import Settings

LONG_SIDE = 1000
SMALLEST_PX = 60
"""A picture with a shorter side has no room for a card that could be measured."""
AS_GOOD = 4.0
"""Two candidates whose costs differ by less can't be told apart."""


@dataclass(frozen=True, eq=False)
class Search:
    """The quadrilaterals that came as far as full resolution, and why others did not."""

    candidates: tuple[Candidate, ...]
    refusals: tuple[str, ...]
    in_part: str | None = None
    """What seems to be a card in part."""

    @property
    def accepted(self) -> list[Candidate]:
        """Those that may be the card, the likeliest first."""
        return sorted((c for c in self.candidates if c.refusal is None), key=lambda c: c.cost)

    @property
    def found(self) -> Candidate | None:
        """The card, when one candidate is clearly the likeliest."""
        good = self.accepted
        return None if not good or (len(good) > 1 and good[1].cost - good[0].cost < AS_GOOD) else good[0]

    @property
    def why_not(self) -> str:
        """What was seen instead of a card, and what to do, in words for a person."""
        if len(self.accepted) > 1:
            return (
                f"{len(self.accepted)} things could be the grey card and can't be told apart; "
                "leave one in the photo, or say with --card where its corners are"
            )
        reasons = [c.refusal for c in self.candidates if c.refusal] + list(self.refusals)
        advice = "lay the card flat and wholly in the photo, or say with --card where its corners are"
        if self.in_part is not None:
            return f"{self.in_part}; {advice}"
        if not reasons:
            return f"nothing in the photo looks like a grey card; {advice}"
        if "proportion" in reasons[0]:
            advice += ", or with --card-size how large it is"
        return f"something four-sided was seen, but {reasons[0]}; {advice}"


def look_for_card(photo: Photo, settings: Settings) -> Search:
    """Look for the card at half and, when that finds none, at whole resolution of the reduced picture; then by texture
    alone, and at last for one that a shadow's edge runs across."""
    if min(photo.width, photo.height) < SMALLEST_PX:
        return Search((), ())
    reduced, shrink = photo.reduced(LONG_SIDE)
    aspect = max(settings.card_size_mm) / min(settings.card_size_mm)
    result = Search((), ())
    for coarse, look in ((2, propose), (1, propose), (2, propose_by_texture), (2, propose_unions)):
        small = reduced
        if coarse > 1:
            size = (reduced.shape[1] // coarse, reduced.shape[0] // coarse)
            whole = reduced[: size[1] * coarse, : size[0] * coarse]
            small = np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA), np.float32)
        small = perceptual(small)
        quads = [(q + 0.5) * coarse - 0.5 for q in look(small, aspect)]
        seen = _weigh(photo, reduced, shrink, quads, settings)
        result = Search((*result.candidates, *seen.candidates), (*result.refusals, *seen.refusals))
        if seen.accepted:
            return seen
    reflectance = settings.card_reflectance
    return replace(result, in_part=seen_in_part(small, aspect, lambda mean: could_be_grey(mean, reflectance)))


def _weigh(photo: Photo, reduced: NDArray[np.float32], shrink: int, quads: list[Array], settings: Settings) -> Search:
    sample, full = sampler(reduced), sample_photo(photo)
    candidates: list[Candidate] = []
    refusals: list[str] = []
    for quad in quads:
        rough = rough_candidate(photo, reduced, sample, quad, settings)
        if rough is None:
            continue
        corners, pose, refusal = rough
        if refusal is not None:
            refusals.append(refusal)
            continue
        corners = (corners + 0.5) * shrink - 0.5
        if any(np.hypot(*(c.corners.mean(0) - corners.mean(0))) < 4 * shrink + 4 for c in candidates):
            continue
        fine = refine(photo, corners, settings, full, 2.5 * shrink + 5, pose)
        if fine is None:
            refusals.append("its sides are not clear")
            continue
        candidate = judge(photo, reduced, shrink, *fine, settings)
        if candidate is not None:
            candidates.append(candidate)
    return Search(tuple(candidates), tuple(refusals))
