"""Where the card lies: found or given, its order confirmed by the patches' colours, each patch judged on its own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from finishmatch.arrays import Array, BoolArray, IndexArray
from finishmatch.card.reference import GAP, Card
from finishmatch.errors import InputError, Note, NothingMeasured
from finishmatch.photo.photo import Photo

Corners = Array

# The part of a patch that is read: half its pitch, so that corners may be off by 0.2 pitch.
_READ_HALF = 0.25
_READ_POINTS = 31
# Judging one patch (common practice, set on real photographs).
_CLIPPED_MAX = 0.05
_SPREAD_MAX = 0.35
_KEPT_MIN = 0.6
# One step of 8 bit in the dark half of the scale, as a part of the light: sRGB's slope there.
_STEP = 0.02
_MIN_PATCHES, _MIN_NEUTRALS = 12, 3
# Judging an order by the leave-one-out error (CIELAB distance) of an affine map from cube roots of RGB: the right order
# of real charts, home-printed ones included, stays under 15, wrong ones and pictures of other things over 30.
_ORDER_MAX, _ORDER_WIN = 22.0, 1.5
# With fewer patches than this an order cannot be told from its mirror image, and the given one is believed.
_ORDER_PATCHES = 10
# A patch agrees with a card when it is missed by so many times the usual, held between these (CIELAB); a card that is partly
# hidden wins by so many patches; rounds until settled.
_AGREE_TIMES, _AGREE_MIN, _AGREE_MAX, _AGREE_WIN, _AGREE_ROUNDS = 3.0, 8.0, 25.0, 3, 6
# What one patch may add to a card's misfit (CIELAB).
_MISFIT_MAX = 40.0
OUTSIDE, UNEVEN = "outside the picture", "not even"


@dataclass(frozen=True, slots=True, eq=False)
class CardSpot:
    """A card in a photo: (4, 2) ``corners_px`` of its patch grid, clockwise on its face from the first patch."""

    corners_px: Corners
    origin: Literal["given", "located"]
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Patches:
    """What the camera saw of a card, place by place of its grid.

    Attributes
    ----------
    rgb : (n, 3) mean linear RGB in the photo's primaries.
    lab_d50 : (n, 3) reference values of the patch at each place.
    neutral : (n,) bool.
    place : (n, 2) position on the card, both axes from -0.5 to 0.5 of the longer side.
    reasons : n words why a patch cannot be used, empty where it can.
    """

    rgb: Array
    lab_d50: Array
    neutral: BoolArray
    place: Array
    reasons: tuple[str, ...]

    @property
    def used(self) -> BoolArray:
        return np.array([not reason for reason in self.reasons])


def is_quadrilateral(corners: Corners) -> bool:
    """Convex, of either turning sense, and not a sliver."""
    edges = np.roll(corners, -1, axis=0) - corners
    following = np.roll(edges, -1, axis=0)
    turns = edges[:, 0] * following[:, 1] - edges[:, 1] * following[:, 0]
    lengths = np.hypot(edges[:, 0], edges[:, 1])
    return bool((np.all(turns > 0) or np.all(turns < 0)) and lengths.min() > 0.05 * lengths.max() and lengths.min() > 8)


def check_corners(photo: Photo, corners: Corners) -> Corners:
    """Given corners that can be the corners of a card. Errors: outline_outside, outline_invalid."""
    if not is_quadrilateral(corners):
        raise InputError("outline_invalid", f"{photo.name}: the card's corners are not a quadrilateral in order")
    inside = (corners > -0.5) & (corners < [photo.width - 0.5, photo.height - 0.5])
    if inside.all(axis=1).sum() < 2:
        raise InputError("outline_outside", f"{photo.name}: the card's corners lie outside the picture")
    return corners


def confirm(photo: Photo, card: Card, spot: CardSpot) -> tuple[CardSpot, Patches]:
    """Try every rotation, mirror image and known order of the card; the best must win clearly.

    Given corners are believed as far as enough of the card agrees with them: the rest is left out by name.
    Errors: card_order_unclear; card_unfit when too few patches can be used to tell.
    """
    readings = list(_readings(photo, card, spot.corners_px))
    if len(card.lab_d50) < _ORDER_PATCHES:
        return spot, readings[0].patches
    errors = [_order_error(reading.patches) for reading in readings]
    best, following = np.argsort(errors, kind="stable")[:2]
    if np.isinf(errors[best]):
        raise _unfit(photo, readings[0].patches)
    if errors[best] <= _ORDER_MAX and errors[best] * _ORDER_WIN <= errors[following]:
        return _confirmed(spot, readings[best])
    if spot.origin == "given":
        return _confirmed(spot, _partly(photo, readings))
    raise NothingMeasured(
        "card_order_unclear",
        f"{photo.name}: the patches fit no known order of the card clearly "
        f"(error {errors[best]:.0f}, next best {errors[following]:.0f})",
    )


def misfit(patches: Patches) -> float:
    """How badly the whole card fits, the patches that are left out counted as well: mean CIELAB distance, each bounded.

    A grid that is a pitch off may leave out just the patches that tell, and then looks better than the true one.
    """
    inside = np.array([reason != OUTSIDE for reason in patches.reasons])
    if patches.used.sum() < _ORDER_PATCHES:
        return _MISFIT_MAX
    return float(np.minimum(_missed(patches, patches.used)[inside], _MISFIT_MAX).mean())


def best_order(photo: Photo, card: Card, corners: Corners) -> tuple[Corners, IndexArray, float]:
    """The corners from the card's first patch on, which patch lies at each place, and the misfit of the least misfitting
    attitude and order."""
    readings = list(_readings(photo, card, corners))
    errors = [misfit(reading.patches) for reading in readings]
    best = readings[int(np.argmin(errors))]
    return _turned(corners, best.turn, best.mirrored), card.orders()[best.order], min(errors)


def _partly(photo: Photo, readings: Sequence[_Reading]) -> _Reading:
    """The reading with which most patches agree, those that do not marked; the given one unless another clearly wins.

    Errors: card_order_unclear where too few agree, or another reading nearly as many.
    """
    partly = [replace(one, patches=_agreeing(one.patches)) for one in readings]
    best, following = sorted(partly, key=lambda one: -one.agreeing)[:2]
    for one in (partly[0], best):
        rival = following if one is best else best
        lead = _AGREE_WIN if one is not partly[0] else 1 - _AGREE_WIN
        if one.agreeing >= _MIN_PATCHES and one.agreeing >= rival.agreeing + lead:
            return one
    usable = int(readings[0].patches.used.sum())
    raise NothingMeasured(
        "card_order_unclear",
        f"{photo.name}: at the given corners only {best.agreeing} of {usable} patches fit a known order of the card",
        f"check the corners and uncover the card ({_MIN_PATCHES} patches, {_MIN_NEUTRALS} of them neutral, are enough); "
        "if it is another card, give its card file",
    )


def _agreeing(patches: Patches) -> Patches:
    """The patches with those marked that do not agree with most others.

    What covers a card, or shines on it, does so from one side: so the search begins from each half of the card.
    """
    x, y = patches.place.T
    kept = [_grown(patches, side > np.median(side)) for side in (x, -x, y, -y, x + y, x - y, y - x, -x - y)]
    most = max(kept, key=np.count_nonzero)
    return leave_out(patches, dict.fromkeys(np.flatnonzero(~most).tolist(), "unlike the card"))


def _grown(patches: Patches, kept: BoolArray) -> BoolArray:
    """The patches that fit one map of colours, begun from ``kept``; none where it is no map of a camera."""
    kept = kept & patches.used
    for _ in range(_AGREE_ROUNDS):
        if kept.sum() < _ORDER_PATCHES:
            break
        missed = _missed(patches, kept)
        bound = np.clip(_AGREE_TIMES * np.median(missed[kept]), _AGREE_MIN, _AGREE_MAX)
        kept = patches.used & (missed < bound)
    return kept if kept.sum() >= _ORDER_PATCHES else np.zeros_like(kept)


def _confirmed(spot: CardSpot, reading: _Reading) -> tuple[CardSpot, Patches]:
    """The card's corners from its first patch on, with what its reading tells."""
    corners, notes = _turned(spot.corners_px, reading.turn, reading.mirrored), list(spot.notes)
    # Another maker's rows, too, run against the turning sense of the usual card.
    flipped = reading.order == "usual" and not _runs_clockwise(corners)
    if reading.mirrored if spot.origin == "given" else flipped:
        notes.append(Note("card_mirrored", "The card is seen mirrored; the photo was probably flipped."))
    elif reading.turn and spot.origin == "given":
        turned = f"The card lies turned by {90 * reading.turn} degrees from what its corners say."
        notes.append(Note("card_turned", turned))
    if reading.order != "usual":
        other = f"The card is another maker's ({reading.order}); its reference values are only near."
        notes.append(Note("card_other_order", other))
    return CardSpot(corners, spot.origin, tuple(notes)), reading.patches


def read(photo: Photo, card: Card, corners: Corners) -> Patches:
    """What lies at each place of a card whose order is known, and what speaks against using it."""
    return _with_order(_read(photo, card, corners), card, card.orders()["usual"])


@dataclass(frozen=True, slots=True, eq=False)
class _Reading:
    """A card read in one attitude and order: ``turn`` in quarters, ``order`` by its name."""

    turn: int
    mirrored: bool
    order: str
    patches: Patches

    @property
    def agreeing(self) -> int:
        """How many patches can be used; none with too few neutrals."""
        used = self.patches.used
        return int(used.sum()) if (used & self.patches.neutral).sum() >= _MIN_NEUTRALS else 0


def _readings(photo: Photo, card: Card, corners: Corners) -> Iterator[_Reading]:
    """The card in all its attitudes (quarter turns, and mirrored) and known orders.

    Half a turn and a mirror image read the same places in another order, so that only two attitudes are read.
    """
    grid = np.arange(card.rows * card.columns).reshape(card.rows, card.columns)
    read = [_read(photo, card, _turned(corners, quarter, False)) for quarter in (0, 1)]
    for turn in range(4):
        places = grid[::-1, ::-1] if turn > 1 else grid
        for mirrored in (False, True):
            seen = read[turn % 2].at((places[:, ::-1] if mirrored else places).ravel())
            for name, order in card.orders().items():
                yield _Reading(turn, mirrored, name, _with_order(seen, card, order))


def _runs_clockwise(corners: Corners) -> bool:
    x, y = corners.T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) > 0


def _turned(corners: Corners, turn: int, mirrored: bool) -> Corners:
    turned = np.roll(corners, -turn, axis=0)
    return turned[[1, 0, 3, 2]] if mirrored else turned


def _order_error(patches: Patches) -> float:
    """Mean of what the used patches are missed by, each left out; infinite with too few of them."""
    used = patches.used
    return float(_missed(patches, used)[used].mean()) if used.sum() >= _ORDER_PATCHES else float("inf")


def _missed(patches: Patches, kept: BoolArray) -> Array:
    """(n,) CIELAB distance of every patch from an affine map of cube roots of RGB that is fitted to the others kept."""
    roots = np.column_stack([np.cbrt(patches.rgb), np.ones(len(patches.rgb))])
    q, r = np.linalg.qr(roots[kept])
    basis = roots @ np.linalg.pinv(r)
    missed = np.linalg.norm(patches.lab_d50 - basis @ (q.T @ patches.lab_d50[kept]), axis=1)
    missed[kept] /= 1 - np.minimum((q**2).sum(axis=1), 0.99)
    return np.asarray(missed)


def _homography(card: Card, corners: Corners) -> Array:
    """(3, 3) from card coordinates, in patch pitches from the outer corner of the first patch, to pixels."""
    w, h = card.extent
    rows = []
    for (x, y), (u, v) in zip([(0, 0), (w, 0), (w, h), (0, h)], corners, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
    solution = np.linalg.solve(np.array(rows, dtype=float), corners.ravel())
    return np.append(solution, 1.0).reshape(3, 3)


def patch_centres(card: Card, corners: Corners) -> Array:
    """(patches, 2) pixel positions of the middles of the patches."""
    return patch_points(card, corners, 0.0, 1)[:, 0]


def patch_points(card: Card, corners: Corners, half: float, count: int) -> Array:
    """(patches, count * count, 2) pixel positions spread over the middle of every patch, ``half`` a pitch to each side."""
    step = (np.arange(count) + 0.5) / count * 2 * half - half
    dy, dx = np.meshgrid(step, step, indexing="ij")
    within = card.centres[:, None] + np.stack([dx, dy], axis=-1).reshape(1, -1, 2)
    on_card = np.concatenate([within, np.ones_like(within[..., :1])], axis=-1)
    projected = on_card @ _homography(card, corners).T
    return np.asarray(projected[..., :2] / projected[..., 2:])


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    rgb: Array
    reasons: tuple[str, ...]

    def at(self, places: IndexArray) -> _Seen:
        """The same seen with these places in this order."""
        return _Seen(self.rgb[places], tuple(self.reasons[i] for i in places))


def _read(photo: Photo, card: Card, corners: Corners) -> _Seen:
    """Mean linear colour at each place of the grid, and what speaks against using it."""
    points = np.rint(patch_points(card, corners, _READ_HALF, _READ_POINTS)).astype(np.intp)
    size = np.array([photo.width, photo.height])
    inside = np.asarray(((points >= 0) & (points < size)).all(axis=(1, 2)))
    x, y = np.moveaxis(np.clip(points, 0, size - 1), -1, 0)
    encoded = photo.encoded[y, x]
    clipped = photo.at_ends(encoded)
    linear = photo.light(encoded).astype(float)
    level = linear.sum(axis=-1)
    middle = np.median(level, axis=1, keepdims=True)
    # Half of a smooth patch may have one and the same value: then the next one is no fault, but a step of the scale.
    spread = np.maximum(1.4826 * np.median(np.abs(level - middle), axis=1, keepdims=True), _STEP * middle + 1e-6)
    keep = ((np.abs(level - middle) <= 2.5 * spread) & ~clipped)[..., None]
    rgb = (linear * keep).sum(axis=1) / np.maximum(keep.sum(axis=1), 1)
    kept = keep.mean(axis=(1, 2))
    faults = zip(inside, clipped.mean(axis=1), (spread / np.maximum(middle, 1e-6))[:, 0], kept, strict=True)
    return _Seen(np.maximum(rgb, 1e-6), tuple(_patch_fault(*(float(value) for value in row)) for row in faults))


def _patch_fault(inside: float, clipped: float, spread: float, kept: float) -> str:
    if not inside:
        return OUTSIDE
    if clipped > _CLIPPED_MAX:
        return "over- or underexposed"
    return UNEVEN if spread > _SPREAD_MAX or kept < _KEPT_MIN else ""


def _with_order(seen: _Seen, card: Card, order: IndexArray) -> Patches:
    place = (card.centres - np.array(card.extent) / 2) / (max(card.extent) + GAP)
    return Patches(seen.rgb, card.lab_d50[order], np.isin(order, card.neutrals), place, seen.reasons)


def leave_out(patches: Patches, faults: dict[int, str]) -> Patches:
    """The same patches with further ones marked unusable: place -> reason."""
    reasons = tuple(reason or faults.get(i, "") for i, reason in enumerate(patches.reasons))
    return replace(patches, reasons=reasons)


def require_enough(photo: Photo, patches: Patches) -> None:
    """Errors: card_unfit with the reasons counted, below 12 good patches or 3 good neutrals."""
    used = patches.used
    if used.sum() < min(_MIN_PATCHES, len(used)) or (used & patches.neutral).sum() < _MIN_NEUTRALS:
        raise _unfit(photo, patches)


def _unfit(photo: Photo, patches: Patches) -> NothingMeasured:
    used = patches.used
    usable = f"only {used.sum()} patches of the card can be used, {(used & patches.neutral).sum()} of them neutral"
    return NothingMeasured("card_unfit", f"{photo.name}: {usable} ({fault_words(patches)})")


def fault_words(patches: Patches) -> str:
    """ "3 over- or underexposed, 1 outside the picture"."""
    faults = [reason for reason in patches.reasons if reason]
    return ", ".join(f"{faults.count(reason)} {reason}" for reason in dict.fromkeys(faults))
