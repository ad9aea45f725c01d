"""What the counter prints: a finish's label, and the sheet of a delivery."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from finishmatch.colour.space import lab_to_hex
from finishmatch.counter.delivery import Checked, Decision
from finishmatch.report.arrangement import address
from finishmatch.report.page import environment
from finishmatch.report.svg import el
from finishmatch.shelf.record import Record
from finishmatch.text import capital
from finishmatch.version import __version__

if TYPE_CHECKING:
    from jinja2 import Environment


def label(record: Record) -> str:
    """A label of 62 x 29 mm as an HTML page: name, number, swatch, and the number as a code to scan."""
    return (
        _environment()
        .get_template("label.html")
        .render(
            record=record,
            colour=lab_to_hex(record.colour.lab_d50),
            code=code(str(record.number)),
        )
    )


def delivery_sheet(checked: Checked, decision: Decision, signed_by: str, day: str) -> str:
    """The sheet of a delivery that was signed off, to print for its maker, as an HTML page."""
    crops = {crop.part: address(crop.image) for crop in checked.audit.exhibits.crops}
    parts = [(one, lab_to_hex(one.colour.lab_d50), crops.get(one.colour.name)) for one in checked.records]
    return (
        _environment()
        .get_template("delivery.html")
        .render(
            checked=checked,
            parts=parts,
            photos=checked.audit.results.photos,
            swatches=[lab_to_hex(delivery.lab) for delivery in checked.drift.deliveries],
            decision=decision,
            heading={"pass": "Passed", "hold": "On hold", "send back": "Sent back"}[decision],
            proposed=capital(checked.decision),
            signed_by=signed_by,
            day=day,
            version=__version__,
        )
    )


def code(text: str) -> str:
    """A QR code (ISO/IEC 18004) as SVG, black on white with its quiet zone."""
    import cv2
    import numpy as np

    # The encoder draws each module as one pixel, with a margin of two; the standard asks for four.
    dark = np.pad(cv2.QRCodeEncoder.create().encode(text) == 0, 2)
    marks = "".join(f"M{x} {y}h1v1h-1z" for y, x in np.argwhere(dark).tolist())
    size = len(dark)
    ground = el("rect", width=size, height=size, fill="#fff")
    drawn = el("path", d=marks, fill="#000")
    return el("svg", ground, drawn, viewBox=f"0 0 {size} {size}", role="img", aria_label=f"Code: {text}", class_="code")


@cache
def _environment() -> Environment:
    from jinja2 import PackageLoader

    return environment().overlay(loader=PackageLoader("finishmatch.counter"))
