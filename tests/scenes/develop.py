"""From the light of a drawn scene to a photo: colours, white balance, exposure, tone curve, noise, JPEG."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image

from identify.encoding import srgb_encode
from identify.geometry import Array
from identify.photo import Photo
from tests.scenes.shot import Shot


@lru_cache(maxsize=8)
def _grain(sd: float) -> NDArray[np.int8]:
    """Noise (1400, 1800, 3) that a phone has smoothed, in 8-bit levels."""
    rng = np.random.default_rng(5)
    fine = cv2.GaussianBlur(rng.standard_normal((1400, 1800)).astype(np.float32), (0, 0), 0.6)
    coarse = cv2.GaussianBlur(rng.standard_normal((1400, 1800, 3)).astype(np.float32), (0, 0), 1.3)
    together = fine[..., None] / fine.std() + 0.35 * coarse / coarse.std()
    return np.asarray(np.round(sd / together.std() * together), np.int8)


def _matrix(shot: Shot) -> Array:
    """From light to the camera's linear colours: off by `colours`, white staying white, then its white balance."""
    m = np.array(shot.colours).reshape(3, 2)
    off = np.array([[-m[0].sum(), *m[0]], [m[1, 0], -m[1].sum(), m[1, 1]], [*m[2], -m[2].sum()]])
    matrix: Array = np.diag(shot.gains) @ (np.eye(3) + off)
    return matrix


@lru_cache(maxsize=32)
def _curve(curve: float) -> NDArray[np.uint8]:
    """The 8-bit code of each root of light, from 0 to 1 in 256 steps: nearly the same codes, so that nothing bands."""
    v = srgb_encode(np.square(np.linspace(0, 1, 256)))
    return np.asarray(np.round(255 * ((1 - curve) * v + curve * (3 * v**2 - 2 * v**3))), np.uint8)


def photographed(linear: NDArray[np.float32], shot: Shot, rng: np.random.Generator) -> Photo:
    """The photo of a scene's light (h, w, 3), linear sRGB."""
    w, h = shot.picture
    exposure = 2**shot.ev
    seen = np.asarray(cv2.transform(linear, (_matrix(shot) * exposure).astype(np.float32)), np.float32)
    away = [np.square(np.linspace(-1, 1, n, dtype=np.float32)) / 2 for n in (w, h)]
    falls = 1 - np.float32(shot.vignette) * (away[0][None] + away[1][:, None])
    seen *= falls[..., None]
    roots = np.sqrt(np.maximum(seen, 0, out=seen), out=seen)
    codes = cv2.LUT(cv2.convertScaleAbs(roots, alpha=255.0), _curve(shot.curve))
    grain = _grain(round(4 * shot.noise) / 4)
    shift = rng.integers(0, 300, 2)
    if h + 300 > grain.shape[0] or w + 300 > grain.shape[1]:
        grain = np.tile(grain, (1 + h // 1000, 1 + w // 1400, 1))
    grain = grain[shift[0] : shift[0] + h, shift[1] : shift[1] + w]
    pixels = cv2.add(codes, grain, dtype=cv2.CV_8U)
    done, data = cv2.imencode(".jpg", cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, shot.jpeg])
    assert done
    back = np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR_RGB), np.uint8)
    return Photo(f"drawn-{shot.seed}.jpg", f"{shot.seed:064x}", back, shot.f35 if shot.exif else None)


def save(photo: Photo, place: Path) -> None:
    """Write a photo as JPEG with the focal length it was taken with."""
    exif = Image.Exif()
    if photo.focal_35mm is not None:
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.FocalLengthIn35mmFilm] = round(photo.focal_35mm)
    Image.fromarray(photo.pixels).save(place, quality=92, exif=exif)
