"""ICC profiles and code points against the published definitions of their colour spaces."""

from __future__ import annotations

import io

import numpy as np
import profiles
import pytest
from PIL import ImageCms

from finishmatch.colour.space import WHITE_D50, srgb_decode
from finishmatch.photo.decode import icc
from finishmatch.photo.decode.code_points import profile_of

GRID = np.broadcast_to(np.linspace(0, 1, 257), (3, 257))
# Bruce Lindbloom, "RGB/XYZ Matrices", D50 (Bradford) from sRGB and Adobe RGB (1998), four decimals of the seven printed;
# his white D65 is CIE's 0.95047, 1, 1.08883, ours IEC's x 0.3127, y 0.3290, which moves its Z by 3 in the fourth decimal.
LINDBLOOM = {
    "sRGB": (profiles.SRGB, [[0.4361, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7142]]),
    "Adobe RGB (1998)": (
        profiles.ADOBE,
        [[0.6097, 0.2053, 0.1492], [0.3111, 0.6257, 0.0632], [0.0195, 0.0609, 0.7446]],
    ),
}


@pytest.mark.parametrize("name", LINDBLOOM)
def test_a_matrix_profile_is_the_published_matrix(name: str) -> None:
    profile, published = LINDBLOOM[name]
    parsed = icc.parse(profile)
    assert isinstance(parsed, icc.MatrixProfile)
    np.testing.assert_allclose(parsed.rgb_to_xyz_d50, published, atol=3e-4)


def test_adobe_rgb_has_the_gamma_of_its_specification() -> None:
    """Adobe RGB (1998) Color Image Encoding, 2005-05, 4.3.4.2: 2.19921875, no linear part."""
    parsed = icc.parse(profiles.ADOBE)
    assert isinstance(parsed, icc.MatrixProfile)
    np.testing.assert_allclose(parsed.linear(GRID), GRID**2.19921875, atol=1e-9)
    np.testing.assert_allclose(icc.ADOBE_RGB.linear(GRID), GRID**2.19921875, atol=1e-9)


def test_display_p3_has_srgb_s_curve_and_its_own_primaries() -> None:
    """SMPTE EG 432-1 primaries, D65; the primaries are found again from the profile's matrix."""
    parsed = icc.parse(profiles.P3)
    assert isinstance(parsed, icc.MatrixProfile)
    np.testing.assert_allclose(parsed.linear(GRID)[0], srgb_decode(GRID[0]), atol=2e-5)  # 16 fractional bits
    by_code = profile_of((12, 13, 0, 1))
    assert by_code is not None
    np.testing.assert_allclose(by_code.rgb_to_xyz_d50, parsed.rgb_to_xyz_d50, atol=2e-5)


def test_littlecms_writes_an_srgb_that_is_read_as_srgb() -> None:
    parsed = icc.parse(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    assert isinstance(parsed, icc.MatrixProfile)
    np.testing.assert_allclose(parsed.linear(GRID)[1], srgb_decode(GRID[1]), atol=3e-5)
    np.testing.assert_allclose(parsed.rgb_to_xyz_d50.sum(axis=1), WHITE_D50, atol=2e-4)


@pytest.mark.parametrize("profile", [profiles.SRGB, profiles.P3, profiles.ADOBE], ids=["sRGB", "P3", "Adobe"])
def test_matrix_profiles_agree_with_littlecms(profile: bytes) -> None:
    """Another engine, 8 bits in and 8-bit Lab out, so half a unit of rounding and a little."""
    from PIL import Image

    from finishmatch.colour.space import xyz_to_lab

    rng = np.random.default_rng(3)
    rgb = rng.integers(0, 256, (64, 64, 3)).astype(np.uint8)
    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    lab = ImageCms.createProfile("LAB", 5000)
    theirs = ImageCms.profileToProfile(Image.fromarray(rgb), source, lab, ImageCms.Intent.RELATIVE_COLORIMETRIC, "LAB")
    values = np.asarray(theirs).astype(float)
    values[..., 0] *= 100 / 255
    values[..., 1:] = np.asarray(theirs)[..., 1:].astype(np.int8)
    parsed = icc.parse(profile)
    assert isinstance(parsed, icc.MatrixProfile)
    linear = parsed.linear(np.moveaxis(rgb / 255, -1, 0))
    ours = xyz_to_lab(np.moveaxis(linear, 0, -1) @ parsed.rgb_to_xyz_d50.T)
    inside = (np.abs(ours[..., 1:]) < 120).all(axis=-1)
    assert np.abs(ours - values)[inside].max() < 1.5
    assert np.abs((ours - values)[inside].mean(axis=0)).max() < 0.3


@pytest.mark.parametrize(
    ("kind", "values", "expected"),
    [  # ICC.1:2022, table 68
        (0, (2.0,), lambda x: x**2),
        (1, (2.0, 0.8, 0.2), lambda x: (0.8 * x + 0.2) ** 2),
        (2, (2.0, 0.8, 0.1, 0.05), lambda x: (0.8 * x + 0.1) ** 2 + 0.05),
        (3, (2.0, 0.8, 0.2, 0.4, 0.25), lambda x: np.where(x >= 0.25, (0.8 * x + 0.2) ** 2, 0.4 * x)),
        (
            4,
            (2.0, 0.8, 0.1, 0.4, 0.25, 0.05, 0.02),
            lambda x: np.where(x >= 0.25, (0.8 * x + 0.1) ** 2 + 0.05, 0.4 * x + 0.02),
        ),
    ],
)
def test_every_parametric_curve_is_the_formula_of_the_standard(
    kind: int, values: tuple[float, ...], expected: object
) -> None:
    data = profiles.matrix_profile(profiles.matrix(profiles.SRGB_XY), profiles.parametric(kind, *values))
    parsed = icc.parse(data)
    assert isinstance(parsed, icc.MatrixProfile)
    assert callable(expected)
    np.testing.assert_allclose(parsed.linear(GRID)[0], expected(GRID[0]), atol=3e-5)


def test_a_profile_cut_anywhere_is_a_value_error() -> None:
    for cut in range(len(profiles.P3)):
        with pytest.raises(ValueError, match=r"^[A-Za-z ]+$"):
            icc.parse(profiles.P3[:cut])


def test_a_profile_that_says_pq_is_high_dynamic_range() -> None:
    cicp = b"cicp" + bytes(4) + bytes((9, 16, 0, 1))
    data = profiles.matrix_profile(profiles.matrix(profiles.P3_XY), profiles.power(1), cicp=cicp)
    with pytest.raises(icc.HighDynamicRange, match="PQ"):
        icc.parse(data)


def test_a_name_is_shown_without_what_a_terminal_obeys() -> None:
    data = profiles.matrix_profile(
        profiles.matrix(profiles.P3_XY), profiles.power(2.2), "\x1b[2J\u202eevil\x00" + "x" * 99
    )
    assert icc.parse(data).name == "[2Jevil" + "x" * 53


def test_unknown_code_points_are_no_space() -> None:
    assert profile_of((2, 13, 0, 1)) is None
    assert profile_of((1, 2, 0, 1)) is None
