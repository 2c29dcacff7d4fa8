"""Reading a photo once: decoded, turned as displayed, hashed, with linear light on demand."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

from identify.stages import Window

_SRGB = np.arange(256) / 255
_LINEAR = np.where(_SRGB <= 0.04045, _SRGB / 12.92, ((_SRGB + 0.055) / 1.055) ** 2.4).astype(np.float32)


@dataclass(frozen=True, eq=False)
class Photo:
    """One decoded photograph.  `pixels` (h, w, 3) as displayed, in the file's own RGB encoding."""

    name: str
    sha256: str
    pixels: NDArray[np.uint8]
    focal_35mm: float | None
    """35 mm equivalent focal length, None when the file does not say or the picture was cropped."""

    @property
    def width(self) -> int:
        """Width in pixels as displayed."""
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        """Height in pixels as displayed."""
        return int(self.pixels.shape[0])

    def linear(self, window: Window | None = None, shrink: int = 1) -> NDArray[np.float32]:
        """Linear sRGB (float32, D65, nominally 0..1) of a window, averaged over shrink × shrink pixels.

        The window's size need not be a multiple of shrink: what is over at right and bottom is left out.
        """
        x0, y0, x1, y1 = window or (0, 0, self.width, self.height)
        part = self.pixels[y0:y1, x0:x1]
        if shrink > 1:
            h, w = (part.shape[0] // shrink, part.shape[1] // shrink)
            part = cv2.resize(part[: h * shrink, : w * shrink], (w, h), interpolation=cv2.INTER_AREA)
        return _LINEAR[part]


def read(path: str | Path) -> Photo:
    """Read one photo."""
    data = Path(path).read_bytes()
    image = Image.open(path)
    f35 = image.getexif().get_ifd(0x8769).get(0xA405)
    pixels = np.asarray(ImageOps.exif_transpose(image).convert("RGB"))
    return Photo(str(path), hashlib.sha256(data).hexdigest(), pixels, float(f35) if f35 else None)
