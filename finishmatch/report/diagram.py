"""The a*b* diagram and its close-ups."""

from __future__ import annotations

import numpy as np

from finishmatch.arrays import Array
from finishmatch.report.arrangement import Arrangement, ShownSet
from finishmatch.report.plane import Plane, hull, square
from finishmatch.report.spread import Spot, spots
from finishmatch.report.svg import dot, el, figure, label, line, path
from finishmatch.report.text import count, number

#: More close-ups than this would not be looked at; more parts in one are not told apart.
CLOSE_UPS = 9
TAGGED_PARTS = 30

_A_WORDS = "a*   ← greener · redder →"
_B_WORDS = "b*   ← bluer · yellower →"


def overview(arrangement: Arrangement) -> str:
    """All parts in one plane, each set with its outline and letter; empty when nothing was measured."""
    found = spots(arrangement)
    if not found:
        return ""
    size = (560.0, 540.0)
    plane = _overview_plane(found)
    by_name = {spot.shown_part.part.name: spot for spot in found}
    marks = [_mark(spot, plane) for spot in found]
    outlines, letters = [], []
    for shown_set in arrangement.shown_sets:
        edge = plane.px(hull(np.concatenate([by_name[name].own for name in shown_set.facts.parts])))
        outlines.append(path(edge, closed=True, class_="outline"))
        letters.append(_letter(shown_set.letter, edge, plane))
    loose = [by_name[shown_part.part.name] for shown_part in arrangement.loose]
    letters += [_beside(spot.shown_part.tag, plane.px(spot.centre[None])[0]) for spot in loose]
    words = "Red-green (a*) across and yellow-blue (b*) up, at equal light. " + " ".join(
        _shown_set_words(shown_set, by_name) for shown_set in arrangement.shown_sets
    )
    frame = plane.frame(_A_WORDS, _B_WORDS) + _window(plane)
    title = "The parts in the a*b* plane"
    return figure(size, title, words, frame, *outlines, *marks, *letters, ident="plane")


def _overview_plane(found: list[Spot]) -> Plane:
    """Wide enough for the parts; shared errors, which may be many times wider, are cut off at the frame."""
    own = np.concatenate([spot.own for spot in found])
    return square(own, (62, 12, 548, 486), least=max(8.0, 1.5 * float(np.ptp(own, axis=0).max())))


def _window(plane: Plane) -> str:
    left, top = plane.x.start, plane.y.end
    inside = el("rect", x=left, y=top, width=plane.x.end - left, height=plane.y.start - top)
    return el("clipPath", inside, id="window")


def close_ups(arrangement: Arrangement) -> list[tuple[str, str]]:
    """(heading, figure) for each set of two or more, all at one scale, with every part's tag."""
    found = {spot.shown_part.part.name: spot for spot in spots(arrangement)}
    shown_sets = [shown_set for shown_set in arrangement.shown_sets if len(shown_set.shown_parts) > 1][:CLOSE_UPS]
    groups = [[found[name] for name in shown_set.facts.parts] for shown_set in shown_sets]
    width = max((np.ptp(_edge(group), axis=0).max() for group in groups), default=0.0)
    return [
        (f"Set {shown_set.letter}", _close_up(shown_set, group, max(float(width), 2.0)))
        for shown_set, group in zip(shown_sets, groups, strict=True)
    ]


def _edge(group: list[Spot]) -> Array:
    return np.concatenate([spot.own for spot in group])


def _close_up(shown_set: ShownSet, group: list[Spot], width: float) -> str:
    points = _edge(group)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    corners = np.array([middle - width / 2, middle + width / 2])
    plane = square(corners, (56, 10, 332, 286), least=width)
    outline = path(plane.px(hull(points)), closed=True, class_="outline")
    marks = "".join(_mark(spot, plane, whole=False) for spot in group)
    tags = _tags(group, plane) if len(group) <= TAGGED_PARTS else ""
    centres = ", ".join(f"{s.shown_part.tag} at {number(s.centre[0])}, {number(s.centre[1])}" for s in group)
    title = f"Set {shown_set.letter} enlarged"
    frame = plane.frame("a*", "b*", about=4)
    words = f"a*, b* at equal light: {centres}."
    return figure((344, 336), title, words, frame, outline, marks, tags, ident=f"close-{shown_set.letter}")


def _mark(spot: Spot, plane: Plane, whole: bool = True) -> str:
    x, y = plane.px(spot.centre[None])[0]
    fill = spot.shown_part.colour or "none"
    parts = []
    if whole:
        parts.append(path(plane.px(spot.whole), closed=True, class_="whole", clip_path="url(#window)"))
    parts.append(path(plane.px(spot.own), closed=True, class_="own", fill=fill))
    if spot.shown_part.stands_out:
        corners = np.array([(x, y - 7), (x + 7, y), (x, y + 7), (x - 7, y)])
        parts.append(path(corners, closed=True, class_="spot", fill=fill))
    else:
        parts.append(dot(float(x), float(y), 4.5, class_="spot", fill=fill))
    return "".join(parts)


def _letter(words: str, edge: Array, plane: Plane) -> str:
    """A set's letter above its outline, or below where there is no room."""
    x = float(edge[:, 0].mean())
    above = float(edge[:, 1].min()) - 8
    y = above if above > plane.y.end + 16 else float(edge[:, 1].max()) + 20
    return label(x, y, words, class_="tag strong", text_anchor="middle")


def _beside(words: str, at: Array) -> str:
    return label(float(at[0]) + 9, float(at[1]) + 4, words, class_="tag")


def _tags(group: list[Spot], plane: Plane) -> str:
    """Each part's tag in the first of eight places round it that no dot and no earlier tag takes."""
    centres = plane.px(np.array([spot.centre for spot in group]))
    taken = [(float(x) - 5, float(y) - 5, float(x) + 5, float(y) + 5) for x, y in centres]
    drawn = []
    for spot, (x, y) in zip(group, centres, strict=True):
        wide = 8.0 * len(spot.shown_part.tag)
        places = [(x + dx * (reach + wide / 2), y + dy * (reach + 6)) for reach in (5, 14, 26) for dx, dy in _ROUND]
        boxes = [(cx - wide / 2, cy - 6, cx + wide / 2, cy + 6) for cx, cy in places]
        best = min(range(len(boxes)), key=lambda k: (sum(_overlap(boxes[k], other) for other in taken), k))
        taken.append(boxes[best])
        cx, cy = places[best]
        drawn.append(line((float(x), float(y)), (float(cx), float(cy)), class_="leader") if best > 7 else "")
        drawn.append(label(float(cx), float(cy) + 4, spot.shown_part.tag, class_="tag", text_anchor="middle"))
    return "".join(drawn)


_ROUND = ((1, 0), (-1, 0), (0, -1), (0, 1), (0.8, -0.8), (-0.8, -0.8), (0.8, 0.8), (-0.8, 0.8))


def _overlap(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    wide = min(one[2], other[2]) - max(one[0], other[0])
    high = min(one[3], other[3]) - max(one[1], other[1])
    return max(wide, 0.0) * max(high, 0.0)


def _shown_set_words(shown_set: ShownSet, found: dict[str, Spot]) -> str:
    centre = np.mean([found[name].centre for name in shown_set.facts.parts], axis=0)
    where = f"a* {number(centre[0])}, b* {number(centre[1])}"
    return f"Set {shown_set.letter}, {count(len(shown_set.shown_parts), 'part')}, lies about {where}."
