"""Reading photos: kinds of files, orientation, profiles, focal length, bad input."""

from __future__ import annotations

import hashlib
import io
import os
import stat
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms

from identify.encoding import srgb_decode
from identify.errors import PhotoMissing, PhotoTooLarge, PhotoUnreadable
from identify.photo import Photo, focal_of, read
from identify.settings import Settings

# Corners of the picture as displayed: clear of each other in every orientation.
CORNERS = {(0, 0): (220, 30, 30), (0, 1): (30, 200, 30), (1, 0): (40, 40, 220), (1, 1): (210, 210, 40)}
SHAPE = (48, 64)


def upright() -> np.ndarray:
    h, w = SHAPE
    picture = np.full((h, w, 3), 128, np.uint8)
    for (i, j), colour in CORNERS.items():
        picture[i * (h - 16) : i * (h - 16) + 16, j * (w - 16) : j * (w - 16) + 16] = colour
    return picture


def stored(orientation: int) -> Image.Image:
    """The picture as a file with that EXIF orientation holds it."""
    undo = {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }
    image = Image.fromarray(upright())
    return image.transpose(undo[orientation]) if orientation in undo else image


def exif_with(**fields: Any) -> Image.Exif:
    exif = Image.Exif()
    exif[0x010F] = "Camera"
    if "orientation" in fields:
        exif[0x0112] = fields.pop("orientation")
    tags = {
        "focal35": 0xA405,
        "focal": 0x920A,
        "x": 0xA002,
        "y": 0xA003,
        "plane": 0xA20E,
        "unit": 0xA210,
        "space": 0xA001,
    }
    block = exif.get_ifd(0x8769)
    for key, value in fields.items():
        block[tags[key]] = value
    return exif


def assert_upright(photo: Photo, tolerance: int = 40) -> None:
    assert (photo.height, photo.width) == SHAPE
    h, w = SHAPE
    for (i, j), colour in CORNERS.items():
        seen = photo.pixels[i * (h - 16) + 8, j * (w - 16) + 8].astype(int)
        if photo.pixels.dtype == np.uint16:
            seen = seen // 257
        assert np.abs(seen - colour).max() <= tolerance, (i, j)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["jpg", "png", "tif", "webp"])
def test_orientation_is_applied_once(tmp_path: Path, kind: str, orientation: int) -> None:
    path = tmp_path / f"turned.{kind}"
    stored(orientation).save(
        path, exif=exif_with(orientation=orientation), **({"quality": 95} if kind == "jpg" else {})
    )
    assert_upright(read(path))


@pytest.mark.parametrize("orientation", range(1, 9))
def test_heic_is_turned_once(tmp_path: Path, orientation: int) -> None:
    path = tmp_path / "turned.heic"
    image = stored(orientation)
    pillow_heif.from_pillow(image).save(path, quality=95, exif=exif_with(orientation=orientation).tobytes())
    assert_upright(read(path))


@pytest.mark.parametrize("orientation", [1, 3, 6, 7])
def test_sixteen_bit_tiff_and_png(tmp_path: Path, orientation: int) -> None:
    import tifffile

    wide = np.asarray(stored(orientation)).astype(np.uint16) * 257
    wide[20:24, 20:24] = 12345
    path = tmp_path / "deep.tif"
    tifffile.imwrite(path, wide, photometric="rgb", extratags=[(274, "H", 1, orientation, True)])
    photo = read(path)
    assert photo.pixels.dtype == np.uint16
    assert (photo.pixels == 12345).all(axis=2).sum() == 16
    assert_upright(photo)
    if orientation == 1:
        cv2.imwrite(str(tmp_path / "deep.png"), wide[..., ::-1])
        again = read(tmp_path / "deep.png")
        np.testing.assert_array_equal(again.pixels, wide)
        np.testing.assert_allclose(again.linear(), srgb_decode(wide / 65535), atol=1e-6)


def test_planar_sixteen_bit_tiff_is_refused(tmp_path: Path) -> None:
    import tifffile

    wide = np.moveaxis(upright().astype(np.uint16) * 257, -1, 0)
    tifffile.imwrite(tmp_path / "planar.tif", wide, photometric="rgb", planarconfig="separate")
    with pytest.raises(PhotoUnreadable, match="planes"):
        read(tmp_path / "planar.tif")


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGBA", "CMYK", "I;16"])
def test_modes_become_rgb(tmp_path: Path, mode: str) -> None:
    path = tmp_path / ("m.tif" if mode == "CMYK" else "m.png")
    grey = Image.new("L", (40, 30), 255)
    if mode == "I;16":
        Image.fromarray(np.full((30, 40), 65535, np.uint16)).save(path)
    else:
        grey.convert("RGB").convert(mode).save(path) if mode != "1" else grey.convert("1").save(path)
    photo = read(path)
    assert photo.pixels.shape == (30, 40, 3)
    assert photo.linear().min() > 0.99
    assert [n.code for n in photo.warnings] == (["profile-unreadable"] if mode == "CMYK" else [])


def test_transparent_shows_white(tmp_path: Path) -> None:
    image = Image.new("RGBA", (20, 20), (10, 10, 10, 0))
    image.paste((200, 0, 0, 255), (0, 0, 10, 20))
    image.save(tmp_path / "a.png")
    photo = read(tmp_path / "a.png")
    assert tuple(photo.pixels[5, 15]) == (255, 255, 255)
    assert tuple(photo.pixels[5, 5]) == (200, 0, 0)


@pytest.mark.parametrize("kind", ["MPO", "TIFF", "WEBP", "PNG", "GIF"])
def test_primary_picture_of_several(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "several"
    options = {"duration": 100} if kind in ("WEBP", "PNG", "GIF") else {}
    Image.fromarray(upright()).save(
        path, kind, save_all=True, append_images=[Image.new("RGB", (64, 48), (0, 0, 0))], **options
    )
    assert_upright(read(path), 60)


def test_primary_picture_of_heic(tmp_path: Path) -> None:
    file = pillow_heif.HeifFile()
    file.add_from_pillow(Image.new("RGB", (64, 64)))
    file.add_from_pillow(Image.fromarray(upright()))
    file.save(tmp_path / "two.heic", primary_index=1, quality=95)
    assert_upright(read(tmp_path / "two.heic"))


def test_content_counts_and_not_the_extension(tmp_path: Path) -> None:
    path = tmp_path / "photo [é] 🎣.jpg"
    Image.fromarray(upright()).save(path, "PNG")
    photo = read(path)
    assert_upright(photo, 0)
    assert photo.name == str(path)
    assert photo.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_lut_profile_goes_through_colour_management(tmp_path: Path) -> None:
    """A Lab profile on an RGB picture cannot be applied: that is said, and sRGB assumed."""
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    for name, profile in (("lab.png", lab), ("junk.png", b"not a profile" * 20), ("cut.png", lab[:150])):
        Image.fromarray(upright()).save(tmp_path / name, icc_profile=profile)
        photo = read(tmp_path / name)
        assert [n.code for n in photo.warnings] == ["profile-unreadable"], name
        assert_upright(photo, 0)


def test_srgb_profile_changes_nothing(tmp_path: Path) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(upright()).save(tmp_path / "s.png", icc_profile=profile)
    photo = read(tmp_path / "s.png")
    np.testing.assert_allclose(photo.linear(), srgb_decode(upright() / 255), atol=1.5e-3)
    assert photo.warnings == ()


def bad_files() -> dict[str, tuple[bytes, str]]:
    jpeg, png = io.BytesIO(), io.BytesIO()
    noise = Image.fromarray(np.random.default_rng(1).integers(0, 255, (64, 64, 3), np.uint8))
    noise.save(jpeg, "JPEG")
    noise.save(png, "PNG")
    j, p = jpeg.getvalue(), png.getvalue()
    return {
        "empty": (b"", "empty"),
        "zeros": (bytes(5000), "zeros"),
        "half.jpg": (j[: len(j) // 2], "incomplete"),
        "preallocated.jpg": (j[: len(j) // 2] + bytes(len(j) // 2), "incomplete"),
        "header.jpg": (j[:30], "incomplete"),
        "half.png": (p[: len(p) // 2], "incomplete"),
        "note.jpg": (b"Two baits, one box.\n", "a text"),
        "page.jpg": (b"<!doctype html><html>", "web page"),
        "drawing.svg": (b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"/>', "SVG"),
        "paper.pdf": (b"%PDF-1.7\n\x00", "PDF"),
        "camera.cr3": (b"\x00\x00\x00\x18ftypcrx \x00\x00", "raw file"),
        "camera.cr2": (b"II*\x00\x10\x00\x00\x00CR\x02\x00", "raw file"),
        "film.mp4": (b"\x00\x00\x00\x18ftypmp42\x00\x00", "film"),
        "half.heic": (b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00", "incomplete"),
        "other": (b"\x00\x01\x02\x03 what", "not a picture"),
    }


@pytest.mark.parametrize("name", bad_files())
def test_bad_files_say_why_and_what_to_do(tmp_path: Path, name: str) -> None:
    data, reason = bad_files()[name]
    (tmp_path / name).write_bytes(data)
    with pytest.raises(PhotoUnreadable, match=reason) as caught:
        read(tmp_path / name)
    assert caught.value.what_to_do
    assert str(tmp_path) not in caught.value.message


def test_missing_folder_and_forbidden(tmp_path: Path) -> None:
    with pytest.raises(PhotoMissing):
        read(tmp_path / "none.jpg")
    with pytest.raises(PhotoMissing):
        read(tmp_path / ("x" * 300))
    with pytest.raises(PhotoMissing):
        read("nul\0.jpg")
    with pytest.raises(PhotoUnreadable, match="folder"):
        read(tmp_path)


@pytest.mark.skipif(sys.platform == "win32" or os.geteuid() == 0, reason="needs a user whom permissions bind")
def test_forbidden_file(tmp_path: Path) -> None:
    path = tmp_path / "locked.jpg"
    path.write_bytes(b"x")
    path.chmod(0)
    with pytest.raises(PhotoUnreadable, match="may not be read"):
        read(path)
    path.chmod(stat.S_IRWXU)


def test_limit_comes_before_decoding(tmp_path: Path) -> None:
    Image.new("1", (20000, 10000)).save(tmp_path / "huge.png")
    with pytest.raises(PhotoTooLarge, match="200 megapixels"):
        read(tmp_path / "huge.png")
    Image.new("RGB", (100, 100)).save(tmp_path / "small.jpg")
    with pytest.raises(PhotoTooLarge):
        read(tmp_path / "small.jpg", Settings(max_megapixels=0.005))
    pillow_heif.from_pillow(Image.new("RGB", (100, 100))).save(tmp_path / "small.heic")
    with pytest.raises(PhotoTooLarge):
        read(tmp_path / "small.heic", Settings(max_megapixels=0.005))


@pytest.mark.parametrize("size", [(30, 30), (1, 1), (3, 200)])
def test_tiny_pictures(tmp_path: Path, size: tuple[int, int]) -> None:
    Image.new("RGB", size, (9, 200, 9)).save(tmp_path / "t.jpg")
    photo = read(tmp_path / "t.jpg")
    light, shrink = photo.reduced(16)
    assert light.shape == (size[1] // shrink, size[0] // shrink, 3)
    assert light.size


def test_linear_averages_light(tmp_path: Path) -> None:
    pixels = np.zeros((4, 7, 3), np.uint8)
    pixels[:, ::2] = 255
    photo = Photo("drawn", "", pixels, None)
    np.testing.assert_allclose(photo.linear(shrink=2), 0.5, atol=1e-4)
    assert photo.linear((1, 1, 6, 4), 2).shape == (1, 2, 3)
    np.testing.assert_allclose(photo.linear((1, 0, 3, 2)), srgb_decode(pixels[0:2, 1:3] / 255), atol=1e-6)


def test_reduced_is_kept_and_read_only() -> None:
    photo = Photo("drawn", "", np.full((100, 310, 3), 99, np.uint8), None)
    light, shrink = photo.reduced(100)
    assert shrink == 4
    assert light.shape == (25, 77, 3)
    assert photo.reduced(100)[0] is light
    with pytest.raises(ValueError, match="read-only"):
        light[0, 0] = 0


def test_clipped() -> None:
    pixels = np.full((6, 6, 3), 253, np.uint8)
    pixels[1, 4, 2] = 254
    photo = Photo("drawn", "", pixels, None)
    assert np.argwhere(photo.clipped()).tolist() == [[1, 4]]
    assert np.argwhere(photo.clipped(None, 3)).tolist() == [[0, 1]]
    assert photo.clipped((0, 0, 4, 6)).sum() == 0


F35, X, Y, F, RES, UNIT = 0xA405, 0xA002, 0xA003, 0x920A, 0xA20E, 0xA210


@pytest.mark.parametrize(
    ("exif", "size", "expected"),
    [
        ({F35: 26}, (4000, 3000), (26.0, False)),
        ({F35: 26}, (1500, 2000), (26.0, False)),
        ({}, (1000, 800), (None, False)),
        ({F35: 0}, (4000, 3000), (None, False)),
        ({F35: 65535}, (4000, 3000), (None, False)),
        ({F35: b"26"}, (4000, 3000), (26.0, False)),
        ({F35: "many"}, (4000, 3000), (None, False)),
        ({F35: 26, X: 4000, Y: 3000}, (3000, 4000), (26.0, False)),
        ({F35: 26, X: 4000, Y: 3000}, (2000, 1500), (26.0, False)),
        ({F35: 26, X: 4000, Y: 3000}, (3000, 3000), (None, True)),
        ({F35: 26, X: 4000, Y: 3000}, (3000, 2000), (None, True)),
        ({F35: 26}, (1183, 901), (None, True)),
        ({F: 50.0, RES: 4000 / 36 * 10, UNIT: 3, X: 4000, Y: 2667}, (4000, 2667), (50.0, False)),
        ({F: 50.0, RES: 4000 / 36 * 10, UNIT: 3}, (4000, 2667), (None, False)),
        ({F: 50.0, RES: 0, UNIT: 3, X: 4000, Y: 2667}, (4000, 2667), (None, False)),
    ],
)
def test_focal_length(exif: dict[int, Any], size: tuple[int, int], expected: tuple[float | None, bool]) -> None:
    focal, cropped = focal_of(exif, size)
    assert cropped is expected[1]
    assert focal == (None if expected[0] is None else pytest.approx(expected[0], rel=2e-3))


def test_focal_length_is_read_from_files(tmp_path: Path) -> None:
    image = Image.new("RGB", (640, 480))
    for name in ("f.jpg", "f.png", "f.webp"):
        image.save(tmp_path / name, exif=exif_with(focal35=28, x=640, y=480))
        assert read(tmp_path / name).focal_35mm == 28, name
    pillow_heif.from_pillow(image).save(tmp_path / "f.heic", exif=exif_with(focal35=28).tobytes())
    assert read(tmp_path / "f.heic").focal_35mm == 28


def test_broken_exif_does_not_spoil_the_photo(tmp_path: Path) -> None:
    Image.fromarray(upright()).save(tmp_path / "e.jpg", quality=95, exif=b"Exif\x00\x00II*\x00\xff\xff\xff\x7f")
    assert_upright(read(tmp_path / "e.jpg"))
