"""A picture to send: the decision, the photo with its parts outlined, the sets with their names. It says no more than the report."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np

from finishmatch.report.arrangement import Arrangement, ShownSet, arrange
from finishmatch.report.outlined import CASING, EDGE, style_of
from finishmatch.results.decision import Decision, decide
from finishmatch.results.results import Exhibits, PhotoView, Results

WIDTH = 1200
_EDGE, _GAP, _ROW, _BAND = 40, 24, 40, 130
_PAPER, _INK, _QUIET = (245, 245, 245), (20, 20, 20), (86, 86, 86)
_MOST_SETS = 10


def render_summary(results: Results, exhibits: Exhibits) -> bytes:
    """A PNG file 1200 pixels wide. Same input, same bytes; letters that its font lacks are boxes."""
    from PIL import Image, ImageDraw

    arrangement, decision = arrange(results, exhibits), decide(results)
    view = lead_view(exhibits.views, decision)
    critical = [part.name for part in results.parts if part.critical and part.name in decision.parts]
    image = Image.new("RGB", (WIDTH, 4000), _PAPER)
    draw = ImageDraw.Draw(image)
    y = _words(draw, decision.text, _EDGE, 48, _INK)
    if critical:
        caution = (
            f"Caution: {', '.join(critical)}: colour never outranks a part's rating. Gas, mains, brakes and pressure belong to "
            "licensed practice."
        )
        y = _words(draw, caution, y + 8, 26, _INK)
    if view is not None:
        y = _photo(image, view, arrangement, decision, y + _GAP)
    y = _sets(draw, arrangement.shown_sets, y + _GAP)
    if arrangement.refused:
        y = _words(draw, f"Not measured: {', '.join(part.part.name for part in arrangement.refused)}", y + 4, 24, _INK)
    y = _words(
        draw, f"{results.build.name}. Judged from photographs by finishmatch {results.version}.", y + 12, 20, _QUIET
    )
    stream = io.BytesIO()
    image.crop((0, 0, WIDTH, y + _EDGE)).save(stream, "PNG", compress_level=4)
    return stream.getvalue()


def lead_view(views: Sequence[PhotoView], decision: Decision) -> PhotoView | None:
    """The photo of the first part that the decision names, then of most of them, then of most parts."""

    def weight(view: PhotoView) -> tuple[bool, int, int]:
        shown = {name for name, _ in view.outlines}
        return bool(shown & set(decision.parts[:1])), len(shown & set(decision.parts)), len(shown)

    return max(views, key=weight, default=None)


def _words(draw: Any, text: str, y: int, size: int, ink: tuple[int, int, int], x: int = _EDGE) -> int:
    """Words in lines as wide as the picture; where the next may begin."""
    from PIL import ImageFont

    font = ImageFont.load_default(size)
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and draw.textlength(longer, font=font) > WIDTH - _EDGE - x:
            draw.text((x, y), line, font=font, fill=ink)
            y, line = y + round(1.25 * size), word
        else:
            line = longer
    draw.text((x, y), line, font=font, fill=ink)
    return y + round(1.25 * size)


def _photo(image: Any, view: PhotoView, arrangement: Arrangement, decision: Decision, y: int) -> int:
    from PIL import Image, ImageDraw, ImageFont

    scale = (WIDTH - 2 * _EDGE) / view.width
    size = (WIDTH - 2 * _EDGE, round(view.height * scale))
    with Image.open(io.BytesIO(view.jpeg)) as picture:
        image.paste(picture.convert("RGB").resize(size, Image.Resampling.BICUBIC), (_EDGE, y))
    draw, font = ImageDraw.Draw(image), ImageFont.load_default(26)
    odd = {part.part.name for part in arrangement.shown_parts if part.stands_out}
    styles = {part.part.name: style_of(k) for k, one in enumerate(arrangement.shown_sets) for part in one.shown_parts}
    for name, polygon in view.outlines:
        points = np.array(polygon) * scale / view.scale + (_EDGE, y)
        wide = 7 if name in decision.parts[:1] else 4
        _outline(draw, points, styles.get(name, "1 3"), wide)
        at = (float(points[:, 0].mean()), max(float(points[:, 1].min()) - 18, y + 14))
        tag = f"> {arrangement.tags.get(name, '')} <" if name in odd else arrangement.tags.get(name, "")
        draw.text(at, tag, font=font, fill=EDGE, stroke_width=4, stroke_fill=CASING, anchor="mm")
    return y + size[1]


def _outline(draw: Any, points: np.ndarray, dashes: str, wide: int) -> None:
    """A dark line in the set's dashes on a light casing."""
    closed = np.concatenate([points, points[:1]])
    draw.line([tuple(point) for point in closed.tolist()], fill=CASING, width=wide + 4, joint="curve")
    for piece in _pieces(closed, [1.6 * float(dash) for dash in dashes.split()]):
        draw.line([tuple(point) for point in piece.tolist()], fill=EDGE, width=wide, joint="curve")


def _pieces(line: np.ndarray, dashes: list[float]) -> list[np.ndarray]:
    """The drawn pieces of a dashed line; the whole of it where there are no dashes."""
    if not dashes:
        return [line]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    ends = np.cumsum(np.tile(dashes, int(along[-1] / sum(dashes)) + 1))
    starts = np.concatenate([[0.0], ends[:-1]])
    found = []
    for start, end in zip(starts[::2], np.minimum(ends[::2], along[-1]), strict=True):
        if start < along[-1]:
            at = np.unique(np.concatenate([[start], along[(along > start) & (along < end)], [end]]))
            found.append(np.column_stack([np.interp(at, along, line[:, axis]) for axis in (0, 1)]))
    return found


def _sets(draw: Any, sets: Sequence[ShownSet], y: int) -> int:
    from PIL import ImageFont

    font = ImageFont.load_default(26)
    for index, one in enumerate(sets[:_MOST_SETS]):
        middle = y + _ROW // 2
        for piece in _pieces(
            np.array([[_EDGE, middle], [_EDGE + 70.0, middle]]), [2 * float(d) for d in style_of(index).split()]
        ):
            draw.line([tuple(point) for point in piece.tolist()], fill=_INK, width=4)
        draw.text((_EDGE + 86, middle), one.letter, font=font, fill=_INK, anchor="lm")
        each = _BAND / len(one.shown_parts)
        for k, part in enumerate(one.shown_parts):
            left = _EDGE + 120 + k * each
            draw.rectangle((left, y + 5, left + each, y + _ROW - 5), fill=part.colour or _QUIET)
        y = max(y + _ROW, _words(draw, _names(one), y + 6, 24, _INK, _EDGE + 120 + _BAND + 16) + 4)
    if len(sets) > _MOST_SETS:
        y = _words(draw, f"and {len(sets) - _MOST_SETS} more sets", y, 24, _INK)
    return y


def _names(one: ShownSet) -> str:
    owned = ", ".join(part.part.name for part in one.shown_parts if part.part.owned)
    offered = ", ".join(part.part.name for part in one.shown_parts if not part.part.owned)
    said = "; ".join(filter(None, (owned, f"offered: {offered}" if offered else "")))
    return f"Neutral: {said}" if one.facts.neutral else said
