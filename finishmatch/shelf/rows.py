"""A record as the rows of the shelf's tables, and rows as a record, checked as if they came from anywhere: the file may."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any, get_args

import numpy as np
from msgspec import Struct

from finishmatch.arrays import Array
from finishmatch.colour.measured_colour import CommonError, CommonErrorKind, ErrorSource, MeasuredColour, SampleOf
from finishmatch.errors import InputError
from finishmatch.results.old_ids import source_of
from finishmatch.shelf.record import Origin, Record, check
from finishmatch.shelf.schema import seal_of
from finishmatch.text import shown

_LENT = "lent"  # the kind of error that is a sample's noise
_OWN = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))


class Rows(Struct, frozen=True, forbid_unknown_fields=True):
    """What the tables hold of one record, in the order of their columns.

    ``facts``: part, maker, finish, batch, date. ``source``: how it was measured, which records of one photo share.
    """

    facts: tuple[str, str | None, str | None, str | None, str]
    lab: tuple[float, float, float]
    level_sd: float
    own_cov: bytes
    shared: bytes
    source: tuple[str, str, str, float | None, str, str, str]
    extra: tuple[tuple[str, str], ...]
    errors: tuple[tuple[str, str, str, bytes], ...]

    @property
    def seal(self) -> bytes:
        values = (*self.facts, *self.lab, self.level_sd, self.own_cov, self.shared, *self.source)
        return seal_of(values, self.extra, self.errors)


def rows_of(record: Record) -> Rows:
    """The rows of a record; its loadings in 16 bit."""
    colour = record.colour
    packed, own_cov = _packed(colour)
    corrections = sorted(source for source in packed if isinstance(source, str))
    widths = tuple((key, colour.shared[key].shape[1]) for key in corrections)
    L, a, b = (float(value) for value in colour.lab_d50)
    return Rows(
        facts=(colour.name, record.maker, record.finish, record.batch, record.date),
        lab=(L, a, b),
        level_sd=float(colour.level_sd),
        own_cov=np.array([own_cov[i, j] for i, j in _OWN], dtype="<f4").tobytes(),
        shared=b"".join(packed[key] for key in corrections),
        source=_source(record.origin, widths),
        extra=tuple(sorted(record.extra)),
        errors=tuple(sorted(_error_row(one, packed[one]) for one in packed if not isinstance(one, str))),
    )


def _packed(colour: MeasuredColour) -> tuple[dict[ErrorSource, bytes], Array]:
    """The loadings in 16 bit, and the own covariance with what that rounding loses: less is shared, nothing is surer."""
    packed, own_cov = {}, colour.own_cov
    for source, loadings in colour.shared.items():
        rounded = loadings.astype("<f2")
        lost = loadings - rounded
        packed[source], own_cov = rounded.tobytes(), own_cov + lost @ lost.T
    return packed, own_cov


def _error_row(source: CommonError | SampleOf, packed: bytes) -> tuple[str, str, str, bytes]:
    if isinstance(source, SampleOf):
        return _LENT, source.part, source.photo, packed
    return source.kind, source.id, "", packed


@lru_cache(maxsize=1000)  # parts of one photo have the same
def _source(origin: Origin, widths: tuple[tuple[str, int], ...]) -> tuple[str, str, str, float | None, str, str, str]:
    cv_mean = None if origin.cv_mean is None else float(origin.cv_mean)
    texts = (dumps(origin.photos), dumps(origin.lights), origin.card)
    return (*texts, cv_mean, origin.software, dumps(origin.notes), dumps(widths))


def dumps(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def record_of(
    row: tuple[Any, ...],
    extra: tuple[tuple[str, str], ...],
    errors: tuple[tuple[Any, ...], ...],
    digest: bytes,
    where: str,
) -> Record:
    """The record of a row, checked as if it came from anywhere: the file may."""
    number, part, maker, finish, batch, date, L, a, b, level_sd, own, shared = row[:12]
    photos, lights, card, cv_mean, software, notes, corrections = row[12:]
    try:
        loadings = _loadings(shared, json.loads(corrections)) | dict(map(_error, errors))
        colour = MeasuredColour(part, np.array([L, a, b]), _covariance(own), loadings, level_sd)
        texts = (_texts(photos), _texts(lights), card, cv_mean, software, _texts(notes))
        found = Record(colour, date, Origin(*texts), maker, finish, batch, extra, number, digest.hex())
        return check(found, where)
    except (ValueError, TypeError, RecursionError) as error:
        raise InputError("shelf_invalid", f"{where}: {shown(error)}") from error
    except InputError as error:
        raise InputError("shelf_invalid", error.text) from error


def _texts(text: str) -> tuple[str, ...]:
    values = json.loads(text)
    if not isinstance(values, list) or not all(isinstance(value, str) for value in values):
        raise ValueError("a list of texts is none")
    return tuple(values)


def _covariance(packed: bytes) -> Array:
    matrix = np.zeros((3, 3))
    for (i, j), value in zip(_OWN, np.frombuffer(packed, dtype="<f4"), strict=True):
        matrix[i, j] = matrix[j, i] = value
    return matrix


def _error(row: tuple[Any, ...]) -> tuple[ErrorSource, Array]:
    kind, ident, photo, packed = row
    if kind != _LENT and kind not in get_args(CommonErrorKind):
        raise ValueError(f"an error of the unknown kind {kind!r}")
    source = SampleOf(ident, photo) if kind == _LENT else CommonError(kind, ident)
    return source, np.frombuffer(packed, dtype="<f2").astype(float).reshape(3, -1)


def _loadings(packed: bytes, widths: list[list[Any]]) -> dict[ErrorSource, Array]:
    """What is packed in the record itself: loadings on corrections, and in old shelves on any error."""
    values = np.frombuffer(packed, dtype="<f2").astype(float)
    found: dict[ErrorSource, Array] = {}
    at = 0
    for key, width in widths:
        found[source_of(str(key))] = values[at : at + 3 * width].reshape(3, width)
        at += 3 * width
    if at != len(values):
        raise ValueError("the loadings do not fit their corrections")
    return found
