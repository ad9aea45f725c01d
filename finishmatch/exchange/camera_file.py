"""A learnt camera as a file: JSON, the same bytes for the same photos."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import msgspec
import numpy as np
from msgspec import Meta, Struct

from finishmatch.card.camera import Blend, Models
from finishmatch.card.known_camera import FEWEST_PHOTOS, KnownCamera
from finishmatch.disk import read_whole
from finishmatch.errors import InputError
from finishmatch.fields import Fraction, Number, Text
from finishmatch.text import shown

MOST_BYTES = 2_000_000
MOST_PHOTOS = 200
_DIGITS = 9

Row = tuple[Number, Number, Number]
Bends = Annotated[tuple[Number, ...], Meta(min_length=2, max_length=6)]


class ModelTable(Struct, frozen=True, forbid_unknown_fields=True):
    """One kind of model, see :class:`finishmatch.card.camera.Models`, and its weight among those of a photo."""

    weight: Fraction
    bend: Bends
    offset: Number
    gain: Row
    matrix: tuple[Row, ...]
    span: tuple[Number, Number]


class CameraFile(Struct, frozen=True, forbid_unknown_fields=True):
    """The whole file; ``photos``: the models of each photo that the camera was learnt from."""

    schema: Literal["finishmatch-camera/1"]
    camera: Text | None
    toned: bool
    rgb_to_xyz_d50: tuple[Row, Row, Row]
    left_out_de00: Annotated[float, Meta(ge=0, le=100)]
    photos: Annotated[
        tuple[Annotated[tuple[ModelTable, ...], Meta(min_length=1, max_length=4)], ...],
        Meta(min_length=FEWEST_PHOTOS, max_length=MOST_PHOTOS),
    ]


def written(camera: KnownCamera) -> bytes:
    """The camera as the text of a file."""
    photos = tuple(tuple(_table(*one) for one in zip(of.weights, of.members, strict=True)) for of in camera.photos)
    matrix = _rows(camera.rgb_to_xyz_d50)
    file = CameraFile("finishmatch-camera/1", camera.name, camera.toned, matrix, _round(camera.left_out_de00), photos)  # type: ignore[arg-type]
    return msgspec.json.format(msgspec.json.encode(file), indent=1) + b"\n"


def _table(weight: float, models: Models) -> ModelTable:
    (bend,), (offset,), (gain,), (matrix,) = models.bend, models.offset, models.gain, models.matrix
    bends, gains = (tuple(map(_round, values)) for values in (bend, gain))
    span = (_round(models.span[0]), _round(models.span[1]))
    return ModelTable(_round(weight), bends, _round(offset), gains, _rows(matrix), span)  # type: ignore[arg-type]


def _rows(matrix: np.ndarray) -> tuple[Row, ...]:
    return tuple(tuple(map(_round, row)) for row in matrix)  # type: ignore[misc]


def _round(value: float) -> float:
    return float(f"{float(value):.{_DIGITS}g}")


def read_camera(path: Path) -> KnownCamera:
    """The camera of a file.

    Raises
    ------
    InputError : file_missing, file_unreadable; camera_file_invalid.
    """
    data = read_whole(path, MOST_BYTES)
    try:
        file = msgspec.json.decode(data, type=CameraFile)
        return _camera(file)
    except (msgspec.DecodeError, ValueError) as error:
        mend = "learn it again with `finishmatch card learn --camera`"
        raise InputError("camera_file_invalid", f"{shown(path)}: {shown(error, 200)}", mend) from error


def _camera(file: CameraFile) -> KnownCamera:
    photos = tuple(_blend(photo) for photo in file.photos)
    return KnownCamera(file.camera, np.array(file.rgb_to_xyz_d50), file.toned, photos, file.left_out_de00)


def _blend(photo: tuple[ModelTable, ...]) -> Blend:
    weights = tuple(one.weight for one in photo)
    if abs(sum(weights) - 1) > 1e-6:
        raise ValueError("the weights of a photo's models do not add up to 1")
    return Blend(tuple(_models(one) for one in photo), weights)


def _models(one: ModelTable) -> Models:
    if len(one.matrix) not in (3, 6):
        raise ValueError(f"a matrix of {len(one.matrix)} rows; 3 or 6 are known")
    if not one.span[0] < one.span[1] or min(one.gain) <= 0:
        raise ValueError("a span that ends before it begins, or a gain that is not positive")
    bend, offset, gain, matrix = (np.array([values]) for values in (one.bend, one.offset, one.gain, one.matrix))
    return Models(bend, offset, gain, matrix, one.span)
