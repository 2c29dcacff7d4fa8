"""All baits of a photo seen close up, and what that says of what separation found: a region may hold two baits that lie
flank to flank, or none."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.calibration import Calibration
from identify.closeup.look import Closeup, look
from identify.photo import Photo
from identify.records import WARNINGS, Notice, SetAside
from identify.separate.morphology import Mask, grown, opened
from identify.separate.order import reading_order
from identify.stages import Region, Separation, as_polygon

LEAST_CERTAINTY, LEAST_PART = 0.85, 0.7
"""A thing whose body the network is less sure of than this on average, and none of whose rings and eyes it is so sure
of, is no bait.  Of 220 baits of five photo sets the least sure ones had 0.945 and 0.76."""
NO_BAIT = "does not look like a bait from close by"
LEAST_SHARE = 0.25
"""Of a region's core: what the close look leaves of it may be a second bait."""
LEAST_MM2 = 40.0
RIM_MM = 1.5
"""What is left of the core as a rim so wide is no body."""
MOST_SHARED = 0.3
"""Share of a second bait's body that the first one's may cover."""


@dataclass(frozen=True, eq=False)
class Looks:
    """Every bait of a photo in reading order with the close look at it; what was set aside, and warnings, are those of
    separation and what the close look adds."""

    baits: tuple[tuple[Region, Closeup], ...]
    set_aside: tuple[SetAside, ...]
    warnings: tuple[Notice, ...]


def look_at_all(photo: Photo, separation: Separation, calibration: Calibration) -> Looks:
    """Look at each region closely; one that turns out to hold two baits is parted, one that holds none set aside."""
    looked: list[tuple[Region, Closeup]] = []
    aside: list[SetAside] = []
    for region in separation.regions:
        here = calibration.below(region.middle_px)
        seen = look(photo, region, here)
        if not looks_right(seen):
            aside.append(SetAside(as_polygon(region.rim_px), NO_BAIT))
            continue
        one, rest = parted(region, seen)
        if rest is not None:
            other = look(photo, rest, here)
            if looks_right(other) and _is_another(rest, seen, other):
                looked += [(one, seen), (rest, other)]
                continue
        looked.append((region, seen))
    warnings = separation.warnings
    if separation.regions and not looked:
        warnings += (Notice("no-bait", WARNINGS["no-bait"]),)
    if [region for region, _ in looked] != list(separation.regions):  # else they are in order already
        looked = [looked[i] for i in reading_order([region.rim_px for region, _ in looked])]
    return Looks(tuple(looked), separation.set_aside + tuple(aside), warnings)


def looks_right(seen: Closeup) -> bool:
    """Whether what is seen may be a bait: the network is sure of its body, or of a ring or the eye."""
    body = seen.body[seen.body > 0.5]
    part = max(float(plane.max()) for plane in (seen.tie_at, seen.hanger_at, seen.eye_at))
    return part > LEAST_PART or (body.size > 0 and float(body.mean()) > LEAST_CERTAINTY)


def parted(region: Region, seen: Closeup) -> tuple[Region, Region | None]:
    """The region of the body that is seen, and what of the region's core is another's, if it is large enough for a
    bait; the region as it is, and None, where it is not."""
    own = own_body(region, seen)
    if not (own & region.core).any():  # nothing to part it by
        return region, None
    mm = seen.px_per_mm / region.shrink
    least = max(LEAST_MM2 * mm**2, LEAST_SHARE * np.count_nonzero(region.core))
    rest: Mask = region.core & ~own
    if np.count_nonzero(rest) >= least:
        rest = _largest(opened(rest & ~grown(own, RIM_MM * mm), RIM_MM * mm))
    if np.count_nonzero(rest) < least:
        return region, None
    nearer = _away(rest) < _away(own)
    return (
        replace(region, mask=region.mask & ~nearer, core=region.core & ~nearer),
        replace(region, mask=region.mask & nearer | rest, core=rest),
    )


def own_body(region: Region, seen: Closeup) -> Mask:
    """Where in a region's arrays the body lies that the close look is at."""
    to_seen = np.column_stack([seen.matrix[:, :2] * region.shrink, seen.from_photo(region.to_photo([[0.0, 0.0]]))[0]])
    size = region.core.shape[::-1]
    body = _largest(seen.body > 0.5).astype(np.float32)
    return np.asarray(cv2.warpAffine(body, to_seen, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP) > 0.5)


def _is_another(rest: Region, first: Closeup, second: Closeup) -> bool:
    """Whether the second look, at the rest, sees the rest and not once more what the first saw."""
    own, other = own_body(rest, first), own_body(rest, second)
    area = np.count_nonzero(other)
    shared, covered = np.count_nonzero(own & other), np.count_nonzero(other & rest.core)
    return bool(shared < MOST_SHARED * area and 2 * covered > np.count_nonzero(rest.core))


def _largest(mask: Mask) -> Mask:
    """The largest connected part of a mask."""
    _, parts, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    if len(stats) < 2:
        return mask
    return np.asarray(parts == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))


def _away(mask: Mask) -> NDArray[np.float32]:
    """How far each pixel is from a mask."""
    return np.asarray(cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 3), np.float32)
