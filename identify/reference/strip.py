"""A photo without what it tells of its place and owner; its picture is not touched.

JPEG, PNG and WebP files are rewritten segment by segment, and only what is needed to show and to measure the picture is
kept (a list of what stays, since cameras keep inventing places to write to): ITU-T T.81 and JEITA CP-3451 (JPEG, EXIF),
W3C PNG 3rd edition, the WebP container specification.  Other kinds are decoded and stored as PNG.
"""

from __future__ import annotations

import io
import struct
import zlib

from PIL import Image

from identify.errors import PhotoUnreadable

KEPT_0 = {0x0112, 0x011A, 0x011B, 0x0128, 0x0213}
"""EXIF: orientation, resolution, chroma position."""
KEPT_EXIF = {0x9000, 0x9003, 0x9101, 0xA000, 0xA001, 0xA002, 0xA003, 0x920A, 0xA405, 0x829A, 0x829D, 0x8827}
"""Version, day taken, colour space, size, focal lengths, exposure."""
EXIF_IFD = 0x8769
PNG_KEPT = {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"cICP", b"sBIT", b"pHYs"}
WEBP_KEPT = {b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ICCP"}
ANIMATED, EXIF_FLAG, XMP_FLAG = 0x02, 0x08, 0x04


def stripped(data: bytes) -> tuple[bytes, str]:
    """The photo's bytes without metadata, and the extension of their kind.  Raises PhotoUnreadable."""
    try:
        if data[:2] == b"\xff\xd8":
            return _jpeg(data), ".jpg"
        if data[:8] == b"\x89PNG\r\n\x1a\n":
            return _png(data), ".png"
        if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
            return _webp(data), ".webp"
        return _decoded(data), ".png"
    except (struct.error, IndexError, KeyError, ValueError, OSError, SyntaxError, zlib.error) as why:
        raise PhotoUnreadable(f"The photo cannot be read ({why}).", "Leave it out.") from why


def _exif(data: bytes) -> bytes:
    """An EXIF block (TIFF, without its heading) with what may stay."""
    with Image.open(io.BytesIO(data)) as image:
        found = image.getexif()
    fresh = Image.Exif()
    for tag in KEPT_0 & set(found):
        fresh[tag] = found[tag]
    inner = {tag: value for tag, value in found.get_ifd(EXIF_IFD).items() if tag in KEPT_EXIF}
    if 0x9003 in inner:
        inner[0x9003] = f"{str(inner[0x9003])[:10]} 00:00:00"
    if inner:
        fresh[EXIF_IFD] = inner
    block = fresh.tobytes() if len(fresh) else b""
    return block.removeprefix(b"Exif\0\0")


def _jpeg(data: bytes) -> bytes:
    out = [b"\xff\xd8"]
    if block := _exif(data):
        out.append(b"\xff\xe1" + struct.pack(">H", len(block) + 8) + b"Exif\0\0" + block)
    at = 2
    while True:
        while data[at] != 0xFF:
            raise ValueError("a marker is missing")
        while data[at + 1] == 0xFF:
            at += 1
        marker = data[at + 1]
        if marker == 0xD9:
            out.append(b"\xff\xd9")
            return b"".join(out)
        if marker == 0x01 or 0xD0 <= marker <= 0xD7:
            at += 2
            continue
        (length,) = struct.unpack_from(">H", data, at + 2)
        segment = data[at : at + 2 + length]
        if len(segment) < 2 + length or length < 2:
            raise ValueError("a segment is cut off")
        at += 2 + length
        if _stays(marker, segment[4:]):
            out.append(segment)
        if marker == 0xDA:
            end = _scan_end(data, at)
            out.append(data[at:end])
            at = end


def _stays(marker: int, content: bytes) -> bool:
    """Tables and frames; of the applications' segments JFIF's, colour profiles and Adobe's colour transform."""
    if marker == 0xE0:
        return content.startswith(b"JFIF\0")
    if marker == 0xE2:
        return content.startswith(b"ICC_PROFILE\0")
    if marker == 0xEE:
        return content.startswith(b"Adobe")
    return not (0xE0 <= marker <= 0xEF or marker == 0xFE)


def _scan_end(data: bytes, at: int) -> int:
    """Where the coded data of a scan end: at the next marker that is no restart and no stuffed byte."""
    while True:
        at = data.index(b"\xff", at)
        following = data[at + 1]
        if following != 0x00 and not 0xD0 <= following <= 0xD7 and following != 0xFF:
            return at
        at += 1 if following == 0xFF else 2


def _chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


def _png(data: bytes) -> bytes:
    out, at = [data[:8]], 8
    while at < len(data):
        (length,) = struct.unpack_from(">I", data, at)
        kind, whole = data[at + 4 : at + 8], data[at : at + 12 + length]
        if len(whole) < 12 + length:
            raise ValueError("a chunk is cut off")
        if kind in PNG_KEPT:
            out.append(whole)
        if kind == b"IHDR" and (block := _exif(data)):
            out.append(_chunk(b"eXIf", block))
        at += 12 + length
        if kind == b"IEND":
            return b"".join(out)
    raise ValueError("it has no end")


def _webp(data: bytes) -> bytes:
    chunks: list[bytes] = []
    at = 12
    block = _exif(data)
    while at + 8 <= len(data):
        kind, (length,) = data[at : at + 4], struct.unpack_from("<I", data, at + 4)
        whole = data[at : at + 8 + length + length % 2]
        if kind == b"VP8X":
            flags = (whole[8] & ~(EXIF_FLAG | XMP_FLAG)) | (EXIF_FLAG if block else 0)
            if flags & ANIMATED:
                return _decoded(data)
            whole = whole[:8] + bytes([flags]) + whole[9:]
        if kind in WEBP_KEPT:
            chunks.append(whole)
        at += 8 + length + length % 2
    if block and chunks and chunks[0][:4] == b"VP8X":
        chunks.append(b"EXIF" + struct.pack("<I", len(block)) + block + b"\0" * (len(block) % 2))
    body = b"WEBP" + b"".join(chunks)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def _decoded(data: bytes) -> bytes:
    """As PNG, with the colour profile, turned as displayed."""
    from PIL import ImageOps
    from pillow_heif import register_heif_opener

    register_heif_opener()
    with Image.open(io.BytesIO(data)) as image:
        profile = image.info.get("icc_profile")
        turned = ImageOps.exif_transpose(image)
    plain = turned if turned.mode in ("L", "RGB", "RGBA", "I;16") else turned.convert("RGB")
    out = io.BytesIO()
    bare = Image.frombytes(plain.mode, plain.size, plain.tobytes())
    bare.save(out, "PNG", icc_profile=profile)
    return out.getvalue()
