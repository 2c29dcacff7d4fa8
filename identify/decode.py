"""From the bytes of a file to pixels as displayed: by content, never by the file's extension.

JPEG (also MPO, of which the first picture is the primary one), PNG, TIFF, WebP, BMP and GIF by Pillow, HEIC by
pillow-heif.  Decoders are called by kind and not through `Image.open`, so that no other format is ever tried on a
stranger's file and the only limit on pixels is ours.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import (
    BmpImagePlugin,
    GifImagePlugin,
    Image,
    ImageCms,
    JpegImagePlugin,
    PngImagePlugin,
    TiffImagePlugin,
    WebPImagePlugin,
)

from identify import encoding
from identify.encoding import Encoding
from identify.errors import PhotoTooLarge, PhotoUnreadable
from identify.records import Notice

Pixels = NDArray[np.unsignedinteger[Any]]

AGAIN = "Copy it again from the camera or the phone, or take another photo."
AS_JPEG = "Save it as JPEG, PNG, TIFF, WebP or HEIC and try again."

_ORIENTATION, _EXIF_IFD, _INTEROP_IFD, _COLOR_SPACE, _INTEROP_INDEX = 0x0112, 0x8769, 0xA005, 0xA001, 0x0001
_PLANAR_CONFIGURATION, _BITS_PER_SAMPLE, _DNG_VERSION, _SUB_IFDS, _NEW_SUBFILE_TYPE = 284, 258, 50706, 330, 254


@dataclass(frozen=True, eq=False)
class Decoded:
    """A picture as displayed: `pixels` (h, w, 3) uint8 or uint16, what they mean, and the EXIF fields (no places)."""

    pixels: Pixels
    encoding: Encoding
    exif: dict[int, Any]
    warnings: tuple[Notice, ...] = ()


def decode(data: bytes, name: str, max_megapixels: float) -> Decoded:
    """Decode one file.  Raises PhotoUnreadable with the reason, or PhotoTooLarge before anything is decoded."""
    kind = _kind(data, name)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of odd but harmless metadata; what matters comes as an exception
        try:
            return (
                _decode_heif(data, name, max_megapixels)
                if kind == "heif"
                else _decode(kind, data, name, max_megapixels)
            )
        except (PhotoUnreadable, PhotoTooLarge):
            raise
        except Exception as error:  # whatever a decoder stumbles over, the file is what is wrong
            raise PhotoUnreadable(f"{name} is damaged or incomplete ({_reason(error)}).", AGAIN) from error


_OPENERS: dict[str, Callable[[io.BytesIO], Image.Image]] = {
    "jpeg": JpegImagePlugin.JpegImageFile,
    "png": PngImagePlugin.PngImageFile,
    "tiff": TiffImagePlugin.TiffImageFile,
    "webp": WebPImagePlugin.WebPImageFile,
    "bmp": BmpImagePlugin.BmpImageFile,
    "gif": GifImagePlugin.GifImageFile,
}
_MAGIC = (
    (b"\xff\xd8\xff", "jpeg"),
    (b"\x89PNG\r\n\x1a\n", "png"),
    (b"BM", "bmp"),
    (b"GIF8", "gif"),
)
_JPEG_END = b"\xff\xd9"
"""Cannot occur inside a scan (ITU-T T.81, B.1.1.5); decoders fill up with grey what is missing before it."""
_TIFF = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
_HEIF = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_RAW = (b"FUJIFILMCCD-RAW", b"IIRO", b"IIRS", b"MMOR", b"IIU\x00", b"FOVb")


def _kind(data: bytes, name: str) -> str:
    head = data[:64]
    if not data:
        raise PhotoUnreadable(f"{name} is empty (0 bytes).", AGAIN)
    for magic, kind in _MAGIC:
        if head.startswith(magic):
            return kind
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "webp"
    if head.startswith(_RAW) or head[4:12] == b"ftypcrx " or (head.startswith(_TIFF) and head[8:10] == b"CR"):
        raise _raw(name)
    if head.startswith(_TIFF):
        return "tiff"
    if head[4:8] == b"ftyp":
        if head[8:12] in _HEIF:
            return "heif"
        what = "an AVIF picture" if head[8:12] in (b"avif", b"avis") else "a film"
        raise PhotoUnreadable(f"{name} is {what}, which is not read.", AS_JPEG)
    if b"%PDF-" in data[:1024]:
        raise PhotoUnreadable(f"{name} is a PDF document, not a photo.", "Save the photo in it as JPEG and try again.")
    if not any(data):
        raise PhotoUnreadable(f"{name} holds nothing but zeros.", AGAIN)
    _refuse_text(data[:1024], name)
    raise PhotoUnreadable(f"{name} is not a picture of a known kind.", AS_JPEG)


def _refuse_text(head: bytes, name: str) -> None:
    if b"<svg" in head:
        raise PhotoUnreadable(f"{name} is a drawing (SVG), not a photo.", AS_JPEG)
    if not set(head) & (set(range(32)) - set(b"\t\n\r\f\x1b")):
        what = "a web page" if b"<html" in head.lower() else "a text"
        raise PhotoUnreadable(f"{name} is {what}, not a photo.", "Give a photo: JPEG, PNG, TIFF, WebP or HEIC.")


def _raw(name: str) -> PhotoUnreadable:
    return PhotoUnreadable(
        f"{name} is a camera's raw file, which is not read.", "Export it from your camera's program as JPEG or TIFF."
    )


def _reason(error: Exception) -> str:
    return (str(error).splitlines() or [""])[0].strip() or type(error).__name__


def _check_size(size: tuple[int, int], name: str, max_megapixels: float) -> None:
    megapixels = size[0] * size[1] / 1e6
    if megapixels > max_megapixels:
        raise PhotoTooLarge(
            f"{name} has {megapixels:.0f} megapixels ({size[0]} × {size[1]}), above the limit of {max_megapixels:g}.",
            "Make it smaller and try again; 12 megapixels are plenty.",
        )
    if min(size) < 1:
        raise PhotoUnreadable(f"{name} has no pixels.", AGAIN)


def _decode(kind: str, data: bytes, name: str, max_megapixels: float) -> Decoded:
    stream = io.BytesIO(data)
    image = _OPENERS[kind](stream)
    _check_size(image.size, name, max_megapixels)
    profile = image.info.get("icc_profile")
    if kind == "jpeg" and data.find(_JPEG_END, stream.tell()) < 0:
        raise PhotoUnreadable(f"{name} is incomplete: the end of the picture is missing.", AGAIN)
    if kind == "jpeg" and image.mode == "RGB" and (plain := _plain_jpeg(data)) is not None:
        exif, turn = _exif(image)
        meaning, notices = _meaning(profile, exif, 256)
        if meaning:
            return Decoded(_turned(plain, turn), meaning, exif, notices)
    bits: tuple[int, ...] = ()
    before = 1
    if isinstance(image, TiffImagePlugin.TiffImageFile):
        tags = image.tag_v2
        if _DNG_VERSION in tags or (_SUB_IFDS in tags and tags.get(_NEW_SUBFILE_TYPE, 0) & 1):
            raise _raw(name)
        bits = tuple(tags.get(_BITS_PER_SAMPLE, ()))
        before = tags.get(_ORIENTATION, 1)
        if bits[:1] == (16,) and tags.get(_PLANAR_CONFIGURATION, 1) == 2:
            text = f"{name} holds its 16-bit colours in separate planes, which is not read."
            raise PhotoUnreadable(text, "Save it with 8 bits a channel and try again.")
    image.load()
    exif, after = _exif(image)
    pixels, meaning, notices = _pixels(image, profile, exif)
    if ((kind == "png" and data[24] == 16) or bits == (16, 16, 16)) and image.mode == "RGB":
        wide = _sixteen_bit(data, pixels, before if kind == "tiff" else 1)  # Pillow turns TIFF on loading
        wide_meaning, _ = _meaning(profile, exif, 65536)
        if wide is not None and wide_meaning:
            pixels, meaning = wide, wide_meaning
    del image
    return Decoded(_turned(pixels, after), meaning, exif, notices)


def _plain_jpeg(data: bytes) -> Pixels | None:
    """Colour JPEG through OpenCV: the same pixels as Pillow's, without its copies."""
    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    return _as_codes(cv2.imdecode(np.frombuffer(data, np.uint8), flags))


def _sixteen_bit(data: bytes, upper: Pixels, turn: int) -> Pixels | None:
    """All 16 bits of a picture of which Pillow gives the upper 8; None unless the two decoders agree."""
    flags = cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
    codes = _as_codes(cv2.imdecode(np.frombuffer(data, np.uint8), flags))
    if codes is None or codes.dtype != np.uint16:
        return None
    codes = np.asarray(cv2.cvtColor(codes, cv2.COLOR_BGR2RGB))
    for wide in (codes, _turned(codes, turn)):  # versions of OpenCV differ in whether they turn TIFF
        if wide.shape == upper.shape and np.abs((wide >> 8).astype(np.int16) - upper.astype(np.int16)).max() <= 1:
            return wide
    return None


def _as_codes(pixels: Any) -> Pixels | None:
    """What OpenCV gives is None where it could not decode."""
    return None if pixels is None else np.asarray(pixels)


def _decode_heif(data: bytes, name: str, max_megapixels: float) -> Decoded:
    """HEIC says in its own boxes how it is to be turned, the decoder does so, and EXIF's orientation is void (ISO/IEC
    23008-12)."""
    import pillow_heif

    file = pillow_heif.open_heif(io.BytesIO(data))
    primary: Any = file[file.primary_index]
    _check_size(primary.size, name, max_megapixels)
    image = primary.to_pillow()
    if raw := primary.info.get("exif"):
        image.info["exif"] = raw
    exif, _ = _exif(image)
    profile = primary.info.get("icc_profile")
    pixels, meaning, notices = _pixels(image, profile, exif)
    if not profile and (primary.info.get("nclx_profile") or {}).get("color_primaries") == 12:
        meaning = encoding.display_p3()  # ITU-T H.273: 12 is SMPTE EG 432-1
    return Decoded(pixels, meaning, exif, notices)


def _exif(image: Image.Image) -> tuple[dict[int, Any], int]:
    """The fields about the camera, never those about the place, and the orientation that is still to be applied.

    A broken EXIF block counts as none: it says nothing about the picture.
    """
    try:
        block = image.getexif()
        orientation = block.get(_ORIENTATION, 1)
        fields = dict(block.get_ifd(_EXIF_IFD))
        fields[_INTEROP_INDEX] = block.get_ifd(_INTEROP_IFD).get(_INTEROP_INDEX)
    except Exception:  # Pillow raises many kinds on broken blocks
        return {}, 1
    return fields, orientation if orientation in range(1, 9) else 1


def _turned(pixels: Pixels, orientation: int) -> Pixels:
    """As displayed, by EXIF's orientation (JEITA CP-3451)."""
    if orientation in (5, 6, 7, 8):
        pixels = np.asarray(cv2.transpose(pixels))
    if orientation in _FLIPS:
        pixels = np.asarray(cv2.flip(pixels, _FLIPS[orientation]))
    return np.ascontiguousarray(pixels)


_FLIPS = {2: 1, 3: -1, 4: 0, 6: 1, 7: -1, 8: 0}
"""OpenCV's codes for mirroring left to right (1), top to bottom (0) or both (-1), after rows and columns were swapped
for orientations 5 to 8."""


def _pixels(
    image: Image.Image, profile: bytes | None, exif: dict[int, Any]
) -> tuple[Pixels, Encoding, tuple[Notice, ...]]:
    """A loaded picture as (h, w, 3), what its codes mean, and warnings.  What is transparent shows white."""
    mode = image.mode
    if mode.startswith("I;16"):
        grey = np.asarray(image).astype(np.uint16)
        meaning, notices = _meaning(profile, exif, 65536)
        return np.repeat(grey[..., None], 3, axis=2), meaning or encoding.srgb(65536), notices
    if mode in ("I", "F"):
        raise PhotoUnreadable("The picture has 32 bits a pixel.", "Save it with 8 or 16 bits a channel and try again.")
    if image.has_transparency_data:
        layer = image.convert("RGBA")
        image = Image.new("RGB", layer.size, (255, 255, 255))
        image.paste(layer, mask=layer.getchannel("A"))
    elif mode in ("CMYK", "LAB"):
        return _by_colour_management(image, profile)
    elif mode != "RGB":
        image = image.convert("RGB")
    meaning, notices = _meaning(profile, exif, 256)
    if meaning is None:
        return _by_colour_management(image, profile)
    return np.asarray(image), meaning, notices


_UNREADABLE_PROFILE = Notice(
    "profile-unreadable", "The photo's colour profile could not be read; its colours were taken as sRGB."
)
_INKS = Notice("profile-unreadable", "The photo is in printing inks without a colour profile; its colours are a guess.")


def _meaning(profile: bytes | None, exif: dict[int, Any], levels: int) -> tuple[Encoding | None, tuple[Notice, ...]]:
    """By the embedded profile, None where that needs colour management; without one sRGB, or Adobe RGB where EXIF says
    so (DCF 2.0: R03)."""
    if profile:
        try:
            return encoding.from_icc(profile, levels), ()
        except ValueError:
            return encoding.srgb(levels), (_UNREADABLE_PROFILE,)
    if exif.get(_COLOR_SPACE) == 0xFFFF and exif.get(_INTEROP_INDEX) == "R03":
        return encoding.adobe_rgb(levels), ()
    return encoding.srgb(levels), ()


def _by_colour_management(image: Image.Image, profile: bytes | None) -> tuple[Pixels, Encoding, tuple[Notice, ...]]:
    """Printing inks and profiles made of tables, through LittleCMS to sRGB, which clips what sRGB cannot hold."""
    notices: tuple[Notice, ...] = () if profile else (_INKS,)
    if profile:
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            target = ImageCms.createProfile("sRGB")
            intent = ImageCms.Intent.RELATIVE_COLORIMETRIC
            done = ImageCms.profileToProfile(image, source, target, renderingIntent=intent, outputMode="RGB")
            if done is not None:
                return np.asarray(done), encoding.srgb(), notices
        except (ImageCms.PyCMSError, OSError):
            notices = (_UNREADABLE_PROFILE,)
    return np.asarray(image.convert("RGB")), encoding.srgb(), notices
