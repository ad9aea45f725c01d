"""Colour spaces against colour-science, against published matrices, and against their own inverses."""

from __future__ import annotations

import numpy as np
import pytest
from colour_outside import average_chart, colour_science, random_lab, random_surface_lab
from hypothesis import given
from hypothesis import strategies as st

from finishmatch.colour import space
from finishmatch.colour.ciede2000 import ciede2000

real_lab = st.tuples(st.floats(1, 100), st.floats(-60, 60), st.floats(-60, 60)).map(np.array)


def test_white_is_lab_100_0_0_and_black_is_0_0_0():
    assert space.xyz_to_lab(space.WHITE_D50) == pytest.approx([100, 0, 0], abs=1e-12)
    assert space.xyz_to_lab([0, 0, 0]) == pytest.approx([0, 0, 0], abs=1e-12)


@pytest.mark.parametrize("white", [space.WHITE_D50, space.WHITE_D65], ids=["D50", "D65"])
def test_xyz_to_lab_and_back_agree_with_colour_science(white):
    colour = colour_science()
    xyz = np.random.default_rng(1).uniform(0, 1.2, (20_000, 3)) ** 3
    white_xy = colour.XYZ_to_xy(white)
    lab = space.xyz_to_lab(xyz, white)
    assert np.abs(lab - colour.XYZ_to_Lab(xyz, white_xy)).max() < 1e-9
    assert np.abs(space.lab_to_xyz(lab, white) - colour.Lab_to_XYZ(lab, white_xy)).max() < 1e-12


def test_lab_to_xyz_undoes_xyz_to_lab_on_both_sides_of_the_dark_segment_and_below_zero():
    xyz = np.random.default_rng(2).uniform(-0.01, 0.03, (5_000, 3))
    assert np.abs(space.lab_to_xyz(space.xyz_to_lab(xyz)) - xyz).max() < 1e-15


def test_lch_agrees_with_colour_science():
    lab = random_lab(10_000, seed=3)
    assert np.abs(space.lab_to_lch(lab) - colour_science().Lab_to_LCHab(lab)).max() < 1e-10


def test_luminance_is_the_y_of_xyz():
    lab = random_lab(1_000, seed=4)
    assert np.abs(space.luminance(lab) - space.lab_to_xyz(lab)[:, 1]).max() < 1e-15


@given(real_lab, st.floats(0.001, 1))
def test_another_luminance_keeps_the_chromaticity(lab, y):
    before, after = space.lab_to_xyz(lab), space.lab_to_xyz(space.at_luminance(lab, y))
    assert after[1] == pytest.approx(y, rel=1e-9)
    assert after * before[1] == pytest.approx(before * after[1], abs=1e-12)


@given(real_lab, st.floats(0.01, 1), st.floats(0.01, 1))
def test_the_last_luminance_counts(lab, first, last):
    twice = space.at_luminance(space.at_luminance(lab, first), last)
    assert twice == pytest.approx(space.at_luminance(lab, last), abs=1e-6)


@given(real_lab)
def test_its_own_luminance_changes_nothing(lab):
    assert space.at_luminance(lab, space.luminance(lab)) == pytest.approx(lab, abs=1e-9)


def test_the_jacobian_agrees_with_differences_on_both_sides_of_the_dark_segment():
    xyz = np.random.default_rng(5).uniform(0.0005, 1, (2_000, 3)) ** 2
    edge = (6 / 29) ** 3 * space.WHITE_D50
    step = 1e-7
    xyz = xyz[(np.abs(xyz - edge) > 2 * step).all(axis=1)]
    shifts = step * np.eye(3)
    forth, back = (space.xyz_to_lab(xyz[:, None] + sign * shifts) for sign in (1, -1))
    numeric = np.swapaxes(forth - back, 1, 2) / (2 * step)
    assert np.abs(space.lab_jacobian(xyz) - numeric).max() < 1e-4 * np.abs(numeric).max()
    assert (xyz < edge).any()
    assert (xyz > edge).any()


def test_the_jacobian_is_unbroken_at_the_edge_of_the_dark_segment():
    edge = (6 / 29) ** 3 * space.WHITE_D50
    below, above = space.lab_jacobian(edge * (1 - 1e-9)), space.lab_jacobian(edge * (1 + 1e-9))
    assert below == pytest.approx(above, rel=1e-6)


@pytest.mark.parametrize(("source", "target"), [("D65", "D50"), ("D50", "D65"), ("A", "D50")])
def test_adaptation_agrees_with_the_bradford_matrix_of_colour_science(source, target):
    colour = colour_science()
    illuminants = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    one, other = (colour.xy_to_XYZ(illuminants[name]) for name in (source, target))
    theirs = colour.adaptation.matrix_chromatic_adaptation_VonKries(one, other, transform="Bradford")
    assert np.abs(space.adaptation(one, other) - theirs).max() < 1e-12
    assert space.adaptation(one, other) @ one == pytest.approx(other, abs=1e-15)


def test_d65_is_where_the_standard_of_srgb_puts_it():
    assert pytest.approx(colour_science().xy_to_XYZ([0.3127, 0.3290]), abs=1e-15) == space.WHITE_D65


@pytest.mark.parametrize("name", ["sRGB", "Display P3", "Adobe RGB (1998)"])
def test_the_matrix_of_a_set_of_primaries_agrees_with_colour_science(name):
    colour = colour_science()
    theirs = colour.RGB_COLOURSPACES[name]
    primaries = np.reshape(theirs.primaries, (3, 2))
    white = colour.xy_to_XYZ(theirs.whitepoint)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(white, space.WHITE_D50, transform="Bradford")
    ours = space.primaries_to_xyz_d50(primaries)
    derived = adapt @ colour.normalised_primary_matrix(primaries, theirs.whitepoint)
    assert np.abs(ours - derived).max() < 1e-12
    # The standards print the matrix under D65 to four or five digits: at most a few units of the last.
    assert np.abs(ours - adapt @ theirs.matrix_RGB_to_XYZ).max() < 1.5e-4


def test_the_srgb_matrix_is_that_of_the_srgb_profile_of_little_cms():
    """Its colorants are stored in steps of 2^-16."""
    from PIL import ImageCms

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).profile
    colorants = (profile.red_colorant, profile.green_colorant, profile.blue_colorant)
    theirs = np.stack([xyz for xyz, _ in colorants], axis=1)
    assert np.abs(space.SRGB_TO_XYZ_D50 - theirs).max() < 2**-17


def test_equal_rgb_is_neutral():
    assert space.SRGB_TO_XYZ_D50.sum(axis=1) == pytest.approx(space.WHITE_D50, abs=1e-12)


def test_the_srgb_curve_agrees_with_colour_science_both_ways():
    models, value = colour_science().models, np.linspace(0, 1, 4097)
    assert np.abs(space.srgb_decode(value) - models.eotf_sRGB(value)).max() < 1e-12
    assert np.abs(space.srgb_encode(value) - models.eotf_inverse_sRGB(value)).max() < 1e-12


def test_every_eight_bit_level_survives_decoding_and_encoding():
    levels = np.arange(256)
    assert np.array_equal(np.rint(space.srgb_encode(space.srgb_decode(levels / 255)) * 255), levels)


def test_a_colour_of_the_screen_comes_back_from_lab_and_one_beyond_it_is_clipped():
    lab = random_surface_lab(2_000, seed=6)
    again = space.xyz_to_lab(space.srgb_decode(space.xyz_to_srgb(space.lab_to_xyz(lab))) @ space.SRGB_TO_XYZ_D50.T)
    assert np.abs(again - lab).max() < 1e-6
    assert space.xyz_to_srgb(space.lab_to_xyz([50, 200, 0]))[:2] == pytest.approx([1, 0], abs=1e-15)


@pytest.mark.parametrize(
    ("lab", "code"), [((100, 0, 0), "#ffffff"), ((0, 0, 0), "#000000"), ((53.585, 0, 0), "#808080")]
)
def test_a_lab_colour_has_its_code_for_the_screen(lab, code):
    assert space.lab_to_hex(lab) == code


def test_the_average_chart_integrated_under_d50_gives_its_shipped_chromaticities():
    """A check of white, observer and Lab together, on others' spectra (380 to 730 nm in steps of 10)."""
    colour = colour_science()
    spectra, shipped = average_chart(colour)
    light = colour.SDS_ILLUMINANTS["D50"]
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    wavelengths_nm = np.arange(380, 731, 10)
    weights = light[wavelengths_nm][:, None] * observer[wavelengths_nm]
    weights /= weights[:, 1].sum()
    xyz = np.array([reflectance[wavelengths_nm] for reflectance in spectra.values()]) @ weights
    reference = colour.xyY_to_XYZ(np.array(list(shipped.data.values())))
    off = ciede2000(
        space.xyz_to_lab(xyz, weights.sum(axis=0)),
        space.xyz_to_lab(reference, colour.xy_to_XYZ(shipped.illuminant)),
    )
    assert list(spectra) == list(shipped.data)
    assert off.shape == (24,)
    assert off.mean() < 0.045
    assert off.max() < 0.2
