"""Pictures as offers have them, made of a photo set: without a card, and spoilt as pictures on the way to a buyer are.

Listing and clutter photos without a card are taken as they are; singles are cut so that no part of the card is left.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageDraw, ImageFont, ImageOps

from identify.geometry import Array
from tests.benchmarks.truth import PhotoTruth, photos

LONGEST = 1400
"""Pixels of an offer's picture, at most."""
AROUND = 0.35
"""Round a bait in a picture that is cut, as a share of its longer extent, as far as the card allows."""
NEAR = 0.02
"""A bait that lies nearer to the card, in both directions, is not cut out."""
QUALITY, SPOILT = 92, 40
BAR, FRAME = 0.12, 0.04
"""Of a screenshot: the bars above and below as shares of the height, the frame as one of the width."""


@dataclass(frozen=True, eq=False)
class Offer:
    """One picture without a card, with the baits that are in it and their outlines there."""

    name: str
    split: str
    source: str
    image: Image.Image
    baits: tuple[dict[str, Any], ...]
    outlines_px: tuple[Array, ...]


def _points(bait: dict[str, Any]) -> Array:
    return np.asarray(bait["apparent_polygon_px"], float)


def _all_points(bait: dict[str, Any]) -> Array:
    lines = [np.asarray(line, float) for hook in bait["hooks_px"] for line in hook]
    rings = [np.asarray(bait["ties_px"], float).reshape(-1, 2)]
    return np.concatenate([_points(bait), *lines, *rings])


def _window(photo: PhotoTruth) -> tuple[int, int, int, int] | None:
    """The largest window round a single bait that the card does not reach into; None when it lies too near."""
    points = _all_points(photo.baits[0])
    low, high = points.min(0), points.max(0)
    card = np.asarray(photo.truth["card_corners_px"], float)
    size = np.asarray(photo.truth["size_px"], float)
    extent = float((high - low).max())
    x0, y0 = np.maximum(low - AROUND * extent, 0)
    x1, y1 = np.minimum(high + AROUND * extent, size)
    # the window stops at the card on the side where that lies farthest from the bait
    gaps = {
        "x1": card[:, 0].min() - high[0],
        "x0": low[0] - card[:, 0].max(),
        "y1": card[:, 1].min() - high[1],
        "y0": low[1] - card[:, 1].max(),
    }
    side = max(gaps, key=lambda k: gaps[k])
    if gaps[side] < NEAR * extent:
        return None
    if side == "x1":
        x1 = min(x1, card[:, 0].min() - 3)
    elif side == "x0":
        x0 = max(x0, card[:, 0].max() + 3)
    elif side == "y1":
        y1 = min(y1, card[:, 1].min() - 3)
    else:
        y0 = max(y0, card[:, 1].max() + 3)
    return int(x0), int(y0), int(x1), int(y1)


def offers(photo_set: Path, split: str | None = None) -> Iterator[Offer]:
    """The pictures of one split, listing ones first."""
    for photo in photos(photo_set, ("listing", "clutter", "single"), split):
        window = None
        if photo.subset == "single":
            window = _window(photo)
            if window is None:
                continue
        elif photo.truth["card_corners_px"]:
            continue
        image = ImageOps.exif_transpose(Image.open(photo.path)).convert("RGB")
        shift = np.zeros(2)
        if window is not None:
            image, shift = image.crop(window), np.array(window[:2], float)
        shrink = min(1.0, LONGEST / max(image.size))
        if shrink < 1:
            image = image.resize([round(v * shrink) for v in image.size], Image.Resampling.LANCZOS)
        outlines = tuple((_points(b) - shift) * shrink for b in photo.baits)
        yield Offer(photo.path.stem, photo.split, photo.subset, image, tuple(photo.baits), outlines)


def _bars(width: int, height: int) -> tuple[int, int]:
    return round(FRAME * width), round(BAR * height) + 20


def _border(image: Image.Image) -> Image.Image:
    """A screenshot: bars above and below, a frame around, letters in the bars."""
    w, h = image.size
    frame, bar = _bars(w, h)
    out = Image.new("RGB", (w + 2 * frame, h + 2 * bar), (245, 246, 248))
    out.paste(image, (frame, bar))
    draw = ImageDraw.Draw(out)
    font = ImageFont.load_default(size=max(12, bar // 3))
    draw.text((frame, bar // 3), "12:41   Lot 17 of 60", fill=(40, 40, 44), font=font)
    draw.text((frame, h + bar + bar // 3), "Old bait, see pictures      1 / 4", fill=(90, 90, 96), font=font)
    return out


def _text(image: Image.Image) -> Image.Image:
    """Words laid over the picture, half seen through."""
    w, h = image.size
    over = Image.new("RGBA", image.size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(over)
    font = ImageFont.load_default(size=max(14, w // 14))
    for i, at in enumerate((0.12, 0.45, 0.78)):
        draw.text((w * (0.06 + 0.12 * i), h * at), "AMMERFOLD SALES", fill=(255, 255, 255, 110), font=font)
    return Image.alpha_composite(image.convert("RGBA"), over).convert("RGB")


def _half(image: Image.Image) -> Image.Image:
    return image.resize([max(1, v // 2) for v in image.size], Image.Resampling.LANCZOS)


VARIANTS: dict[str, tuple[Callable[[Image.Image], Image.Image], int]] = {
    "as it is": (lambda image: image, QUALITY),
    "half size": (_half, QUALITY),
    "JPEG 40": (lambda image: image, SPOILT),
    "border": (_border, QUALITY),
    "text over it": (_text, QUALITY),
    "mirrored": (ImageOps.mirror, QUALITY),
}
"""How each picture is changed, and the quality of its JPEG."""


def jpeg(offer: Offer, variant: str) -> bytes:
    """One variant of a picture as a file's bytes."""
    change, quality = VARIANTS[variant]
    out = BytesIO()
    change(offer.image).save(out, "JPEG", quality=quality)
    return out.getvalue()


def placed(outline_px: Array, size: tuple[int, int], variant: str) -> Array:
    """Where an outline of a picture of this size lies in a variant of it."""
    if variant == "half size":
        return outline_px / 2
    if variant == "mirrored":
        return np.column_stack([size[0] - 1 - outline_px[:, 0], outline_px[:, 1]])
    return outline_px + np.array(_bars(*size)) if variant == "border" else outline_px
