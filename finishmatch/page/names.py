"""Opaque ids instead of paths, and the build file's document with ids in the places of paths."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from typing import Any

from finishmatch.card.kinds import named
from finishmatch.errors import InputError


class Names:
    """Every path, as the build file writes it, that the page has been told of, under an id that tells nothing."""

    def __init__(self) -> None:
        self._ids: dict[str, str] = {}
        self._paths: dict[str, str] = {}

    def id_of(self, path: str) -> str:
        """The id of a path; a new one the first time."""
        if path not in self._ids:
            self._ids[path] = secrets.token_hex(8)
            self._paths[self._ids[path]] = path
        return self._ids[path]

    def path_of(self, ident: str) -> str:
        """The path of an id.

        Raises
        ------
        InputError : file_missing for an id that was never given out.
        """
        try:
            return self._paths[ident]
        except (KeyError, TypeError) as error:
            raise InputError(
                "file_missing", "the page named a file that is not known", "load the page again"
            ) from error

    def shown(self) -> dict[str, dict[str, str]]:
        """id -> what a person may see of the file."""
        return {ident: {"name": path.rpartition("/")[2]} for ident, path in self._paths.items()}


def draft_of(document: dict[str, Any], names: Names) -> dict[str, Any]:
    """A build file's document as the page sees it: the same with ids."""
    return _translated(document, names.id_of)


def document_of(draft: Any, names: Names) -> dict[str, Any]:
    """The document that a page's draft says.

    Raises
    ------
    InputError : build_value, file_missing; its values are not checked here.
    """
    try:
        return _translated(draft, names.path_of)
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise InputError("build_value", "what the page sent is no build", "load the page again") from error


def _translated(document: dict[str, Any], change: Callable[[str], str]) -> dict[str, Any]:
    photos = [_photo(photo, change) for photo in document.get("photo") or ()]
    new = {**document, "photo": photos}
    if (document.get("build") or {}).get("camera") is not None:
        new["build"] = {**document["build"], "camera": change(document["build"]["camera"])}
    return new


def _photo(photo: dict[str, Any], change: Callable[[str], str]) -> dict[str, Any]:
    new = {**photo, "file": change(photo["file"])}
    new |= {key: change(photo[key]) for key in ("flat", "camera") if photo.get(key) is not None}
    if photo.get("card") is not None:
        new["card"] = _card(photo["card"], change)
    if "part" in photo:
        new["part"] = [_mark(mark, change) for mark in photo["part"]]
    return new


def _card(card: dict[str, Any], change: Callable[[str], str]) -> dict[str, Any]:
    new = dict(card)
    if named(card["kind"]) is None:
        new["kind"] = change(card["kind"])
    if card.get("from") is not None:
        new["from"] = change(card["from"])
    return new


def _mark(mark: dict[str, Any], change: Callable[[str], str]) -> dict[str, Any]:
    return mark if mark.get("mask") is None else {**mark, "mask": change(mark["mask"])}
