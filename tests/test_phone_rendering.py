"""Each step of the phone's rendering does what it says, on pictures small enough to know by heart."""

from __future__ import annotations

import io
import sys
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageCms

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from finishmatch.colour.space import SRGB_TO_XYZ_D50, WHITE_D65, srgb_decode, srgb_encode, xyz_to_lab  # noqa: E402
from sample_photos.make.phone import chain, colour, detail, light, tone  # noqa: E402

HEIGHT, WIDTH = 96, 128


def flat(*values: float) -> np.ndarray[Any, Any]:
    return np.full((HEIGHT, WIDTH, len(values)), values, np.float32)


def halves(left: float, right: float) -> np.ndarray[Any, Any]:
    picture = flat(left, left, left)
    picture[:, WIDTH // 2 :] = right
    return picture


def rng() -> np.random.Generator:
    return np.random.default_rng(5)


# ---- light


def test_shading_darkens_the_corners_by_its_share_and_blue_most() -> None:
    shaded = light.shade(flat(0.5, 0.5, 0.5), light.Shading(corner=0.2, tint=0.04))
    assert shaded[HEIGHT // 2, WIDTH // 2] == pytest.approx([0.5] * 3, rel=1e-3)
    assert shaded[0, 0] == pytest.approx([0.5 * 0.82, 0.5 * 0.8, 0.5 * 0.78], rel=1e-5)


def test_glare_puts_light_into_black_and_takes_none_of_the_whole() -> None:
    step = light.Glare(veil=0.02, bloom=0.1)
    veiled = light.veil(halves(0.0, 1.0), step)
    assert veiled[:, :4] == pytest.approx(np.full((HEIGHT, 4, 3), 0.02 * 0.5), rel=1e-4)
    assert veiled[:, WIDTH // 2 - 1].min() > 0.02  # more of it beside the bright half
    assert light.veil(flat(0.3, 0.2, 0.1), step)[0, 0] == pytest.approx([0.306, 0.204, 0.102], rel=1e-4)


def test_noise_grows_with_light_and_keeps_the_mean() -> None:
    step = light.Noise(shot=0.02, read=0.004)
    for level in (0.1, 0.6):
        noisy = light.grain(flat(*[level] * 3), step, rng())
        assert noisy.mean() == pytest.approx(level, abs=1e-3)
        assert noisy.std() == pytest.approx(np.sqrt(0.02**2 * level + 0.004**2), rel=0.03)


def test_a_mosaic_keeps_even_colour_and_every_channel_in_its_place() -> None:
    found = light.mosaic(flat(0.8, 0.4, 0.1), light.Mosaic(0.5))
    assert found[8:-8, 8:-8].reshape(-1, 3) == pytest.approx(np.tile([0.8, 0.4, 0.1], (80 * 112, 1)), abs=1e-4)


def test_a_mosaic_blurs_and_colours_fine_lines() -> None:
    lines = flat(0.2, 0.2, 0.2)
    lines[:, ::2] = 0.8
    found = light.mosaic(lines, light.Mosaic(0.3))[8:-8, 8:-8]
    assert (
        np.ptp(found.mean(axis=(0, 1))) > 0.1
    )  # red and blue are sampled in one phase of the lines: a colour of its own
    assert found[..., 1].std() < lines[8:-8, 8:-8, 1].std()


def test_the_bayer_pattern_is_red_green_over_green_blue() -> None:
    pattern = light.bayer(flat(1.0, 2.0, 3.0))[:2, :2]
    assert pattern.tolist() == [[1, 2], [2, 3]]


def test_balance_leaves_the_share_of_the_cast_that_is_asked_for() -> None:
    cast = np.array([1.5, 1.0, 0.5])
    for kept in (0.0, 0.25, 1.0):
        found = light.unbalance(flat(0.2, 0.2, 0.2), light.Balance(0.0, kept), cast, rng())
        assert found[0, 0] == pytest.approx(0.2 * cast**kept, rel=1e-5)


def test_balance_errors_have_the_spread_that_is_asked_for() -> None:
    found = [
        light.unbalance(flat(1, 1, 1)[:1, :1], light.Balance(0.05, 0.0), np.ones(3), np.random.default_rng(n))[0, 0]
        for n in range(400)
    ]
    assert np.log(found).std(axis=0) == pytest.approx([0.05, 0, 0.05], rel=0.15)


def test_a_wrong_matrix_keeps_neutrals_and_moves_colours() -> None:
    step = light.Matrix(0.05)
    assert light.mix(flat(0.4, 0.4, 0.4), step, rng())[0, 0] == pytest.approx([0.4] * 3, rel=1e-5)
    assert np.abs(light.mix(flat(0.6, 0.3, 0.1), step, rng())[0, 0] - [0.6, 0.3, 0.1]).max() > 0.005


# ---- tone


def test_local_tone_brings_areas_together_and_keeps_chroma_ratios_and_detail() -> None:
    picture = np.concatenate([flat(0.06, 0.03, 0.015), flat(0.8, 0.4, 0.2)], axis=1)
    picture[::4] *= 1.1
    found = tone.even_out(picture, tone.LocalTone(0.3))
    assert found[..., 0] / found[..., 2] == pytest.approx(np.full(found.shape[:2], 4.0), rel=1e-4)
    dark, bright = found[50, 20, 1], found[50, -20, 1]
    assert 0.5 * 0.4 / 0.03 < bright / dark < 0.9 * 0.4 / 0.03
    assert found[48, 20, 1] / found[49, 20, 1] == pytest.approx(1.1, rel=0.02)


def test_lifting_raises_shadows_most_and_keeps_ratios() -> None:
    step = tone.Lift(0.4, where=0.06)
    gains = [tone.lift(flat(*[level] * 3), step)[0, 0, 0] / level for level in (0.001, 0.06, 0.9)]
    assert gains == pytest.approx([1 + 0.4 / (1 + 1 / 60), 1.2, 1.025], rel=1e-3)
    red = tone.lift(flat(0.04, 0.02, 0.01), step)[0, 0]
    assert red / red[2] == pytest.approx([4, 2, 1], rel=1e-5)


@pytest.mark.parametrize("strength", sorted(chain.STRENGTHS))
def test_the_curve_rises_everywhere_and_ends_under_the_clip_level(strength: str) -> None:
    step = chain.STRENGTHS[strength].curve
    assert step is not None
    ramp = np.geomspace(1e-4, 50, 2000)
    values = tone.bend(np.stack([ramp] * 3, axis=-1).astype(np.float32), step)[:, 0]
    assert (np.diff(values) >= 0).all()
    assert (np.diff(values[ramp < 2]) > 0).all()
    assert values.max() * 255 <= 251.5
    assert strength == "mild" or values.max() * 255 < 250


def test_the_s_curve_is_steeper_in_the_middle_and_flatter_in_the_shadows() -> None:
    step = tone.Curve(0.6, 0.9, 1.0)
    ramp = srgb_decode(np.array([0.02, 0.04, 0.49, 0.51]))
    values = tone.bend(np.stack([ramp] * 3, axis=-1).astype(np.float32), step)[:, 0]
    assert (values[1] - values[0]) / 0.02 < 0.7
    assert (values[3] - values[2]) / 0.02 == pytest.approx(1.3, abs=0.01)


def test_the_shoulder_is_smooth_at_its_knee() -> None:
    slopes = np.diff(tone.shoulder(np.linspace(0.7, 0.9, 201), 0.8, 0.95)) / 1e-3
    assert slopes.max() == pytest.approx(1, abs=1e-6)
    assert np.abs(np.diff(slopes)).max() < 0.02


# ---- colour


def _speckled() -> np.ndarray[Any, Any]:
    encoded = np.full((HEIGHT, WIDTH, 3), 0.5) + 0.05 * rng().standard_normal((HEIGHT, WIDTH, 3))
    return np.clip(encoded, 0, 1)


def test_chroma_denoising_keeps_luma_and_smooths_chroma() -> None:
    before, after = _speckled(), colour.denoise_chroma(_speckled(), colour.ChromaDenoise(4, 0.2))
    luma = colour.TO_YCC[0]
    assert after @ luma == pytest.approx(before @ luma, abs=1e-5)
    for row in colour.TO_YCC[1:]:
        assert (after @ row).std() < 0.35 * (before @ row).std()


def test_vividness_keeps_luma_and_neutrals_and_favours_dull_colours() -> None:
    encoded = np.array([[0.4, 0.4, 0.4], [0.5, 0.45, 0.4], [0.95, 0.2, 0.1]])
    found = colour.enliven(encoded, colour.Vividness(1.1, 0.2))
    luma = colour.TO_YCC[0]
    assert found @ luma == pytest.approx(encoded @ luma, abs=1e-12)
    assert found[0] == pytest.approx(encoded[0], abs=1e-12)
    gains = np.ptp(found[1:], axis=1) / np.ptp(encoded[1:], axis=1)
    assert gains == pytest.approx([1.1 + 0.2 * 0.9**2, 1.1 + 0.2 * 0.15**2], rel=1e-9)


@pytest.mark.parametrize("strength", sorted(chain.STRENGTHS))
@pytest.mark.parametrize("seed", [101, 202, 303])
def test_the_look_keeps_neutrals_near_neutral_and_turns_vivid_hues(strength: str, seed: int) -> None:
    how = chain.STRENGTHS[strength].look
    assert how is not None
    step = replace(how, seed=seed)
    greys = np.repeat(np.linspace(0, 1, 41)[:, None], 3, axis=1)
    assert colour.look_up(greys, step) == pytest.approx(greys, abs=0.6 / 255)
    hues = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    vivid = 0.5 + 0.25 * np.stack([np.cos(hues), np.cos(hues - 2.094), np.cos(hues + 2.094)], axis=1)
    lab = [xyz_to_lab(srgb_decode(values) @ SRGB_TO_XYZ_D50.T) for values in (vivid, colour.look_up(vivid, step))]
    turned = np.degrees(np.angle(np.exp(1j * (np.arctan2(*lab[1].T[[2, 1]]) - np.arctan2(*lab[0].T[[2, 1]])))))
    assert 0.4 * step.turn < np.sqrt((turned**2).mean()) < 2.0 * step.turn


def test_looks_differ_by_their_seed_alone() -> None:
    assert (colour.table(colour.Look(4, 0.06, 2, seed=7)) == colour.table(colour.Look(4, 0.06, 2, seed=7))).all()
    assert (
        np.abs(colour.table(colour.Look(4, 0.06, 2, seed=7)) - colour.table(colour.Look(4, 0.06, 2, seed=8))).max()
        > 0.02
    )


# ---- edges and files


def test_sharpening_makes_halos_within_its_limit_and_leaves_flat_areas() -> None:
    step = detail.Sharpening(0.8, 0.4, limit=0.06)
    found = detail.sharpen(halves(0.3, 0.7).astype(float), step)[..., 0]
    assert found[:, 4] == pytest.approx(np.full(HEIGHT, 0.3), abs=1e-6)
    assert 0.02 < 0.3 - found.min() <= 0.06
    assert 0.02 < found.max() - 0.7 <= 0.06


def test_sharpening_pushes_nothing_over_the_ceiling() -> None:
    found = detail.sharpen(halves(0.3, 0.94).astype(float), detail.Sharpening(1.5, 0.5), ceiling=0.95)
    assert found.max() <= 0.95


def test_a_messenger_moves_a_dot_to_where_points_are_moved_to() -> None:
    pixels = np.full((600, 800, 3), 40, np.uint8)
    pixels[196:205, 596:605] = 230  # centred on (600, 200)
    small = detail.forward(pixels, detail.Resize(0.67, 95))
    assert small.shape == (402, 536, 3)
    weight = np.maximum(small[..., 1].astype(float) - 90, 0)
    y, x = np.indices(weight.shape)
    centre = np.array([(weight * x).sum(), (weight * y).sum()]) / weight.sum()
    assert centre == pytest.approx(detail.moved(np.array([600.0, 200.0]), 0.67), abs=0.1)


def test_files_are_jpeg_with_halved_chroma() -> None:
    with Image.open(io.BytesIO(detail.jpeg(np.full((32, 32, 3), 99, np.uint8), 85))) as picture:
        layers = [layer[1:3] for layer in picture.layer]  # type: ignore[attr-defined]
    assert layers == [(2, 2), (1, 1), (1, 1)]


# ---- the chain


def test_a_step_alone_is_the_only_one() -> None:
    for step in chain.STEPS:
        alone = chain.alone(step, chain.CHAT)
        assert [name for name in chain.STEPS if getattr(alone, name) is not None] == [step]
        assert getattr(alone, step) == getattr(chain.CHAT, step)


def test_without_steps_there_is_only_the_encoding() -> None:
    ramp = np.tile(np.linspace(0, 0.9, WIDTH, dtype=np.float32)[None, :, None], (HEIGHT, 1, 3))
    assert (chain.on_sensor(ramp, chain.Rendering(), 1) == ramp).all()
    assert chain.rendered(ramp, chain.Rendering(), 1) == pytest.approx(srgb_encode(ramp), abs=1e-6)


def test_every_strength_is_stronger_than_the_one_before() -> None:
    for step in set(chain.STEPS) - {"resize"}:
        numbers = [
            [getattr(getattr(how, step), field.name) for field in fields(getattr(how, step))]
            for how in (chain.MILD, chain.TYPICAL, chain.STRONG)
        ]
        assert numbers[0] != numbers[1] != numbers[2], step
        if step not in ("curve", "local_tone"):  # their further numbers are places, not strengths
            assert (np.diff(np.array(numbers), axis=0) >= 0).all(), step


@pytest.mark.parametrize("strength", ["typical", "strong", "chat"])
def test_clipped_areas_end_under_250_in_the_file(strength: str) -> None:
    how = chain.STRENGTHS[strength]
    raw = halves(0.1, 6.0)
    encoded = chain.rendered(1.3 * chain.on_sensor(raw, how, 3), how, 101)
    decoded = detail.from_jpeg(detail.jpeg(chain.pixels_of(encoded, how), how.quality))
    assert 225 < np.median(decoded[:, -20:]) < 250
    assert decoded[:, -20:].max() < 250


def test_one_seed_is_one_picture() -> None:
    raw = np.clip(halves(0.1, 0.5) * [1.2, 1.0, 0.7], 0, 1).astype(np.float32)

    def made(seed: int) -> np.ndarray[Any, Any]:
        linear = chain.misjudged(
            chain.on_sensor(raw, chain.STRONG, seed), chain.STRONG, np.array([1.2, 1, 0.8]), seed, 101
        )
        return chain.pixels_of(chain.rendered(linear, chain.STRONG, 101), chain.STRONG)

    assert (made(4) == made(4)).all()
    assert (made(4) != made(5)).any()


# ---- files that keep more (they need the cameras of colour-science)


def _files() -> Any:
    from colour_outside import colour_science

    colour_science()
    from sample_photos.make.phone import files

    return files


def test_heic_keeps_ten_bits_and_says_display_p3() -> None:
    import pillow_heif

    files = _files()
    vivid = np.array([[1.0, 0.25, 0.1], [0.1, 0.9, 0.3], [0.2, 0.3, 0.95], [0.5, 0.5, 0.5]])
    encoded = np.repeat(np.repeat(vivid.reshape(2, 2, 3), 48, axis=0), 64, axis=1)
    file = pillow_heif.open_heif(io.BytesIO(files.heic(encoded, 95)), convert_hdr_to_8bit=False)
    assert file.info["bit_depth"] == 10
    found = np.asarray(file)[[24, 24, 72, 72], [32, 96, 32, 96]] / (1023 * 64)
    assert found == pytest.approx(vivid, abs=0.02)
    profile = ImageCms.ImageCmsProfile(io.BytesIO(file.info["icc_profile"]))
    told = np.array([profile.profile.red_primary[1][:2], profile.profile.green_primary[1][:2]])
    assert ImageCms.getProfileDescription(profile).strip() == "Display P3"
    assert told == pytest.approx(
        np.array([[0.6837, 0.3064], [0.2929, 0.6838]]), abs=0.02
    )  # chromatic adaptation moves them


def test_raw_files_hold_the_mosaic_and_the_matrix(tmp_path: Path) -> None:
    import rawpy

    files = _files()
    from sample_photos.make.camera import Camera, Exposure, colour_matrix, gains

    phone = Camera("Skiff Mobile", "S5", sensor="phone one")
    matrix = files.xyz_to_camera("phone one")
    white = 0.7 * matrix @ WHITE_D65
    path = tmp_path / "white.dng"
    path.write_bytes(files.dng(flat(*white), phone, Exposure("D65")))
    with rawpy.imread(str(path)) as raw:
        assert raw.raw_pattern.tolist() in ([[0, 1], [3, 2]], [[0, 1], [1, 2]])
        assert (raw.white_level, set(raw.black_level_per_channel)) == (16383, {512})
        # LibRaw takes both from the file's ColorMatrix1: from balanced camera RGB to sRGB, and the gains for daylight.
        assert raw.color_matrix[:, :3] == pytest.approx(colour_matrix("D65", "phone one"), abs=0.02)
        daylight = np.array(raw.daylight_whitebalance[:3])
        assert daylight / daylight.min() == pytest.approx(gains(Exposure("D65"), "phone one"), rel=0.01)
        light_of = (raw.raw_image[:2, :2].astype(float) - 512) / (16383 - 512)
        assert light_of == pytest.approx(np.array([[white[0], white[1]], [white[1], white[2]]]), abs=1e-4)
        balanced = np.array(raw.camera_whitebalance[:3]) * white
        assert balanced == pytest.approx(np.full(3, balanced[1]), rel=0.02)
