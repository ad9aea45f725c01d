"""Which colour space a photo is in: what the file claims, the claims in order of weight, and what is taken."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array, FloatImage
from finishmatch.colour.space import SRGB_TO_XYZ_D50, primaries_to_xyz_d50, srgb_decode
from finishmatch.errors import InputError, Note
from finishmatch.photo.decode import icc
from finishmatch.photo.decode.code_points import VIDEO_TRANSFERS, Coded, profile_of

# PNG (third edition), 11.3.2.2: gamma 1/2.2 as written by programs that mean sRGB.
_PNG_SRGB_GAMMA = 0.45455


@dataclass(frozen=True, slots=True)
class Claims:
    """What a file says of its colours, each None where it says nothing.

    ``png_gamma`` : the exponent of the gAMA chunk; ``png_primaries`` : white, red, green, blue x and y of cHRM;
    ``exif`` : "sRGB" or "Adobe RGB (1998)".
    """

    cicp: Coded | None = None
    icc: bytes | None = None
    nclx: Coded | None = None
    png_srgb: bool = False
    png_gamma: float | None = None
    png_primaries: tuple[float, ...] | None = None
    exif: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Space:
    """A colour space: where it came from, its matrix, and its curves from encoded to linear, channel first.

    ``engine_profile`` : an ICC profile that only a colour engine can apply; the rest then describes what comes out.
    """

    source: str
    rgb_to_xyz_d50: Array
    curve: Callable[[Array], Array]
    engine_profile: bytes | None = None

    def curves(self, steps: int) -> FloatImage:
        """(3, steps) linear light of every encoded value."""
        grid = np.broadcast_to(np.linspace(0, 1, steps), (3, steps))
        return np.asarray(self.curve(grid), dtype=np.float32)


def srgb(source: str, engine_profile: bytes | None = None) -> Space:
    """sRGB, by whatever is named as its source."""
    return Space(source, SRGB_TO_XYZ_D50, srgb_decode, engine_profile)


def space_of(claims: Claims, mode: str, notes: list[Note]) -> Space:
    """The space of a picture of mode RGB or CMYK: cICP, ICC, nclx, PNG's own chunks, EXIF; else sRGB is assumed.

    Adds the notes that the choice calls for. Errors: photo_kind (HDR, narrow range, CMYK without a usable profile).
    """
    found = next(_candidates(claims, mode, notes), None)
    if found is not None:
        return found
    if mode == "CMYK":
        raise InputError("photo_kind", "CMYK without a usable colour profile")
    return assumed(notes)


def assumed(notes: list[Note]) -> Space:
    """sRGB, for want of anything better; adds the note that says so."""
    notes.append(Note("srgb_assumed", "The photo does not say its colour space; sRGB was assumed."))
    return srgb("assumed sRGB")


def _candidates(claims: Claims, mode: str, notes: list[Note]) -> Iterator[Space]:
    if claims.cicp is not None:
        if claims.cicp[3] != 1:
            raise InputError("photo_kind", "a picture in narrow range (cICP)")
        yield from _by_code_points(claims.cicp, "cICP", notes)
    if claims.nclx is not None:
        _refuse_hdr(claims.nclx, "nclx")  # even where a profile goes first
    if claims.icc:
        yield from _by_profile(claims.icc, mode, notes)
    if mode == "CMYK":
        return
    if claims.nclx is not None:
        yield from _by_code_points(claims.nclx, "nclx", notes)
    yield from _by_png_chunks(claims)
    if claims.exif == "sRGB":
        yield srgb("EXIF sRGB")
    elif claims.exif is not None:
        yield Space(f"EXIF {claims.exif}", icc.ADOBE_RGB.rgb_to_xyz_d50, icc.ADOBE_RGB.linear)


def _refuse_hdr(coded: Coded, where: str) -> None:
    if coded[1] in icc.HDR_TRANSFERS:
        raise InputError("photo_kind", f"an HDR picture ({icc.HDR_TRANSFERS[coded[1]]} by its {where})")


def _by_code_points(coded: Coded, where: str, notes: list[Note]) -> Iterator[Space]:
    _refuse_hdr(coded, where)
    profile = profile_of(coded)
    if profile is not None:
        if coded[1] in VIDEO_TRANSFERS:
            text = f"The photo names a video transfer ({coded[1]} in its {where}); sRGB's curve was taken for it."
            notes.append(Note("transfer_assumed", text))
        yield Space(f"{where} {profile.name}", profile.rgb_to_xyz_d50, profile.linear)


def _by_profile(embedded: bytes, mode: str, notes: list[Note]) -> Iterator[Space]:
    try:
        profile = icc.parse(embedded)
    except icc.HighDynamicRange as error:
        raise InputError("photo_kind", f"an HDR picture ({error})") from error
    except ValueError as error:
        notes.append(unused(f"a profile {error}"))
        return
    if isinstance(profile, icc.MatrixProfile):
        if mode == "CMYK":
            notes.append(unused(f"{profile.name} is for RGB, the photo is CMYK"))
        else:
            yield Space(f"ICC {profile.name}", profile.rgb_to_xyz_d50, profile.linear)
    elif profile.space != mode:
        notes.append(unused(f"{profile.name} is for {profile.space}"))
    else:
        if mode == "CMYK":
            note = Note("cmyk_converted", f"The photo is CMYK and was brought to RGB by its profile ({profile.name}).")
        else:
            note = Note("profile_converted", f"The table-based profile {profile.name} was applied in 8 bit.")
        notes.append(note)
        yield srgb(f"ICC {profile.name}", embedded)


def unused(why: str) -> Note:
    """That an embedded profile was left aside."""
    return Note("profile_unused", f"The photo's colour profile was not used ({why}).")


def _by_png_chunks(claims: Claims) -> Iterator[Space]:
    if claims.png_srgb:
        yield srgb("PNG sRGB")
        return
    gamma = claims.png_gamma
    if gamma is None or not 0.1 < gamma < 10:
        return
    if claims.png_primaries is not None:
        matrix = _matrix_of(claims.png_primaries)
        if matrix is None:
            return
    else:
        matrix = SRGB_TO_XYZ_D50
    if abs(gamma - _PNG_SRGB_GAMMA) < 0.001:
        yield Space("PNG gAMA and cHRM" if claims.png_primaries else "PNG gAMA", matrix, srgb_decode)
    else:
        yield Space(f"PNG gAMA {gamma:g}", matrix, lambda encoded: np.asarray(encoded ** (1 / gamma)))


def _matrix_of(xy: tuple[float, ...]) -> Array | None:
    """The matrix of a cHRM chunk: x and y of white, red, green, blue; None where they span nothing."""
    values = np.array(xy, dtype=float).reshape(-1, 2)
    if values.shape != (4, 2) or (values <= 0).any() or (values.sum(axis=1) >= 1.0001).any():
        return None
    white = np.array([values[0, 0], values[0, 1], 1 - values[0].sum()]) / values[0, 1]
    edges = values[2:] - values[1]
    if abs(edges[0, 0] * edges[1, 1] - edges[0, 1] * edges[1, 0]) < 1e-3:
        return None
    return primaries_to_xyz_d50(values[1:], white)
