"""An invented build for the report's tests: boat-cabin hardware, with drawn pictures."""

from __future__ import annotations

import io
import itertools

import numpy as np
from msgspec.structs import replace

from finishmatch.colour import space
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.errors import Note
from finishmatch.fields import Quantity
from finishmatch.judge.tolerance import Tolerance
from finishmatch.results.results import (
    Advice,
    BuildInfo,
    CardFit,
    CardInfo,
    Choice,
    CorrectionInfo,
    Crop,
    Difference,
    Exhibits,
    FinishSet,
    PartResult,
    PhotoResult,
    Results,
    SetsRange,
    SharedLoadings,
)

BRONZE, COPPER, TEAL = (44.0, 9.0, 25.0), (52.0, 24.0, 31.0), (43.0, -21.0, -11.0)

CABIN = (
    ("door handle", (44.6, 9.3, 25.6), "A"),
    ("door plate", (49.1, 9.7, 26.9), "A"),
    ("aft hinge", (41.8, 8.6, 24.2), "A"),
    ("fore hinge", (42.9, 9.1, 24.1), "A"),
    ("locker knob", (46.0, 9.0, 25.8), "A"),
    ("coat hook", (52.8, 23.7, 31.4), "B"),
    ("reading lamp", (50.4, 23.9, 29.7), "B"),
    ("port vent, Halder & Ross", (43.1, -21.4, -10.8), "C"),
)


def part(name: str, lab: tuple[float, float, float], photos: tuple[str, ...] = ("photos/bench.jpg",)) -> PartResult:
    own = ((0.35, 0.02, 0.04), (0.02, 0.05, 0.03), (0.04, 0.03, 0.09))
    shared = (SharedLoadings("c1", ((0.2, 0.1), (0.45, -0.15), (0.3, 0.5))),)
    return PartResult(name, lab, 0.08, own, shared, (), (), photos, 0.87, "measured")


def refused(name: str, code: str = "part_clipped") -> PartResult:
    note = Note(code, "41 % of the part is overexposed; photograph it again, darker.")
    return PartResult(name, None, None, None, (), (), (), ("photos/bench.jpg",), 0.0, "refused", code, (note,))


def difference(a: PartResult, b: PartResult, tolerance: float = 2.5) -> Difference:
    """A plausible difference: the judgement itself is tested elsewhere."""
    one, other = np.array(a.lab), np.array(b.lab)
    ya, yb = float(space.luminance(one)), float(space.luminance(other))
    light = np.sqrt(ya * yb)
    seen = float(ciede2000(one, other))
    level = float(ciede2000(space.at_luminance(one, light), space.at_luminance(other, light)))
    within = float(1 / (1 + np.exp((level - tolerance) * 4)))
    verdict = "alike" if within >= 0.9 else "differs" if within <= 0.1 else "unsure"
    note = Note("level_geometry", f"{a.name} is lighter or darker, as its shape explains.")
    notes = () if 0.8 < ya / yb < 1.25 else (note,)
    hue = "yellower" if other[2] > one[2] else "bluer"
    words = f"{b.name} is {hue} than {a.name}."
    return Difference(
        a.name,
        b.name,
        Quantity(seen, max(seen - 1.6, 0.0), seen + 1.7),
        Quantity(level, max(level - 0.6, 0.0), level + 0.7),
        Quantity(ya / yb, 0.8 * ya / yb, 1.25 * ya / yb),
        within,
        tolerance,
        "together",
        verdict,
        "at_tolerance" if verdict == "unsure" else None,
        float(one[0] - other[0]),
        0.0,
        0.0,
        words,
        notes,
    )


def photo(file: str = "photos/bench.jpg", card: bool = True) -> PhotoResult:
    if not card:
        nothing = CardInfo("none", None, "none", None, 0)
        note = Note("no_card", "The photo has no card: only pairs inside it can be judged closely.")
        return PhotoResult(file, "0" * 64, 3000, 2000, "sRGB (assumed)", "window", nothing, None, (note,))
    corners = ((100.0, 100.0), (700.0, 100.0), (700.0, 500.0), (100.0, 500.0))
    info = CardInfo("chart24", "after 2014", "located", corners, 23)
    correction = CorrectionInfo("c1", "tone curve, then 3x3", 1.6, 4.1, 0.014)
    notes = (
        Note("card_located", "The card was located by the program."),
        Note("patches_left_out", "Patch 19 was left out: glare."),
        Note("srgb_assumed", "The photo does not say its colour space; sRGB was assumed."),
    )
    return PhotoResult(file, "3f" * 32, 4032, 3024, "Display P3 (ICC)", "window", info, correction, notes)


def crop(name: str, lab: tuple[float, float, float], size: tuple[int, int], round_: bool, kind: str = "JPEG") -> Crop:
    """A lit metal-like shape on a dimmed ground."""
    from PIL import Image

    width, height = size
    y, x = np.mgrid[0:height, 0:width]
    u, v = x / width - 0.5, y / height - 0.5
    light = 1.0 + 0.55 * np.exp(-((u * 2.2 + v * 1.1 + 0.25) ** 2) * 9) - 0.5 * (u + 0.15) ** 2 - 0.3 * v**2
    xyz = space.lab_to_xyz(lab)[None, None] * light[..., None] ** 1.4
    rgb = space.xyz_to_srgb(xyz)
    shape = np.hypot(u * 1.06, v * 1.06) < 0.5 if round_ else (np.abs(u) < 0.47) & (np.abs(v) < 0.45)
    ground = 0.33 + 0.05 * v[..., None] + np.random.default_rng(3).normal(0, 0.008, (height, width, 1))
    image = np.where(shape[..., None], rgb, ground) * 255
    stream = io.BytesIO()
    Image.fromarray(np.clip(np.rint(image), 0, 255).astype(np.uint8)).save(stream, kind)
    return Crop(name, "photos/bench.jpg", stream.getvalue(), width, height)


def fit(file: str = "photos/bench.jpg") -> CardFit:
    """24 invented patches: eighteen round the hue circle and a row of greys, seen through a warm cast."""
    rng = np.random.default_rng(7)
    angle = np.arange(18) * 2.4
    chroma = 25 + 35 * ((np.arange(18) * 5) % 18) / 18
    coloured = np.column_stack([40 + 30 * np.abs(np.sin(angle * 1.7)), chroma * np.cos(angle), chroma * np.sin(angle)])
    greys = np.column_stack([[95, 81, 66, 51, 36, 21], np.zeros(6), np.zeros(6)])
    reference = np.vstack([coloured, greys])
    before = reference * [0.93, 0.8, 0.85] + [2.0, 4.0, 9.0] + rng.normal(0, 1.2, (24, 3))
    after = reference + rng.normal(0, 0.9, (24, 3))
    used = np.ones(24, dtype=bool)
    used[18] = False
    return CardFit(file, 6, 4, reference, before, after, used)


CHOICES = (
    Choice({"door": "door handle", "hinge": "aft hinge"}, 4.9, 61.0, 0.12),
    Choice({"door": "door handle", "hinge": "fore hinge"}, 2.2, 74.5, 0.81),
    Choice({"door": "door plate", "hinge": "fore hinge"}, 1.1, 102.0, 0.97),
)

VENT, HUNG = ("port vent, Halder & Ross",), ("coat hook", "reading lamp")

ADVICE = (
    Advice(
        "verdict",
        "Five of nine parts look alike; the coat hook and the reading lamp make a second finish, "
        "and the port vent stands out.",
    ),
    Advice("stands_out", "The port vent agrees with nothing: it is much bluer than every other part.", VENT),
    Advice(
        "two_finishes_on_purpose",
        "Keep copper for the two things that hang on the wall and bronze for the rest, and the build agrees.",
        HUNG,
    ),
    Advice("return", "Send the port vent back, or take it in bronze from the maker of the door plate.", VENT),
    Advice(
        "photograph_again",
        "Photograph the coat hook and the reading lamp flat, side by side, with the card between them: "
        "that would settle whether they are one copper.",
        HUNG,
    ),
    Advice("caution_critical", "The reading lamp is on the mains: colour never outranks its rating.", HUNG[1:]),
    Advice(
        "caution_rework",
        "Stripping or re-anodising a hinge can weaken it: leave it to a finisher who knows the load.",
        ("aft hinge", "fore hinge"),
    ),
)


def cabin() -> Results:
    """Eight parts in three sets, one refused, choices and cautions."""
    measured = [part(name, lab) for name, lab, _ in CABIN]
    neutral = Note("neutral_part", "Neutral: never counted as a mismatch.")
    few = Note("outliers_dropped", "9 % of its pixels, of another colour, were left out.")
    measured[4] = part("locker knob", CABIN[4][1], ("photos/bench.jpg", "photos/bench-2.jpg"))
    measured[2] = replace(measured[2], notes=(few,))
    measured.append(replace(part("mirror frame", (21.0, 0.2, -0.6)), notes=(neutral,)))
    groups = (("A", BRONZE, 1.3, 0.94), ("B", COPPER, 1.9, 0.71), ("C", TEAL, 0.0, 1.0))
    sets = [
        FinishSet(tuple(n for n, _, s in CABIN if s == letter), lab, widest, p) for letter, lab, widest, p in groups
    ]
    sets.append(FinishSet(("mirror frame",), (21.0, 0.2, -0.6), 0.0, 1.0))
    differences = tuple(difference(a, b) for a, b in itertools.combinations(measured, 2))
    photos = (photo(), photo("photos/bench-2.jpg", card=False))
    parts = (*measured, refused("sink tap"))
    info = BuildInfo("Cabin refit", "bronze", Tolerance())
    return Results("0.1.0", info, photos, parts, differences, tuple(sets), SetsRange(3, 4, 4), CHOICES, ADVICE)


def cabin_pictures() -> Exhibits:
    sizes = ((420, 150), (200, 330), (300, 240), (300, 240), (240, 240))
    sizes += ((140, 300), (260, 300), (320, 320), (340, 220))
    shapes = [(name, lab) for name, lab, _ in CABIN] + [("mirror frame", (21.0, 0.2, -0.6))]
    crops = tuple(
        crop(name, lab, size, round_=index in (4, 7))
        for index, ((name, lab), size) in enumerate(zip(shapes, sizes, strict=True))
    )
    return Exhibits(crops, (fit(),))


def large(n: int) -> Results:
    """``n`` parts in sets of up to a dozen round the hue circle."""
    rng = np.random.default_rng(11)
    parts = []
    for k in range(n):
        angle = (k // 12) * 0.75
        centre = np.array([45.0, 28 * np.cos(angle), 28 * np.sin(angle)])
        lab = centre + rng.normal(0, [4.0, 0.5, 0.5])
        parts.append(part(f"fitting number {k + 1}", (float(lab[0]), float(lab[1]), float(lab[2]))))
    groups = [parts[k : k + 12] for k in range(0, n, 12)]
    sets = tuple(FinishSet(tuple(p.name for p in group), group[0].lab, 2.1, 0.6) for group in groups)
    differences = tuple(difference(a, b) for a, b in itertools.combinations(parts, 2))
    advice = (Advice("verdict", f"{n} parts fall into {len(sets)} finishes."),)
    info, bounds = BuildInfo("Whole boat", None, Tolerance()), SetsRange(len(sets), len(sets), len(sets))
    return Results("0.1.0", info, (photo(),), tuple(parts), differences, sets, bounds, None, advice)
