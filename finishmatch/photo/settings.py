"""How a camera was set, as far as a photo's EXIF says: which camera, how exposed, and what it chose by itself."""

from __future__ import annotations

from dataclasses import astuple, dataclass, replace
from math import isfinite, log
from typing import TYPE_CHECKING, Any

from finishmatch.text import shown

if TYPE_CHECKING:
    from PIL.Image import Exif

# Exif 2.32, 4.6.4 and 4.6.5.
_MAKER, _MODEL, _EXIF_IFD = 0x010F, 0x0110, 0x8769
_SECONDS, _F_NUMBER, _SENSITIVITY = 0x829A, 0x829D, 0x8827
_EXPOSURE_MODE, _WHITE_BALANCE, _BY_HAND = 0xA402, 0xA403, {0: False, 1: True}
_LONGEST = 80


@dataclass(frozen=True, slots=True)
class Settings:
    """What a file says of the camera that took it; None where it says nothing.

    Attributes
    ----------
    maker, model : of the camera.
    log_exposure : ln(seconds * sensitivity / f-number^2): how light it was made, up to a constant of the camera.
    exposure_fixed, balance_fixed : whether exposure and white balance were set by hand, and not chosen by the camera.
    as_sensed : whether the colours are the sensor's own, to which no white balance was done: those of a raw file.
    as_shot : by how much more than in daylight the camera would have strengthened red and blue beside green in such a file.
    """

    maker: str | None = None
    model: str | None = None
    log_exposure: float | None = None
    exposure_fixed: bool | None = None
    balance_fixed: bool | None = None
    as_sensed: bool = False
    as_shot: tuple[float, float] | None = None

    @property
    def camera(self) -> str | None:
        """Maker and model in one; None where the file does not name the model."""
        return None if self.model is None else " ".join(filter(None, (self.maker, self.model)))


UNTOLD = Settings()


def settings_of(exif: Exif) -> Settings:
    """What EXIF says; nothing of what is broken in it."""
    try:
        inner = exif.get_ifd(_EXIF_IFD)
        # Raw files may hold these in their first directory (ISO 12234-2).
        told = {tag: inner.get(tag, exif.get(tag)) for tag in (_SECONDS, _F_NUMBER, _SENSITIVITY)}
        exposure, balance = (_BY_HAND.get(inner.get(tag, -1)) for tag in (_EXPOSURE_MODE, _WHITE_BALANCE))
        return Settings(_text(exif.get(_MAKER)), _text(exif.get(_MODEL)), _log_exposure(told), exposure, balance)
    except Exception:  # the reader raises whatever it likes on broken data
        return UNTOLD


def settings_of_raw(data: bytes) -> Settings:
    """What a raw file says that is a TIFF file, as most are. Its colours are the sensor's, under no white balance."""
    from PIL.Image import Exif

    exif = Exif()
    try:
        exif.load(data)
    except Exception:  # as above
        return Settings(balance_fixed=True, as_sensed=True)
    return replace(settings_of(exif), balance_fixed=True, as_sensed=True)


def _text(value: Any) -> str | None:
    text = shown(value.split("\0")[0].strip(), _LONGEST) if isinstance(value, str) else ""
    return text or None


def _log_exposure(told: dict[int, Any]) -> float | None:
    seconds, f_number, sensitivity = (_positive(told[tag]) for tag in (_SECONDS, _F_NUMBER, _SENSITIVITY))
    if seconds is None or f_number is None or sensitivity is None:
        return None
    return log(seconds * sensitivity / f_number**2)


def _positive(value: Any) -> float | None:
    value = value[0] if isinstance(value, tuple) and value else value
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if isfinite(number) and 1e-9 < number < 1e9 else None


def as_plain(settings: Settings) -> list[Any]:
    """The settings as values of JSON."""
    return list(astuple(settings))


def from_plain(values: Any) -> Settings:
    """The settings again. Raises ValueError, TypeError for what no settings are."""
    maker, model, log_exposure, exposure, balance, as_sensed, as_shot = values
    gains = None if as_shot is None else (float(as_shot[0]), float(as_shot[1]))
    texts = all(one is None or isinstance(one, str) for one in (maker, model))
    number = log_exposure is None or (isinstance(log_exposure, float) and isfinite(log_exposure))
    modes = all(mode in (None, True, False) for mode in (exposure, balance, as_sensed))
    real = gains is None or all(isfinite(one) and 1e-3 < one < 1e3 for one in gains)
    if not (texts and number and modes and real):
        raise ValueError("impossible settings")
    names = (maker and shown(maker, _LONGEST), model and shown(model, _LONGEST))
    return Settings(*names, log_exposure, exposure, balance, bool(as_sensed), gains)
