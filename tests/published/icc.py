"""ICC profiles made by hand from their published numbers (ICC.1:2022; nothing here makes wide-gamut ones)."""

from __future__ import annotations

import struct
from collections.abc import Sequence

DISPLAY_P3_D50 = ((0.51512, 0.24120, -0.00105), (0.29198, 0.69225, 0.04189), (0.15710, 0.06657, 0.78407))
"""Red, green and blue colorants (XYZ under D50) as the Display P3 profiles of phones carry them; from memory."""
SRGB_PARAMETERS = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def matrix_profile(colorants: Sequence[Sequence[float]], curve: bytes) -> bytes:
    """An RGB display profile with one curve for all channels."""
    tags = [(key, _xyz(c)) for key, c in zip((b"rXYZ", b"gXYZ", b"bXYZ"), colorants, strict=True)]
    tags += [(key, curve) for key in (b"rTRC", b"gTRC", b"bTRC")]
    tags.append((b"wtpt", _xyz((0.9642, 1.0, 0.8249))))
    return _profile(b"RGB ", tags)


def grey_profile(curve: bytes) -> bytes:
    """A grey profile."""
    return _profile(b"GRAY", [(b"kTRC", curve), (b"wtpt", _xyz((0.9642, 1.0, 0.8249)))])


def parametric(values: Sequence[float], form: int) -> bytes:
    """A parametricCurveType."""
    return b"para" + bytes(4) + struct.pack(">HH", form, 0) + struct.pack(f">{len(values)}i", *map(_fixed, values))


def gamma(value: float) -> bytes:
    """A curveType of one number, padded to four bytes."""
    return b"curv" + bytes(4) + struct.pack(">IHH", 1, round(value * 256), 0)


def table(values: Sequence[float]) -> bytes:
    """A curveType of evenly spaced samples."""
    samples = [round(v * 65535) for v in values]
    return b"curv" + bytes(4) + struct.pack(f">I{len(samples)}H", len(samples), *samples)


def _fixed(value: float) -> int:
    return round(value * 65536)


def _xyz(values: Sequence[float]) -> bytes:
    return b"XYZ " + bytes(4) + struct.pack(">3i", *map(_fixed, values))


def _profile(space: bytes, tags: list[tuple[bytes, bytes]]) -> bytes:
    body, directory, start = b"", struct.pack(">I", len(tags)), 128 + 4 + 12 * len(tags)
    for key, data in tags:
        data += bytes(-len(data) % 4)
        directory += struct.pack(">4sII", key, start + len(body), len(data))
        body += data
    head = bytearray(128)
    head[0:4] = struct.pack(">I", start + len(body))
    head[8:12] = b"\x04\x30\x00\x00"
    head[12:24] = b"mntr" + space + b"XYZ "
    head[36:40] = b"acsp"
    head[68:80] = struct.pack(">3i", *map(_fixed, (0.9642, 1.0, 0.8249)))
    return bytes(head) + directory + body
