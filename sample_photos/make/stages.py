"""Eighteen scenes for phones: new shapes, finishes and lamps; small parts; charts small, tilted, half in shadow; mixed light.

``TEST`` names the third that is kept for testing only. It was declared before anything was tuned on these scenes.
"""

from __future__ import annotations

from dataclasses import replace

from sample_photos.make.stage import Board, Item, Stage

SIZE = (1040, 780)  # pixels


def _row(kinds: str, y: float, x: float, step: float, turn: float = 0.0, numbered: int = 1) -> tuple[Item, ...]:
    """Parts side by side: ``kinds`` are "shape: finish" separated by commas; named by shape and number."""
    told = [tuple(word.strip() for word in kind.split(":")) for kind in kinds.split(",")]
    return tuple(
        Item(f"{shape} {n}", shape, finish, x + (n - numbered) * step, y, turn + 7 * ((3 * n) % 5 - 2))
        for n, (shape, finish) in enumerate(told, numbered)
    )


_COUPONS = Stage(
    "mat",
    "ceiling",
    _row("coupon: gold, coupon: gold batch, coupon: gold pale, coupon: green gold", 110, -140, 66)
    + _row("coupon: champagne cool, coupon: champagne cool batch, coupon: champagne deep", 55, -150, 68, 10, 5)
    + _row("coupon: gold, bracket: gold batch, tube: champagne cool", 0, -145, 72, -12, 8)
    + _row("ring: gold pale, dome: green gold", -80, -140, 75, 0, 11),
    chart=(95, -85, -3),
    roll=2,
    tilt=9,
    seed=41,
)
_ROSE = Stage(
    "linen",
    "window",
    _row("rail: rose, tube: rose batch, dome: rose, ring: rose deep", 100, -135, 88)
    + _row("wheel: purple, spacer: purple batch, link: purple pale, bolt: violet", 30, -140, 80, 5, 5)
    + _row("bracket: purple, coupon: rose deep", -60, -140, 80, 0, 9),
    chart=(90, -84, 4),
    tilt=14,
    seed=42,
)
_DARK = Stage(
    "paper",
    "tent",
    _row("rail: gunmetal, tube: gunmetal batch, dome: warm grey, link: gunmetal", 100, -135, 88)
    + _row("wheel: black deep, spacer: black deep batch, ring: blue black, bolt: black deep", 28, -140, 82, 0, 5)
    + _row("bracket: warm grey, coupon: blue black", -65, -140, 80, 8, 9),
    chart=(88, -84, 180),
    tilt=11,
    roll=-3,
    seed=43,
)
_BRUSHED = Stage(
    "oak",
    "side window",
    _row(
        "rail: gold brushed, coupon: gold batch brushed, tube: gold brushed, bracket: champagne brushed", 100, -135, 88
    )
    + _row("dome: champagne brushed, ring: rose brushed, coupon: rose brushed", 30, -140, 84, 0, 5)
    + _row("wheel: warm grey brushed, plate: gunmetal brushed, coupon: gunmetal brushed", -70, -150, 66, 0, 8),
    chart=(100, -86, 2),
    tilt=13,
    seed=44,
)
_TEXTURED = Stage(
    "felt",
    "lamp",
    _row(
        "plate: slate wrinkled, bracket: slate wrinkled batch, dome: slate wrinkled, tube: sand wrinkled", 96, -135, 88
    )
    + _row(
        "rail: sand wrinkled batch, spacer: sand wrinkled, knob: plum wrinkled, link: plum wrinkled", 25, -140, 84, 0, 5
    )
    + _row("coupon: gunmetal hammered, ring: gold hammered", -65, -140, 85, 0, 9),
    chart=(92, -84, 3),
    tilt=12,
    seed=45,
)
_COATED = Stage(
    "linen",
    "tent",
    _row("rail: red coated, tube: red batch coated, dome: red coated, ring: rose coated", 100, -135, 88)
    + _row("wheel: blue coated, spacer: blue coated, coupon: gold coated, bolt: gold coated", 28, -140, 84, 0, 5)
    + _row("bracket: purple coated, link: champagne coated", -65, -140, 82, 0, 9),
    chart=(90, -86, -2),
    tilt=10,
    seed=46,
)
_VIVID = Stage(
    "felt",
    "overcast",
    _row("rail: red, tube: red batch, dome: orange, ring: orange", 100, -135, 88)
    + _row("wheel: blue, spacer: blue batch, coupon: purple, bolt: purple batch", 28, -140, 84, 0, 5)
    + _row("bracket: green, link: green batch", -65, -140, 82, 0, 9),
    chart=(90, -84, 2),
    tilt=12,
    roll=1,
    seed=47,
)
_SILVER = Stage(
    "mat",
    "side window",
    _row("rail: silver, tube: silver, coupon: silver brushed, ring: silver", 100, -135, 88)
    + _row(
        "bracket: white powder, dome: white powder, spacer: white wrinkled, bolt: champagne cool", 28, -140, 84, 0, 5
    )
    + _row("plate: champagne cool, link: gold pale", -70, -140, 82, 0, 9),
    chart=(95, -84, -4),
    tilt=12,
    seed=48,
)
_SMALL = Stage(
    "paper",
    "overcast",
    _row("bolt: gold, spacer: gold batch, dome: gold, ring: rose, link: rose batch, bolt: rose", 300, -360, 140)
    + _row(
        "coupon: bronze, knob: bronze, bolt: bronze warm, spacer: copper, dome: copper other maker",
        130,
        -370,
        150,
        0,
        7,
    )
    + _row("ring: teal, bolt: teal other maker, dome: gunmetal, spacer: gunmetal batch", -60, -380, 125, 0, 12)
    + _row("link: black deep, bolt: black deep batch", -230, -330, 160, 0, 16),
    chart=(190, -200, 5),
    width_mm=900,
    tilt=14,
    roll=-2,
    seed=49,
)
_FAR = replace(
    _SMALL,
    cloth="oak",
    emitter="desk",
    items=_row("bolt: purple, spacer: purple batch, dome: violet, ring: gold, link: gold batch", 260, -320, 145)
    + _row(
        "coupon: champagne cool, knob: champagne cool batch, bolt: champagne deep, spacer: copper pink",
        100,
        -330,
        140,
        0,
        6,
    )
    + _row("ring: blue, bolt: blue batch, dome: green, spacer: green batch", -70, -340, 120, 0, 10)
    + _row("link: warm grey, bolt: warm grey", -220, -310, 150, 0, 14),
    chart=(200, -170, -14),
    width_mm=820,
    roll=7,
    tilt=18,
    seed=50,
)
_TILTED = Stage(
    "oak",
    "overcast",
    _row("handle: bronze, hinge: bronze other batch, plate: copper", 92, -120, 110)
    + _row("wheel: copper other maker, latch: bronze olive, bracket: champagne cool", 8, -140, 78, 0, 4)
    + _row("dome: champagne cool batch, tube: bronze", -85, -140, 80, 0, 7),
    chart=(88, -84, 6),
    lean=24,
    tilt=13,
    seed=51,
)
_SHADOW = Stage(
    "linen",
    "sun",
    _row("rail: copper, tube: copper other maker, dome: gold, ring: gold batch", 100, -135, 88)
    + _row("wheel: gunmetal, spacer: gunmetal batch, coupon: teal, bolt: teal other maker", 28, -140, 84, 0, 5)
    + _row("bracket: rose, link: rose batch", -65, -140, 82, 0, 9),
    chart=(95, -84, 0),
    tilt=12,
    seed=52,
    # The sun is 40 degrees high, 25 degrees right of straight on: what shades (x, y) is at (x, y) + z / tan 40 (sin 25, cos 25).
    boards=(Board((140 + 151, -84 + 324, 300), (42, 90)),),
)
_TWO_LAMPS = Stage(
    "felt",
    "window",
    _row("plate: bronze, hinge: bronze other batch, rail: sand powder, dome: sand powder", 95, -135, 86)
    + _row("wheel: purple, spacer: purple batch, coupon: white powder, bolt: white powder", 20, -140, 84, 0, 5)
    + _row("bracket: gold, link: gold batch", -70, -140, 82, 0, 9),
    chart=(95, -84, 3),
    tilt=13,
    seed=53,
)
_BULB_AND_TUBES = Stage(
    "paper",
    "bulb",
    _row("plate: moss powder, bracket: moss powder batch, rail: slate powder, dome: slate powder", 95, -135, 86)
    + _row(
        "wheel: champagne cool, spacer: champagne deep, coupon: champagne cool batch, bolt: silver", 20, -140, 84, 0, 5
    )
    + _row("tube: copper, link: copper other maker", -70, -140, 82, 0, 9),
    chart=(92, -84, -5),
    tilt=12,
    seed=54,
)
_TUNGSTEN = Stage(
    "oak",
    "bulb",
    _row("handle: gold, rail: gold batch, tube: gold pale", 120, -190, 130)
    + _row("wheel: rose, dome: rose batch, ring: rose deep, spacer: copper pink", 25, -210, 92, 0, 4)
    + _row("latch: champagne cool, bracket: champagne cool batch, coupon: champagne deep", -95, -205, 88, 0, 8),
    chart=(150, -110, 8),
    width_mm=560,
    tilt=15,
    roll=-4,
    seed=55,
)
# Flat, matt plates far from one another: for what the ground beside a part tells of its light.
_PANELS_DESK = Stage(
    "oak",
    "desk",
    _row("coupon: slate powder, coupon: moss powder, coupon: slate powder, coupon: moss powder batch", 110, -140, 80)
    + _row(
        "coupon: moss powder batch, coupon: white powder, coupon: sand powder, coupon: slate powder",
        40,
        -140,
        80,
        10,
        5,
    )
    + _row("coupon: sand powder, coupon: moss powder, coupon: white powder", -60, -140, 80, 0, 9),
    chart=(95, -84, 3),
    tilt=12,
    seed=62,
)
_PANELS_BULB = replace(_PANELS_DESK, emitter="bulb", cloth="felt", seed=63)
_PANELS_LAMP = Stage(
    "paper",
    "lamp",
    _row("coupon: plum powder, coupon: sand powder, coupon: plum powder, coupon: slate powder", 105, -140, 82)
    + _row(
        "coupon: slate powder, coupon: bronze powder, coupon: sand powder, coupon: bronze powder", 30, -150, 82, -8, 5
    )
    + _row("coupon: white powder, coupon: plum powder, coupon: white powder", -65, -150, 80, 6, 9),
    chart=(95, -84, -4),
    tilt=13,
    roll=2,
    seed=64,
)
NEW_STAGES: dict[str, Stage] = {
    "coupons": _COUPONS,
    "small": _SMALL,
    "shadow": _SHADOW,
    "vivid": _VIVID,
    "rose": _ROSE,
    "dark": _DARK,
    "brushed": _BRUSHED,
    "silver": _SILVER,
    "tilted": _TILTED,
    "bulb and tubes": _BULB_AND_TUBES,
    "two lamps": _TWO_LAMPS,
    "tungsten": _TUNGSTEN,
    "far": _FAR,
    "textured": _TEXTURED,
    "coated": _COATED,
    "panels at the desk": _PANELS_DESK,
    "panels by the bulb": _PANELS_BULB,
    "panels": _PANELS_LAMP,
    # For a chart that is photographed once: the same table with the chart alone, and with the parts alone.
    "coupons, chart": replace(_COUPONS, items=()),
    "coupons, parts": replace(_COUPONS, chart=None),
    "textured, chart": replace(_TEXTURED, items=()),
    "textured, parts": replace(_TEXTURED, chart=None),
    "rose, chart": replace(_ROSE, items=()),
    "rose, parts": replace(_ROSE, chart=None),
    "dark, chart": replace(_DARK, items=()),
    "dark, parts": replace(_DARK, chart=None),
    "coated, chart": replace(_COATED, items=()),
    "coated, parts": replace(_COATED, chart=None),
}
TEST: frozenset[str] = frozenset(
    {
        "two lamps",
        "tungsten",
        "far",
        "textured",
        "coated",
        "panels",
        "textured, chart",
        "textured, parts",
        "coated, chart",
        "coated, parts",
    }
)
