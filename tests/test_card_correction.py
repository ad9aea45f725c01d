"""Correcting by a chart, a plain card, or none; what is shared by the parts of a photo."""

from __future__ import annotations

import numpy as np
import pytest
from scenes import CORNERS, PLAIN, REAL_PHOTOS, Camera, scene, shoot_scene

from finishmatch.card import fit_camera
from finishmatch.card.correct_photo import correct, located
from finishmatch.card.correction import Correction
from finishmatch.card.fit_camera import fit_chart
from finishmatch.card.flat import fit_flat
from finishmatch.card.kinds import CHART as CHART_KIND
from finishmatch.card.reference import chart, plain
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.space import at_luminance, luminance, xyz_to_lab
from finishmatch.errors import InternalError, NothingMeasured
from finishmatch.part.sample import Sample, measure
from finishmatch.photo.marks import Box, Outline, region
from finishmatch.photo.photo import Photo, open_photo

CHART = Outline(tuple((float(x), float(y)) for x, y in CORNERS))
BRONZE, COPPER, TEAL = np.array([42.0, 14, 28]), np.array([50.0, 26, 30]), np.array([40.0, -22, -12])
BOXES = {"bronze": (60, 360, 160, 120), "copper": (260, 360, 160, 120), "teal": (460, 360, 160, 120)}
PARTS = dict(zip(BOXES, zip(BOXES.values(), (BRONZE, COPPER, TEAL), strict=True), strict=True))


def colours(photo: Photo, correction: Correction) -> dict[str, Sample]:
    measured = {name: measure(photo, region(photo, name, Box(*box)), correction) for name, box in BOXES.items()}
    assert all(isinstance(sample, Sample) for sample in measured.values())
    return measured


def light(u: float, v: float) -> np.ndarray:
    """(h, w, 1) light that rises by these fractions over the picture."""
    y, x = np.mgrid[0:640, 0:900]
    return (1 + u * (x / 900 - 0.5) + v * (y / 640 - 0.5))[..., None]


def test_a_curved_camera_with_wrong_white_balance_is_undone() -> None:
    photo = shoot_scene(scene(PARTS))
    corrected = correct(photo, chart(), CHART)
    assert corrected.correction.cv_mean_de00 < 1.0
    for name, sample in colours(photo, corrected.correction).items():
        truth = PARTS[name][1]
        raw = xyz_to_lab(
            photo.linear(photo.whole)[BOXES[name][1] + 40, BOXES[name][0] + 40].astype(float) @ photo.rgb_to_xyz_d50.T
        )
        assert ciede2000(sample.lab_d50, truth) < 1.0 < ciede2000(raw, truth)


def test_the_leave_one_out_figure_is_an_honest_forecast() -> None:
    # A chart whose printed values are off by noise: what cv says must be what unseen patches show, not the training error.
    rng = np.random.default_rng(7)
    off = chart().lab_d50 + rng.normal(0, 3, (24, 3)) * (np.hypot(*chart().lab_d50.T[1:]) > 4)[:, None]
    corrected = correct(shoot_scene(scene({}, off)), chart(), CHART)
    fit = corrected.patch_fit
    training = ciede2000(fit.after_lab[fit.used], fit.reference_lab[fit.used]).mean()
    assert corrected.correction.cv_mean_de00 > 1.1 * training


def test_matrix_and_root_polynomial_are_averaged_as_leaving_patches_out_asks_for() -> None:
    photo = shoot_scene(scene({}), PLAIN)
    patches = located(photo, chart(), CHART)[1]
    alone = [fit_chart(patches, terms).left_out_de00.mean() for terms in (3, 6)]
    straight = correct(photo, chart(), CHART)
    assert straight.correction.cv_mean_de00 <= min(alone) + 1e-9
    assert sum(straight.correction.models.weights) == pytest.approx(1.0)
    assert {len(models) for models in straight.correction.models.members} == {1 + straight.patches_used}
    bent = scene({})
    bent[..., 0] += 0.12 * np.sqrt(np.maximum(bent[..., 0] * bent[..., 2], 0)) - 0.06 * bent[..., 2]
    rooted = correct(shoot_scene(bent, PLAIN), chart(), CHART)
    weights = dict(
        zip([len(m.matrix[0]) for m in rooted.correction.models.members], rooted.correction.models.weights, strict=True)
    )
    assert weights[6] > 0.6


@pytest.mark.parametrize("term_count", [3, 6])
def test_the_slopes_in_closed_form_are_those_of_small_steps(term_count: int) -> None:
    patches = located(shoot_scene(scene({})), chart(), CHART)[1]
    task = fit_camera._task(patches, term_count, None, fit_camera._BELIEF)
    weights = np.vstack([np.ones(len(task.rgb)), 1 - np.eye(len(task.rgb))])
    rng = np.random.default_rng(4)
    unknowns = fit_camera._start(task) + rng.normal(0, 0.02, (len(weights), task.unknowns))
    residual, _ = fit_camera._residuals(task, unknowns, weights)
    step = 1e-5 * np.eye(task.unknowns)
    ahead, behind = (
        fit_camera._residuals(task, unknowns[:, None] + way * step, weights[:, None])[0] for way in (1, -1)
    )
    closed = fit_camera._jacobian(task, unknowns, weights, residual)
    np.testing.assert_allclose(closed, (ahead - behind) / 2e-5, atol=1e-4 * np.abs(closed).max())


def test_white_is_kept() -> None:
    photo = shoot_scene(scene({}))
    correction = correct(photo, chart(), CHART).correction
    neutral = chart().lab_d50[18:24]
    seen = measure(photo, region(photo, "white", Box(62, 242, 52, 52)), correction)
    assert ciede2000(seen.lab_d50, neutral[0]) < 1.0


def test_uneven_light_is_measured_and_noted() -> None:
    even = correct(shoot_scene(scene({})), chart(), CHART)
    assert even.correction.light_range < 0.02
    assert "light_uneven" not in {note.code for note in even.notes}
    slope = correct(shoot_scene(scene({}), light=light(0.0, 0.6)), chart(), CHART)
    true_range = 0.6 * 180 / 640 / (1 - 0.6 * 0.22)  # over the patch centres, relative to the card's middle
    assert slope.correction.light_range == pytest.approx(true_range, rel=0.25)
    assert "light_uneven" in {note.code for note in slope.notes}
    assert slope.correction.light.level_sd > 2 * even.correction.light.level_sd


def test_a_flat_frame_evens_the_light_for_card_and_parts() -> None:
    field = light(0.7, 0.5) * np.array([1.0, 1.0, 1.0])
    field[..., 2:] *= light(0.15, 0.0)  # bluer to the right: two lights
    twin = {"left": ((60, 360, 160, 120), BRONZE), "right": ((660, 420, 160, 120), BRONZE)}
    photo = shoot_scene(scene(twin), light=field)
    flat = shoot_scene(np.broadcast_to(np.array([0.9642, 1, 0.8249]) * 0.6, (640, 900, 3)), light=field, seed=2)
    errors = {}
    for frame in (None, fit_flat(flat, photo)):
        correction = correct(photo, chart(), CHART, frame).correction
        a, b = (
            measure(photo, region(photo, name, Box(*box)), correction, frame).lab_d50 for name, (box, _) in twin.items()
        )
        common = np.sqrt(luminance(a) * luminance(b))
        errors[frame is None] = (
            float(ciede2000(a, b)),
            float(ciede2000(at_luminance(a, common), at_luminance(b, common))),
        )
    assert errors[True][0] > 3
    assert errors[True][1] > 0.6  # the drift of its colour is evened by the ground that both lie on
    assert max(errors[False]) < 0.35 * max(errors[True])


def test_errors_of_one_photo_cancel_between_like_parts_and_not_between_unlike_ones() -> None:
    photo = shoot_scene(scene(PARTS))
    samples = colours(photo, correct(photo, chart(), CHART).correction)

    def spread(a: str, b: str) -> float:
        return float(np.linalg.norm(samples[a].shared - samples[b].shared))

    alone = float(np.linalg.norm(samples["bronze"].shared))
    assert spread("bronze", "copper") < spread("bronze", "teal")
    assert spread("bronze", "copper") < 0.75 * alone


def test_a_grey_card_gives_true_colours_on_a_camera_whose_tone_the_profile_tells() -> None:
    camera = Camera(mix=np.eye(3), gamma=1.0, noise=0.002)
    grey = {"card": ((700, 60, 120, 120), np.array([49.5, 0, 0])), **PARTS}
    photo = shoot_scene(scene(grey), camera)
    corrected = correct(photo, plain("grey18"), Box(700, 60, 120, 120))
    assert "tone_unknown" in {note.code for note in corrected.notes}
    for name, sample in colours(photo, corrected.correction).items():
        assert ciede2000(sample.lab_d50, PARTS[name][1]) < 0.6
    by_chart = correct(photo, chart(), CHART).correction
    assert corrected.correction.rendering.shift_de00 > 1.5 * by_chart.rendering.shift_de00
    assert corrected.correction.rendering.scale_sd > 1.5 * by_chart.rendering.scale_sd


def test_an_overexposed_grey_card_is_unfit() -> None:
    photo = shoot_scene(scene({"card": ((700, 60, 120, 120), np.array([49.5, 0, 0]))}) * 8)
    with pytest.raises(NothingMeasured) as error:
        correct(photo, plain("grey18"), Box(700, 60, 120, 120))
    assert error.value.code == "card_unfit"


def test_without_a_card_the_shared_error_is_wide_but_cancels() -> None:
    photo = shoot_scene(scene(PARTS))
    corrected = correct(photo, None, None)
    samples = colours(photo, corrected.correction)
    assert "no_card" in {note.code for note in corrected.notes}
    alone = np.linalg.norm(samples["bronze"].shared[1:])
    assert alone > 5
    assert np.linalg.norm((samples["bronze"].shared - samples["copper"].shared)[1:]) < 0.5 * alone


@pytest.mark.skipif(not REAL_PHOTOS.is_dir(), reason="the real photographs are not beside the project")
def test_a_real_light_box_is_evened_by_its_flat_frame() -> None:
    photo = open_photo(REAL_PHOTOS / "lightbox-coin.jpg")
    frame = fit_flat(open_photo(REAL_PHOTOS / "lightbox-flat-frame.jpg"), photo)
    without, within = (correct(photo, chart(), None, flat).correction for flat in (None, frame))
    assert "light_uneven" in {note.code for note in without.notes}
    assert "flat_frame_used" in {note.code for note in within.notes}
    assert within.light.level_sd < without.light.level_sd / 2
    assert within.light_range < without.light_range / 2
    # The frame itself runs from 0.64 to 0.96 between background and middle.
    levels = frame.rgb([[150, 1300], [1950, 1300]])[:, 1]
    assert levels[1] / levels[0] > 1.2


# --- what one plain card, or none, leaves unknown: variants of the model, each one standard deviation off ---

GREY = np.array([49.5, 0.0, 0.0])
LINEAR = Camera(mix=np.eye(3), gamma=1.0, noise=0.0)


def _responses(correction: Correction, rgb: float = 0.2) -> np.ndarray:
    """ln of what each variant makes of a grey, less what the first makes of it: (m, 3) in the camera's own channels."""
    models = correction.models.members[0]
    xyz = correction.models.xyz(np.full((1, 3), rgb))[:, 0]
    channels = np.log(xyz @ np.linalg.inv(models.matrix[0]))
    return np.asarray(channels - channels[0])


def _grey_card() -> tuple[Photo, Correction]:
    photo = shoot_scene(scene(PARTS | {"card": ((700, 60, 120, 120), GREY)}), LINEAR)
    return photo, correct(photo, plain("grey18"), Box(700, 60, 120, 120)).correction


def test_without_a_card_tone_balance_and_exposure_are_each_off_by_their_own_deviation() -> None:
    photo = shoot_scene(scene(PARTS), LINEAR)
    response = _responses(correct(photo, None, None).correction)
    log = np.log(0.2)
    assert len(response) == 6
    assert response[1] == pytest.approx(np.full(3, 0.15 * log), abs=1e-4)
    assert response[2] == pytest.approx(np.full(3, 0.0375 * log**2), abs=1e-4)
    assert response[3] == pytest.approx([0.08, 0, 0], abs=1e-4)
    assert response[4] == pytest.approx([0, 0, 0.08], abs=1e-4)
    assert response[5] == pytest.approx([0.5, 0.5, 0.5], abs=1e-4)


def test_a_grey_card_is_met_whatever_the_tone_and_leaves_its_own_neutrality_unknown() -> None:
    photo, correction = _grey_card()
    seen = photo.linear(photo.whole)[80:160, 720:800].reshape(-1, 3).mean(axis=0)
    xyz = correction.models.xyz(seen[None])[:, 0]
    # The card's luminance is 18.42 % (L* 50 would be 18.42); every variant of the tone brings the card to it.
    assert xyz[:3, 1] == pytest.approx(np.full(3, luminance(GREY)), rel=2e-2)
    assert np.ptp(xyz[:3], axis=0).max() < 1e-5
    response = _responses(correction)
    assert len(response) == 5
    assert response[3] == pytest.approx([0.01, 0, 0], abs=1e-4)
    assert response[4] == pytest.approx([0, 0, 0.01], abs=1e-4)
    assert "tone_unknown" in {note.code for note in correction.notes}


def test_a_patch_in_glare_is_left_out_and_the_rest_is_fitted_anew() -> None:
    clean = scene(PARTS)
    glaring = clean.copy()
    x, y = (int(value) for value in CORNERS[0])
    glaring[y + 8 : y + 44, x + 8 : x + 44] *= 2.2  # light that falls on the first patch alone
    corrected, sound = (correct(shoot_scene(light, PLAIN), chart(), CHART) for light in (glaring, clean))
    assert corrected.patches_used == sound.patches_used - 1
    assert "patches_left_out" in {note.code for note in corrected.notes}
    assert any("in glare" in note.text for note in corrected.notes)
    assert corrected.correction.cv_mean_de00 < sound.correction.cv_mean_de00 + 0.3
    found = colours(shoot_scene(glaring, PLAIN), corrected.correction)
    assert max(float(ciede2000(found[name].lab_d50, PARTS[name][1])) for name in found) < 1.0


def test_a_patch_in_shadow_is_left_out_as_well() -> None:
    shaded = scene(PARTS)
    x, y = (int(value) for value in CORNERS[0])
    shaded[y + 8 : y + 44, x + 8 : x + 44] *= 0.5
    corrected = correct(shoot_scene(shaded, PLAIN), chart(), CHART)
    assert any("in shadow" in note.text for note in corrected.notes)


def test_a_kind_of_card_whose_values_nothing_makes_is_an_error_of_ours() -> None:
    with pytest.raises(InternalError, match="no even patch"):
        plain(CHART_KIND)


class HueLook(Camera):
    """A look by hue, as cameras' picture styles have it: no tone and no matrix undoes it."""

    def linear(self, xyz: np.ndarray) -> np.ndarray:
        rgb = super().linear(xyz)
        grey = rgb.mean(axis=-1, keepdims=True)
        hue = np.arctan2(rgb[..., :1] - grey, rgb[..., 2:] - grey)
        return np.maximum(grey + (rgb - grey) * (1 + 0.45 * np.cos(3 * hue)), 0)


@pytest.mark.parametrize(("camera", "said"), [(PLAIN, False), (HueLook(), True)])
def test_a_strong_rendering_is_told_with_what_would_help(camera: Camera, said: bool) -> None:
    correction = correct(shoot_scene(scene({}), camera=camera), chart(), CHART).correction
    notes = {note.code: note.text for note in correction.notes}
    assert ("rendered_strongly" in notes) == said
    assert not said or f"Over {24 - 4} patches" in notes["rendered_strongly"]  # those left out are not among them
    assert not said or "4 over- or underexposed" in notes["patches_left_out"]
