"""Encodings and CIELAB against published values.

IEC 61966-2-1 (sRGB) · CIE 15 (L* of 18 % reflectance, the whites D50 and D65 by ASTM E308) · Display P3 (primaries of
SMPTE RP 431-2, colorants of phone profiles from memory) · ICC.1:2022 (curves) · the 24 patches of the ColorChecker in
colour-science (`CCS_COLOURCHECKERS`, after November 2014).
"""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from identify import encoding
from identify.colour import delta_e, hex_of, lab_to_linear, linear_to_lab
from identify.photo import read
from tests.published import icc

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # colour-science tells of optional packages that are not installed
    import colour

D50_XY = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
P3 = icc.matrix_profile(icc.DISPLAY_P3_D50, icc.parametric(icc.SRGB_PARAMETERS, 3))


def test_eighteen_per_cent_is_lightness_49_5() -> None:
    np.testing.assert_allclose(linear_to_lab([0.18] * 3), (49.5, 0, 0), atol=0.01)


def test_white_of_d65_becomes_white_of_d50() -> None:
    np.testing.assert_allclose(encoding.adaptation(encoding.D65, encoding.D50) @ encoding.D65, encoding.D50, atol=1e-12)
    np.testing.assert_allclose(linear_to_lab([1, 1, 1]), (100, 0, 0), atol=1e-6)


def test_srgb_of_the_standard() -> None:
    assert encoding.srgb_decode(0.04045) == pytest.approx(0.0031308, abs=1e-7)
    assert encoding.srgb_decode(0.5) == pytest.approx(0.21404, abs=1e-5)
    assert encoding.srgb_encode(0.18) == pytest.approx(0.46135, abs=1e-5)
    codes = np.arange(256)
    np.testing.assert_array_equal(np.rint(encoding.srgb_encode(encoding.srgb_decode(codes / 255)) * 255), codes)


def test_linear_srgb_to_lab_as_colour_science() -> None:
    rgb = np.random.default_rng(5).uniform(0, 1, (50, 3))
    space = colour.RGB_COLOURSPACES["sRGB"]
    xyz = colour.RGB_to_XYZ(rgb, space, D50_XY, chromatic_adaptation_transform="Bradford", apply_cctf_decoding=False)
    # its matrix is the standard's, rounded to four places, hence the tolerance
    np.testing.assert_allclose(linear_to_lab(rgb), colour.XYZ_to_Lab(xyz, D50_XY), atol=0.1)


def test_hex_of_known_colours() -> None:
    """Lab D50 of the sRGB primaries: common reference values, no published source."""
    assert hex_of((54.29, 80.81, 69.89)) == "#ff0000"
    assert hex_of((100, 0, 0)) == "#ffffff"
    assert hex_of((49.5, 0, 0)) == "#767676"


@given(st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120)))
def test_lab_round_trip(lab: tuple[float, float, float]) -> None:
    np.testing.assert_allclose(linear_to_lab(lab_to_linear(lab)), lab, atol=1e-6)


@given(st.tuples(*[st.floats(-0.2, 1.5)] * 3))
def test_linear_round_trip(rgb: tuple[float, float, float]) -> None:
    np.testing.assert_allclose(lab_to_linear(linear_to_lab(rgb)), rgb, atol=1e-9)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "WEBP"])
def test_display_p3_red_keeps_its_chroma(tmp_path: Path, kind: str) -> None:
    """P3 red in linear sRGB is (1.2249, -0.0421, -0.0197): the matrix of CSS Color 4, section 17."""
    options = {"quality": 100, "subsampling": 0} if kind == "JPEG" else {"lossless": True} if kind == "WEBP" else {}
    Image.new("RGB", (64, 48), (255, 0, 0)).save(tmp_path / "red", kind, icc_profile=P3, **options)
    light = read(tmp_path / "red").linear((8, 8, 40, 40), 4)
    # quality 100 still rounds red to (254, 0, 0)
    np.testing.assert_allclose(light.mean((0, 1)), (1.2249, -0.0421, -0.0197), atol=0.012 if kind == "JPEG" else 2e-3)


def test_display_p3_codes_are_those_of_the_profile() -> None:
    made = encoding.from_icc(P3)
    ours = encoding.display_p3()
    assert made is not None and made.matrix is not None and ours.matrix is not None
    np.testing.assert_allclose(made.curves, ours.curves, atol=5e-5)
    np.testing.assert_allclose(made.matrix, ours.matrix, atol=1e-3)


def test_p3_picture_of_srgb_colours_reads_as_srgb(tmp_path: Path) -> None:
    """Skin, sky and foliage of the ColorChecker, written in P3, are measured as what they are."""
    lab = _colorchecker_lab()[:3]
    ours = encoding.display_p3()
    assert ours.matrix is not None
    codes = encoding.srgb_encode(lab_to_linear(lab) @ np.linalg.inv(ours.matrix).T)
    _patches(codes).save(tmp_path / "p3.png", icc_profile=P3)
    assert delta_e(_measured(tmp_path / "p3.png", 3), lab).max() < 0.6


@pytest.mark.parametrize("form", ["parametric", "gamma", "table", "grey"])
def test_curves_of_profiles(form: str) -> None:
    curve = {
        "parametric": icc.parametric((2.2,), 0),
        "gamma": icc.gamma(2.2),
        "table": icc.table(np.linspace(0, 1, 1024) ** 2.2),
        "grey": icc.gamma(2.2),
    }[form]
    srgb = tuple(encoding.SRGB_TO_XYZ_D50.T)
    made = encoding.from_icc(icc.grey_profile(curve) if form == "grey" else icc.matrix_profile(srgb, curve))
    assert made is not None
    assert made.matrix is None
    np.testing.assert_allclose(made.curves[1], np.linspace(0, 1, 256) ** 2.2, atol=2e-3)


def test_broken_profiles_are_refused() -> None:
    for broken in (b"", P3[:100], P3[:200], P3[:36] + b"nope" + P3[40:]):
        with pytest.raises(ValueError, match="ICC"):
            encoding.from_icc(broken)


@pytest.mark.parametrize("bits", [8, 16])
def test_colorchecker_made_into_a_picture(tmp_path: Path, bits: int) -> None:
    lab = _colorchecker_lab()
    codes = encoding.srgb_encode(lab_to_linear(lab))
    inside = ((lab_to_linear(lab) > -0.001) & (lab_to_linear(lab) < 1.001)).all(axis=1)
    assert inside.sum() >= 23  # cyan lies outside sRGB
    if bits == 8:
        _patches(codes).save(tmp_path / "chart.png")
    else:
        import cv2

        wide = np.rint(np.kron(codes.reshape(4, 6, 3), np.ones((20, 20, 1))) * 65535).astype(np.uint16)
        cv2.imwrite(str(tmp_path / "chart.png"), wide[..., ::-1])
    differences = delta_e(_measured(tmp_path / "chart.png", 24), lab)[inside]
    assert differences.max() < (0.5 if bits == 8 else 0.01)


def _colorchecker_lab() -> np.ndarray:
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    return np.asarray(colour.XYZ_to_Lab(xyz, chart.illuminant))


def _patches(codes: np.ndarray) -> Image.Image:
    columns = min(len(codes), 6)
    grid = np.rint(codes * 255).astype(np.uint8).reshape(-1, columns, 3)
    return Image.fromarray(grid.repeat(20, 0).repeat(20, 1))


def _measured(path: Path, count: int) -> np.ndarray:
    light = read(path).linear(shrink=5)[1::4, 1::4]
    return linear_to_lab(light.reshape(count, 3))
