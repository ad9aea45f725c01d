"""The sample build's TOML: facts that the story invents, marks that the rendering knows."""

from __future__ import annotations

from typing import Any

_HEAD = """\
# A cabin refit, told in eight photographs: what is owned, what four sellers offer for two slots, how it looks fitted.
# The photographs are renderings with known truth (truth.json); makers, prices and names are invented.
# Written by sample_photos/make/cabin.py: change it there.

[build]
name = "Cabin refit"
finish = "bronze"

[tolerance]
touching = 1.5
together = 2.5
apart = 4.0
confidence = 0.90
"""

_FACTS = """\
# ---- owned

[[part]]
name = "door handle"
maker = "Harbour & Holm"
batch = "2026-02"
zone = "saloon"
touches = ["door plate"]
price = 38.50

[[part]]
name = "door plate"
maker = "Harbour & Holm"
batch = "2026-05"
zone = "saloon"
price = 14.00

[[part]]
name = "hinge A"
maker = "Harbour & Holm"
batch = "2026-02"
zone = "saloon"
price = 11.20

[[part]]
name = "hinge B"
maker = "Lodestar Fittings"
zone = "saloon"
price = 9.90

[[part]]
name = "coat hook"
maker = "Harbour & Holm"
batch = "2026-05"
zone = "saloon"
price = 8.40

[[part]]
name = "vent ring"
maker = "Corran Metalwork"
zone = "galley"
price = 21.00

[[part]]
name = "galley hook"
maker = "Lodestar Fittings"
zone = "galley"
price = 8.90

[[part]]
name = "galley plate"
maker = "Lodestar Fittings"
zone = "galley"
price = 12.50

[[part]]
name = "gas-locker latch"
maker = "Brae Marine Safety"
zone = "saloon"
price = 64.00
critical = true

[[part]]
name = "deck cleat"
maker = "Brae Marine Safety"
zone = "foredeck"
price = 19.00
neutral = true

[[part]]
name = "berth light"
maker = "Lodestar Fittings"
zone = "saloon"
price = 33.00
neutral = true

[[part]]
name = "chart-table plate"
maker = "Corran Metalwork"
zone = "galley"
price = 13.00

# ---- offered: a reading lamp and a drawer knob are wanted
"""

# slot, seller, price
_OFFERS = (
    ("reading lamp", "lamp", "Norrsken", 48.00),
    ("reading lamp", "lamp", "Tidewell", 36.50),
    ("reading lamp", "lamp", "Corran", 42.00),
    ("reading lamp", "lamp", "Skerry", 39.00),
    ("drawer knob", "knob", "Norrsken", 12.80),
    ("drawer knob", "knob", "Tidewell", 9.80),
    ("drawer knob", "knob", "Corran", 8.60),
    ("drawer knob", "knob", "Skerry", 7.20),
)


def _points(points: list[list[float]]) -> str:
    return "[" + ", ".join(f"[{x:g}, {y:g}]" for x, y in points) + "]"


def _card(kind: str, told: dict[str, Any]) -> str:
    corners = told["chart_corners"] if kind == "chart24" else told["grey_corners"]
    edition = ', edition = "average"' if kind == "chart24" else ""  # what the chart was rendered from
    where = "" if kind == "none" else f", corners = {_points(corners)}"
    return f'card = {{ kind = "{kind}"{edition}{where} }}'


def _mark(mark: dict[str, Any]) -> str:
    if "mask" in mark:
        return f'mask = "{mark["mask"]}"'
    return f"box = {mark['box']}" if "box" in mark else f"outline = {_points(mark['outline'])}"


def _photo(file: str, told: dict[str, Any], card: str, light: str) -> str:
    lines = ["[[photo]]", f'file = "{file}"', _card(card, told), f'light = "{light}"', ""]
    for name, part in told["parts"].items():
        lines += ["[[photo.part]]", f'name = "{name}"', _mark(part["mark"]), ""]
    return "\n".join(lines)


def _offer(slot: str, thing: str, seller: str, price: float) -> str:
    return (
        f'\n[[part]]\nname = "{thing} {seller}"\nmaker = "{seller}"\nslot = "{slot}"\nzone = "saloon"\n'
        f"owned = false\nprice = {price:.2f}\n"
    )


def text(photos: dict[str, dict[str, Any]], cards: dict[str, tuple[str, str]]) -> str:
    """The build file of these photos' truths; ``cards``: file to card kind and light."""
    marked = {name for told in photos.values() for name in told["parts"]}
    blocks = [_photo(file, told, *cards[file]) for file, told in photos.items()]
    offers = [_offer(*offer) for offer in _OFFERS if f"{offer[1]} {offer[2]}" in marked]
    return "\n".join([_HEAD, *blocks, _FACTS]) + "".join(offers)
