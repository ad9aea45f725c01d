"""What a clerk does at the counter: look through the shelf, correct it, find what matches, check deliveries in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from finishmatch.counter import asked, sheets, shown
from finishmatch.counter.asked import plain, required
from finishmatch.counter.delivery import Checked, Kind, check_in
from finishmatch.counter.match import matches
from finishmatch.counter.photos import Mark, Photos
from finishmatch.counter.stock import Stock
from finishmatch.errors import InputError
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance
from finishmatch.shelf.facts import Delivery, Facts
from finishmatch.shelf.record import Record, from_results

PAGE = 60
_NEIGHBOURS = 6
_WANTED = "this part"


@dataclass(frozen=True, slots=True)
class Changed:
    """What became of a change: the record as it is now, and whether it was refused because it had changed meanwhile."""

    record: dict[str, Any]
    conflict: bool


class Counter:
    """One shelf and what its page asks for; ``today`` tells the day.

    Every method raises :class:`~finishmatch.errors.InputError`: those of the shelf and of photos.
    """

    def __init__(self, path: Path, today: Callable[[], str], tolerance: Tolerance | None = None) -> None:
        self._stock, self._photos, self._today = Stock(path), Photos(), today
        self._tolerance = tolerance or Tolerance()
        self.photos = self._photos

    def close(self) -> None:
        self._photos.close()
        self._stock.close()

    def search(self, search: asked.Search) -> dict[str, Any]:
        """One page of the list, and what a person may choose from elsewhere."""
        found = self._stock.search(search.words, search.sort, search.start, PAGE)
        with self._stock.shelf() as shelf:
            removed = shelf.removed()
            kinds = shelf.kinds()
        records = self._stock.sound(found.numbers)
        return {
            "shelf": self._stock.path.name,
            "all": len(self._stock.listed().entries),
            "total": found.total,
            "next": search.start + PAGE if search.start + PAGE < found.total else None,
            "shown": [self._card(number, one) for number, one in records.items()],
            "removed": [{"number": number, "part": part, "day": day} for number, part, day in removed[:PAGE]],
            "kinds": [{"maker": maker, "finish": finish} for maker, finish in kinds],
        }

    def record(self, number: int) -> dict[str, Any]:
        """A record's page."""
        record = self._stock.record(number)
        hits = matches(self._stock, record, self._tolerance, _NEIGHBOURS)
        crops = [self._crops(hit.record.number) for hit in hits]
        with self._stock.shelf() as shelf:
            history = shelf.history(number)
        return shown.page(record, self._crops(number), history, hits, crops)

    def change(self, number: int, change: asked.Change) -> Changed:
        """Correct a record's facts; one that somebody else has changed meanwhile is told and left as it is."""
        said = change.facts
        known = (plain(said.maker), plain(said.finish), plain(said.batch), plain(said.stock))
        facts = Facts(required(said.part, "name"), *known)
        try:
            with self._stock.shelf() as shelf:
                shelf.change(number, facts, change.seal, self._today())
        except InputError as error:
            if error.code != "record_changed":
                raise
            return Changed(self.record(number), conflict=True)
        return Changed(self.record(number), conflict=False)

    def remove(self, numbers: tuple[int, ...]) -> None:
        with self._stock.shelf() as shelf:
            shelf.remove(numbers, self._today())

    def put_back(self, numbers: tuple[int, ...]) -> None:
        with self._stock.shelf() as shelf:
            shelf.put_back(numbers, self._today())

    def crop(self, number: int, place: int) -> bytes:
        """A picture of a record, JPEG."""
        with self._stock.shelf() as shelf:
            crops = shelf.crops(number)
        if place >= len(crops):
            raise InputError("file_missing", "there is no such picture", "load the page again")
        return crops[place]

    def label(self, number: int) -> str:
        return sheets.label(self._stock.record(number))

    def match(self, wanted: asked.Wanted) -> dict[str, Any]:
        """What matches a part in a photo: its outline, and the finishes of the shelf, best first."""
        outline = wanted.outline or self._photos.outline_at(wanted.photo, wanted.x, wanted.y)
        audit = self._photos.measured([Mark(wanted.photo, _WANTED, outline)])
        (record,) = from_results(audit.results, self._today(), {}, PartFacts(""))
        hits = matches(self._stock, record, self._tolerance)
        crop = next((one for one in audit.exhibits.crops if one.part == _WANTED), None)
        return {
            "outline": outline,
            "part": shown.looked_for(record, audit.results.photos[0].card.kind != "none"),
            "crop": None if crop is None else self._photos.keep(crop.image),
            "found": [shown.hit(hit, record, self._crops(hit.record.number)) for hit in hits],
        }

    def check_in(self, said: asked.DeliverySaid) -> dict[str, Any]:
        """A delivery, judged."""
        return shown.checked_in(self._checked(said))

    def sign(self, signature: asked.Signature) -> dict[str, Any]:
        """Sign a delivery off: its sheet is kept, and its parts go on the shelf where that is wished."""
        signed_by = required(signature.signed_by, "name of who signs")
        checked, day = self._checked(signature.delivery), self._today()
        kind, sheet = checked.kind, sheets.delivery_sheet(checked, signature.decision, signed_by, day)
        crops: dict[str, list[bytes]] = {}
        for crop in checked.audit.exhibits.crops:
            crops.setdefault(crop.part, []).append(crop.image)
        signed = Delivery(day, signed_by, signature.decision, kind.maker, kind.finish, kind.batch, sheet)
        with self._stock.shelf() as shelf:
            number = shelf.sign(signed, checked.records if signature.keep else (), crops)
        return {"number": number, "sheet": f"/delivery/{number}"}

    def deliveries(self) -> list[dict[str, Any]]:
        with self._stock.shelf() as shelf:
            return [shown.signed(one) for one in shelf.deliveries()]

    def sheet(self, number: int) -> str:
        with self._stock.shelf() as shelf:
            found = shelf.deliveries(number)
        if not found:
            raise InputError("record_missing", f"no delivery {number} was signed", "load the page again")
        return found[0].sheet

    def _checked(self, said: asked.DeliverySaid) -> Checked:
        kind = Kind(plain(said.maker), plain(said.finish), required(said.batch, "batch"))
        marks = [Mark(mark.photo, required(mark.name, "name of a part"), mark.outline) for mark in said.marks]
        if len({mark.name for mark in marks}) < len(marks):
            raise InputError("duplicate_name", "two parts of the delivery have the same name")
        with self._stock.shelf() as shelf:
            earlier = list(shelf.of_kind(kind.maker, kind.finish))
        return check_in(self._photos.measured(marks), earlier, kind, self._today(), self._tolerance.together)

    def _card(self, number: int, record: Record | str) -> dict[str, Any]:
        if isinstance(record, str):
            return {"number": number, "damaged": record}
        return shown.card(record, self._crops(number))

    def _crops(self, number: int | None) -> int:
        with self._stock.shelf() as shelf:
            return 0 if number is None else len(shelf.crops(number))
