"""Where the card lies: found or given, its order confirmed by the patches' colours, each patch judged on its own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

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
# Long sides that the chart finder is given; larger ones cost it gigabytes, and find but charts of under 4 % of the width.
_FIND_SIZES_PX = (1600, 3000)


@dataclass(frozen=True, slots=True, eq=False)
class CardSpot:
    """A card in a photo: (4, 2) ``corners_px`` of its patch grid, clockwise on its face from the first patch."""

    corners_px: Corners
    origin: str
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


def find(photo: Photo, card: Card) -> tuple[CardSpot, Patches]:
    """Find a 24-patch chart by itself. Errors: card_not_found."""
    if (card.columns, card.rows) != (6, 4):
        raise NothingMeasured(
            "card_not_found", f"{photo.name}: only a 24-patch chart can be located", "give the four corners of the card"
        )
    for corners in _candidates(photo):
        try:
            spot, patches = confirm(photo, card, CardSpot(_refined(photo, card, corners), "located"))
        except NothingMeasured:
            continue
        return replace(spot, notes=(Note("card_located", "The card was located by the program."), *spot.notes)), patches
    raise NothingMeasured("card_not_found", f"{photo.name}: no 24-patch chart found")


def _candidates(photo: Photo) -> Iterator[Corners]:
    """Corners of everything that the chart finder takes for a chart, in the smaller picture first."""
    import cv2

    longest = max(photo.width, photo.height)
    for size in _FIND_SIZES_PX:
        if size > _FIND_SIZES_PX[0] >= longest:
            return
        scale = min(1.0, size / longest)
        detector = cv2.mcc.CCheckerDetector.create()
        detector.setColorChartType(cv2.mcc.MCC24)  # left unset, the 5.0 build reads uninitialised memory
        if not detector.process(_small_bgr(photo, scale), 2):
            continue
        for found in detector.getListColorChecker():
            box = (np.asarray(found.getBox(), dtype=float).reshape(4, 2) + 0.5) / scale - 0.5
            if _is_quadrilateral(box):
                yield box


def _small_bgr(photo: Photo, scale: float) -> npt.NDArray[np.uint8]:
    """The picture at this scale, in 8 bits, blue first."""
    import cv2

    full, beyond_eight_bits = photo.encoded, (len(photo.curves[0]) - 1).bit_length() - 8
    small = cv2.resize(full, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else full
    shifted = np.right_shift(np.asarray(small), beyond_eight_bits, dtype=full.dtype)
    return np.ascontiguousarray(shifted[..., ::-1], dtype=np.uint8)


def _is_quadrilateral(corners: Corners) -> bool:
    """Convex, of either turning sense, and not a sliver."""
    edges = np.roll(corners, -1, axis=0) - corners
    following = np.roll(edges, -1, axis=0)
    turns = edges[:, 0] * following[:, 1] - edges[:, 1] * following[:, 0]
    lengths = np.hypot(edges[:, 0], edges[:, 1])
    return bool((np.all(turns > 0) or np.all(turns < 0)) and lengths.min() > 0.05 * lengths.max() and lengths.min() > 8)


def check_corners(photo: Photo, corners: Corners) -> Corners:
    """Given corners that can be the corners of a card. Errors: outline_outside, outline_invalid."""
    if not _is_quadrilateral(corners):
        raise InputError("outline_invalid", f"{photo.name}: the card's corners are not a quadrilateral in order")
    inside = (corners > -0.5) & (corners < [photo.width - 0.5, photo.height - 0.5])
    if inside.all(axis=1).sum() < 2:
        raise InputError("outline_outside", f"{photo.name}: the card's corners lie outside the picture")
    return corners


def confirm(photo: Photo, card: Card, spot: CardSpot) -> tuple[CardSpot, Patches]:
    """Try every rotation, mirror image and known order of the card; the best must win clearly.

    Errors: card_order_unclear; card_unfit when too few patches can be used to tell.
    """
    reads: list[tuple[float, int, bool, str, Patches]] = []
    for turn, mirrored, seen in _readings(photo, card, spot.corners_px):
        for name, order in card.orders().items():
            patches = _with_order(seen, card, order)
            reads.append((_order_error(patches), turn, mirrored, name, patches))
    if len(card.lab_d50) < _ORDER_PATCHES:
        return spot, reads[0][4]
    reads.sort(key=lambda read: read[0])
    error, turn, mirrored, name, patches = reads[0]
    if np.isinf(error):
        raise _unfit(photo, patches)
    if error > _ORDER_MAX or error * _ORDER_WIN > reads[1][0]:
        raise NothingMeasured(
            "card_order_unclear",
            f"{photo.name}: the patches fit no known order of the card clearly (error {error:.0f}, next best {reads[1][0]:.0f})",
        )
    notes = list(spot.notes)
    if mirrored:
        notes.append(Note("card_mirrored", "The card is seen mirrored; the photo was probably flipped."))
    elif turn and spot.origin == "given":
        notes.append(Note("card_turned", f"The card lies turned by {90 * turn} degrees from what its corners say."))
    if name != "usual":
        notes.append(
            Note("card_other_order", f"The card is another maker's ({name}); its reference values are only near.")
        )
    return CardSpot(_turned(spot.corners_px, turn, mirrored), spot.origin, tuple(notes)), patches


def read(photo: Photo, card: Card, corners: Corners) -> Patches:
    """What lies at each place of a card whose order is known, and what speaks against using it."""
    return _with_order(_read(photo, card, corners), card, card.orders()["usual"])


def _readings(photo: Photo, card: Card, corners: Corners) -> Iterator[tuple[int, bool, _Seen]]:
    """What lies at each place of the card in all its attitudes: quarter turns, and whether it is mirrored.

    Half a turn and a mirror image read the same places in another order, so that only two attitudes are read.
    """
    grid = np.arange(card.rows * card.columns).reshape(card.rows, card.columns)
    read = [_read(photo, card, _turned(corners, quarter, False)) for quarter in (0, 1)]
    for turn in range(4):
        places = grid[::-1, ::-1] if turn > 1 else grid
        for mirrored in (False, True):
            yield turn, mirrored, read[turn % 2].at((places[:, ::-1] if mirrored else places).ravel())


def _turned(corners: Corners, turn: int, mirrored: bool) -> Corners:
    turned = np.roll(corners, -turn, axis=0)
    return turned[[1, 0, 3, 2]] if mirrored else turned


def _order_error(patches: Patches) -> float:
    """Leave-one-out error of an affine map from cube roots of RGB to the reference Lab; infinite with too few patches."""
    used = patches.used
    if used.sum() < _ORDER_PATCHES:
        return float("inf")
    roots = np.cbrt(patches.rgb[used])
    q, _ = np.linalg.qr(np.column_stack([roots, np.ones(len(roots))]))
    leverage = np.minimum((q**2).sum(axis=1), 0.99)
    lab = patches.lab_d50[used]
    residual = (lab - q @ (q.T @ lab)) / (1 - leverage)[:, None]
    return float(np.linalg.norm(residual, axis=1).mean())


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
    return _points(card, corners, 0.0, 1)[:, 0]


def _points(card: Card, corners: Corners, half: float, count: int) -> Array:
    """(patches, count * count, 2) pixel positions spread over the middle of every patch."""
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
    points = np.rint(_points(card, corners, _READ_HALF, _READ_POINTS)).astype(np.intp)
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
        return "outside the picture"
    if clipped > _CLIPPED_MAX:
        return "over- or underexposed"
    return "not even" if spread > _SPREAD_MAX or kept < _KEPT_MIN else ""


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


def _refined(photo: Photo, card: Card, corners: Corners) -> Corners:
    """Move each corner a little (up to about 0.3 pitch) while the patches grow more even: a pattern search."""
    pitch = np.linalg.norm(corners[1] - corners[0]) / card.columns
    best, cost = corners, _unevenness(photo, card, corners)
    for step in (0.16, 0.08, 0.04):
        improved = True
        rounds = 0
        while improved and rounds < 3:
            improved, rounds = False, rounds + 1
            for i, axis, sign in [(i, axis, sign) for i in range(4) for axis in range(2) for sign in (-1, 1)]:
                moved = best.copy()
                moved[i, axis] += sign * step * pitch
                if not _is_quadrilateral(moved):
                    continue
                trial = _unevenness(photo, card, moved)
                if trial < cost:
                    best, cost, improved = moved, trial, True
    return best


def _unevenness(photo: Photo, card: Card, corners: Corners) -> float:
    """How much encoded values vary inside the patches, each patch's part bounded."""
    points = np.rint(_points(card, corners, 0.40, 9)).astype(np.intp)
    size = np.array([photo.width, photo.height])
    x, y = np.moveaxis(np.clip(points, 0, size - 1), -1, 0)
    values = photo.encoded[y, x].astype(float) / (len(photo.curves[0]) - 1)
    outside = ~((points >= 0) & (points < size)).all(axis=-1)
    spread = values.std(axis=1).mean(axis=-1) + outside.mean(axis=1)
    return float(np.minimum(spread, 0.15).mean())
