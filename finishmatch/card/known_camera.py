"""A camera that is learnt: how it renders colours, from some photos that show a chart, for its photos without one.

Tone and matrix are the camera's; white balance and exposure are each photo's own. So every photo's model is brought to one
balance: the middle grey of the file is taken for grey. The camera is then the mean of what the photos told, and how they
differ is how unsure that mean is of another photo.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from finishmatch.arrays import Array
from finishmatch.card.camera import Average, Blend
from finishmatch.card.carry import Plain
from finishmatch.card.correct_photo import Corrected, in_its_light
from finishmatch.card.correction import (
    CARD_NEUTRAL_SD,
    EXPOSURE_SD,
    NORM_OVER_SD,
    Correction,
    balance_sd,
    own_balance,
    rendering_of,
)
from finishmatch.card.kinds import KINDS
from finishmatch.errors import InputError, Note
from finishmatch.photo.photo import Photo, Taken

# The grey in the middle of a file's scale, in linear light, by which the photos' models are brought to one balance.
_MIDDLE_GREY = 0.18
FEWEST_PHOTOS = 2


@dataclass(frozen=True, slots=True, eq=False)
class KnownCamera:
    """A camera's rendering.

    Attributes
    ----------
    name : maker and model, as its files say; None where they say none.
    rgb_to_xyz_d50, toned : of its files, see :class:`finishmatch.photo.photo.Taken`.
    photos : the best model of each photo, all under one balance.
    left_out_de00 : by how much a patch that is left out is missed, in the mean over patches and photos.
    """

    name: str | None
    rgb_to_xyz_d50: Array
    toned: bool
    photos: tuple[Blend, ...]
    left_out_de00: float

    def unlike(self, photo: Taken) -> str | None:
        """Why a photo is none of this camera's, or not rendered as those that it was learnt from; None where it is."""
        name = photo.settings.camera
        if name != self.name:
            said = "does not say its camera" if name is None else f"was taken with {name}"
            return f"the photo {said}, and {self.name or 'a camera without a name'} was learnt"
        if photo.toned != self.toned or not np.allclose(photo.rgb_to_xyz_d50, self.rgb_to_xyz_d50, atol=1e-4):
            return "the camera wrote this file in another way than those that it was learnt from"
        return None


def learnt(seen: Sequence[tuple[str, Corrected]]) -> KnownCamera:
    """The camera that took these photos, each by its name with what its chart told.

    Raises
    ------
    InputError : few_chart_photos; camera_differs when they were not all taken and written alike.
    """
    if len(seen) < FEWEST_PHOTOS:
        text = f"{len(seen)} photo; a camera is learnt from {FEWEST_PHOTOS} chart photos at least, for how they differ is learnt too"
        raise InputError("few_chart_photos", text, "photograph the chart in three or four places and lights")
    first = _taken(seen[0][1])
    told = tuple(_at_one_balance(corrected.correction) for _, corrected in seen)
    missed = [corrected.correction.cv_mean_de00 or 0.0 for _, corrected in seen]
    camera = KnownCamera(first.settings.camera, first.rgb_to_xyz_d50, first.toned, told, float(np.mean(missed)))
    for name, corrected in seen[1:]:
        if why := camera.unlike(_taken(corrected)):
            raise InputError(
                "camera_differs", f"{name}: {why} from {seen[0][0]}", "leave it out, or learn it by itself"
            )
    return camera


def _taken(corrected: Corrected) -> Taken:
    assert corrected.taken is not None  # it was corrected by its own card
    return corrected.taken


def _at_one_balance(correction: Correction) -> Blend:
    return correction.models.first().balanced_on(np.full(3, _MIDDLE_GREY), _MIDDLE_GREY)


def by_camera(
    photo: Photo, camera: KnownCamera, file: str, flat: bool = False, plain: Plain | None = None
) -> Corrected:
    """The correction of a photo by what is known of its camera, which it is not :meth:`KnownCamera.unlike`.

    Parameters
    ----------
    file : the camera file's name.
    flat : whether the photo has a flat frame.
    plain : a plain card in the photo, which tells white balance and exposure.
    """
    n = len(camera.photos)
    models, spot = Average(camera.photos).times(own_balance(photo)), None
    balance = balance_sd(photo)
    gains = np.array([[EXPOSURE_SD] * 3, [balance, 0, 0], [0, 0, balance]])
    rest = "white balance and exposure are the photo's own and not known"
    if plain is not None:
        spot, models = plain.spot, models.balanced_on(plain.rgb, KINDS[plain.kind].plain_y or 0.0)
        gains = np.diag([CARD_NEUTRAL_SD, 0, CARD_NEUTRAL_SD])[[0, 2]]
        rest = f"its {plain.kind} card tells the rest"
    notes = (Note("camera_known", f"{file} tells its tone and its camera's colours, from {n} chart photos; {rest}."),)
    correction = Correction(
        id=f"{photo.sha256[:12]}-camera",
        method="tone curve and colours of the camera, learnt before",
        models=models,
        variant_scale=float(np.sqrt((1 + 1 / n) / (n - 1))),  # of a new photo about the mean of n
        rendering=rendering_of(camera.left_out_de00 / NORM_OVER_SD, camera.toned),
        cv_mean_de00=None,
        cv_max_de00=None,
        light_range=None,
        notes=notes,
        toned=camera.toned,
        gains=gains,
    )
    corrected = Corrected(correction, spot, 0 if plain is None else 1, None, notes, camera_known=True)
    return in_its_light(photo, corrected, flat)


def not_of(corrected: Corrected, file: str, why: str) -> Corrected:
    """The correction of a photo as without the camera file that was named for it, with the reason."""
    note = Note("camera_file_other", f"It was not corrected by {file}: {why}.")
    correction = replace(corrected.correction, notes=(note, *corrected.correction.notes))
    return replace(corrected, correction=correction, notes=(note, *corrected.notes))
