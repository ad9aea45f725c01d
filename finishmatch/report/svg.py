"""Drawing with few words. Every figure is inline SVG with a title and a description in words."""

from __future__ import annotations

import html

from finishmatch.arrays import Array
from finishmatch.report.text import visible


def el(name: str, *children: str, **attributes: object) -> str:
    """One element; ``class_``, ``text_anchor`` become ``class``, ``text-anchor``. Children are SVG already."""
    shown = "".join(f' {_name(key)}="{_value(value)}"' for key, value in attributes.items())
    return f"<{name}{shown}>{''.join(children)}</{name}>" if children else f"<{name}{shown}/>"


def _name(key: str) -> str:
    return key.rstrip("_").replace("_", "-") if key != "viewBox" else key


def _value(value: object) -> str:
    if isinstance(value, float):
        return compact(value)
    return html.escape(str(visible(value)))


def compact(value: float) -> str:
    """At most one decimal: a tenth of a pixel is enough, and the page stays small."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def label(x: float, y: float, words: str, **attributes: object) -> str:
    return el("text", html.escape(str(visible(words))), x=x, y=y, **attributes)


def figure(size: tuple[float, float], title: str, description: str, *children: str, ident: str) -> str:
    """The outer ``svg``: as wide as its column, read out by its title and description."""
    words = el("title", html.escape(str(visible(title))), id=f"{ident}-title")
    words += el("desc", html.escape(str(visible(description))), id=f"{ident}-desc")
    return el(
        "svg",
        words,
        *children,
        viewBox=f"0 0 {compact(size[0])} {compact(size[1])}",
        role="img",
        aria_labelledby=f"{ident}-title {ident}-desc",
        class_="figure",
    )


def path(points_px: Array, closed: bool, **attributes: object) -> str:
    """A line through (n, 2) points."""
    body = "L".join(f"{compact(x)} {compact(y)}" for x, y in points_px)
    return el("path", d=f"M{body}{'Z' if closed else ''}", **attributes)


def dot(x: float, y: float, radius: float, **attributes: object) -> str:
    return el("circle", cx=x, cy=y, r=radius, **attributes)


def line(start: tuple[float, float], end: tuple[float, float], **attributes: object) -> str:
    return el("line", x1=start[0], y1=start[1], x2=end[0], y2=end[1], **attributes)
