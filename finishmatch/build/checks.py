"""What the tables of a build file must say together: names, marks, cards and files that fit each other."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from pathlib import Path

from finishmatch.build.complaints import Complaint, KeyPath
from finishmatch.build.tables import BuildFile, CardTable, PhotoTable
from finishmatch.card.kinds import CHART, NAMED, NO_CARD, PLAIN, WITH_EDITIONS, named
from finishmatch.disk import require_file
from finishmatch.errors import InputError
from finishmatch.text import listed, shown


def complaints(file: BuildFile, folder: Path) -> Iterator[Complaint]:
    """Everything that is wrong with a build file of the right shape; paths are relative to ``folder``."""
    marked = {part.name for photo in file.photo for part in photo.part}
    if not marked:
        yield Complaint((), "no_parts", "no part is marked in any photo")
    if file.build.camera is not None:
        yield from _file(folder / file.build.camera, ("build", "camera"))
    seen: set[Path] = set()
    for i, photo in enumerate(file.photo):
        key: KeyPath = ("photo", i)
        yield from _photo(photo, key, folder)
        yield from _marks(photo, key, folder)
        if photo.card is not None:
            yield from _card(photo.card, (*key, "card"), folder)
            yield from _chart_in(photo, (*key, "card"), file.photo, folder)
        path = (folder / photo.file).resolve()
        if path in seen:
            yield Complaint((*key, "file"), "build_value", "lists a photo twice; put its parts in one table")
        seen.add(path)
    yield from _facts(file, marked)
    yield from _sellers(file)
    yield from _limit_pair(file)


def _photo(photo: PhotoTable, key: KeyPath, folder: Path) -> Iterator[Complaint]:
    yield from _file(folder / photo.file, (*key, "file"))
    if photo.flat is not None:
        yield from _file(folder / photo.flat, (*key, "flat"))
    if photo.camera is not None:
        yield from _file(folder / photo.camera, (*key, "camera"))


def _file(path: Path, key: KeyPath) -> Iterator[Complaint]:
    try:
        require_file(path)
    except InputError as error:
        yield Complaint(key, error.code, error.text)


def _marks(photo: PhotoTable, key: KeyPath, folder: Path) -> Iterator[Complaint]:
    names: set[str] = set()
    for j, part in enumerate(photo.part):
        here = (*key, "part", j)
        if part.name in names:
            yield Complaint((*here, "name"), "duplicate_name", f'"{part.name}" is marked twice in this photo')
        names.add(part.name)
        if [part.outline, part.box, part.mask].count(None) != 2:
            yield Complaint(here, "build_value", "needs exactly one of outline, box and mask")
        if part.mask is not None:
            yield from _file(folder / part.mask, (*here, "mask"))


def _card(card: CardTable, key: KeyPath, folder: Path) -> Iterator[Complaint]:
    if named(card.kind) is None:
        yield from _card_file(card, key, folder)
    elif card.layout is not None:
        yield Complaint((*key, "layout"), "build_value", "belongs to a card file only")
    if card.edition is not None and card.kind not in WITH_EDITIONS:
        yield Complaint((*key, "edition"), "build_value", f"belongs to a {listed(WITH_EDITIONS, 'or')} only")
    if card.second_box is not None and card.kind not in PLAIN:
        yield Complaint((*key, "second_box"), "build_value", f"belongs to a {listed(PLAIN, 'or')} card only")
    if card.kind in PLAIN:
        if card.corners is None and card.box is None:
            yield Complaint(
                key, "card_unplaced", f"a {card.kind} card needs corners or a box; nothing is measured by it before"
            )
        if card.corners is not None and card.box is not None:
            yield Complaint(key, "build_value", f"a {card.kind} card needs either corners or box")
        return
    if card.box is not None:
        yield Complaint((*key, "box"), "build_value", f"belongs to a {listed(PLAIN, 'or')} card only; give corners")
    if card.kind == NO_CARD and card.corners is not None:
        yield Complaint((*key, "corners"), "build_value", "there is no card to have corners")


def _chart_in(photo: PhotoTable, key: KeyPath, photos: Sequence[PhotoTable], folder: Path) -> Iterator[Complaint]:
    """What is wrong with the name of another photo whose chart is to correct this one."""
    card = photo.card
    if card is None or card.chart_in is None:
        return
    here = (*key, "from")
    if named(card.kind) not in (CHART, None):
        yield Complaint(here, "build_value", f"belongs to a {CHART} or a card file only")
    if card.corners is not None:
        text = "lie in the photo that shows the chart; give that photo a [[photo]] of its own for them"
        yield Complaint((*key, "corners"), "build_value", text)
    path = (folder / card.chart_in).resolve()
    if path == (folder / photo.file).resolve():
        yield Complaint(here, "build_value", "names the photo itself; leave it out where the photo shows its chart")
        return
    yield from _file(folder / card.chart_in, here)
    other = next((one for one in photos if (folder / one.file).resolve() == path), None)
    if other is not None and not _shows_chart(other.card):
        text = (
            f'"{shown(card.chart_in)}" is a photo of this build that shows no chart; name one whose card is a {CHART}'
        )
        yield Complaint(here, "build_value", text)
    elif other is not None and card.edition is not None:
        yield Complaint(
            (*key, "edition"), "build_value", f"belongs to the photo that shows the chart, {shown(other.file)}"
        )


def _shows_chart(card: CardTable | None) -> bool:
    return card is not None and card.chart_in is None and named(card.kind) in (CHART, None)


def _card_file(card: CardTable, key: KeyPath, folder: Path) -> Iterator[Complaint]:
    if card.layout is None:
        nearest = difflib.get_close_matches(card.kind, NAMED, 1)
        meant = f'is "{nearest[0]}" meant?' if nearest else "a card file needs `layout = [columns, rows]`"
        known = ", ".join(NAMED)
        yield Complaint((*key, "kind"), "build_value", f'"{shown(card.kind)}" is not one of {known}; {meant}')
        return
    yield from _file(folder / card.kind, (*key, "kind"))


def _facts(file: BuildFile, marked: set[str]) -> Iterator[Complaint]:
    names: set[str] = set()
    sellers = {seller.name for seller in file.seller}
    for i, part in enumerate(file.part):
        key: KeyPath = ("part", i)
        if part.name in names:
            yield Complaint((*key, "name"), "duplicate_name", f'"{part.name}" has two [[part]] tables')
        elif part.name not in marked:
            text = f'no photo shows "{part.name}"{_nearest(part.name, marked)}'
            yield Complaint((*key, "name"), "never_photographed", text)
        names.add(part.name)
        if part.seller is not None and part.seller not in sellers:
            text = f'no [[seller]] is named "{part.seller}"{_nearest(part.seller, sellers)}'
            yield Complaint((*key, "seller"), "build_value", text)
        for name, verb in (("touches", "touch"), ("matches", "match")):
            yield from _others(getattr(part, name), part.name, verb, (*key, name), marked)


def _sellers(file: BuildFile) -> Iterator[Complaint]:
    names: set[str] = set()
    for i, seller in enumerate(file.seller):
        if seller.name in names:
            yield Complaint(("seller", i, "name"), "duplicate_name", f'"{seller.name}" has two [[seller]] tables')
        names.add(seller.name)
        if seller.free_from is not None and seller.shipping is None:
            yield Complaint(("seller", i, "free_from"), "build_value", "needs `shipping`, which it is free of")
        if seller.return_cost is not None and not seller.returns:
            yield Complaint(("seller", i, "return_cost"), "build_value", "needs `returns = true`")


def _others(others: Sequence[str], name: str, verb: str, key: KeyPath, marked: set[str]) -> Iterator[Complaint]:
    for j, other in enumerate(others):
        if other == name:
            yield Complaint((*key, j), "build_value", f"a part cannot {verb} itself")
        elif other not in marked:
            yield Complaint((*key, j), "build_value", f'no photo shows "{other}"{_nearest(other, marked)}')


def _limit_pair(file: BuildFile) -> Iterator[Complaint]:
    pair = file.tolerance.limit_pair
    if pair is None:
        return
    key: KeyPath = ("tolerance", "limit_pair")
    if pair[0] == pair[1]:
        yield Complaint(key, "limit_pair", "names one part twice")
    elif not any(set(pair) <= {part.name for part in photo.part} for photo in file.photo):
        yield Complaint(key, "limit_pair", f'no photo shows both "{pair[0]}" and "{pair[1]}"')


def _nearest(name: str, known: set[str]) -> str:
    nearest = difflib.get_close_matches(name, sorted(known), 1)
    return f'; is "{nearest[0]}" meant?' if nearest else ""
