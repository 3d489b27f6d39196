"""Building blocks of SVG: elements with escaped attributes, short numbers, lines that break where nothing is known."""

from __future__ import annotations

import math
from collections.abc import Iterable

from markupsafe import Markup, escape

#: How far a figure may grow in a wide column, so that its letters stay near the page's sizes.
MOST_GROWTH = 1.15


def element(name: str, *children: str, **attributes: object) -> Markup:
    """Return one element; text and attribute values are escaped, ``Markup`` children are kept.

    Attribute names are Python's: ``class_`` is ``class``, and ``stroke_width`` is ``stroke-width``; ``viewBox`` and
    the like stay as they are. Attributes that are ``None`` are left out.

    Examples
    --------
    >>> element("text", "5 < 6", x=1.50, class_="small", text_anchor="end")
    Markup('<text x="1.5" class="small" text-anchor="end">5 &lt; 6</text>')
    """
    parts = [
        f' {key.rstrip("_").replace("_", "-")}="{escape(short(value) if isinstance(value, float) else value)}"'
        for key, value in attributes.items()
        if value is not None
    ]
    inside = "".join(escape(child) for child in children)
    # Every value above went through escape.
    return Markup(f"<{name}{''.join(parts)}>{inside}</{name}>")


def short(value: float) -> str:
    """Return a coordinate with at most two decimals and no needless zeros."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def percent(share: float) -> str:
    """Return a share of 1 as a percentage for a coordinate that stretches with the page."""
    return f"{100.0 * share:.3f}".rstrip("0").rstrip(".") + "%"


def polyline(points: Iterable[tuple[float, float]]) -> str:
    """Return path data through the points; a point with a NaN breaks the line."""
    parts: list[str] = []
    down = False
    for x, y in points:
        if math.isnan(x) or math.isnan(y):
            down = False
            continue
        parts.append(f"{'L' if down else 'M'}{short(x)} {short(y)}")
        down = True
    return "".join(parts)


def area(points: Iterable[tuple[float, float]], base: float) -> str:
    """Return path data of the area between the points and the level ``base``; NaN breaks it into pieces."""
    pieces: list[list[tuple[float, float]]] = [[]]
    for x, y in points:
        if math.isnan(x) or math.isnan(y):
            pieces.append([])
        else:
            pieces[-1].append((x, y))
    return "".join(polyline([(piece[0][0], base), *piece, (piece[-1][0], base)]) + "Z" for piece in pieces if piece)


def figure(label: str, width: float, height: float, *children: str, class_: str = "figure") -> Markup:
    """Return a figure of that many pixels, which follows its column a little; ``label`` is its alternative text."""
    return element(
        "svg",
        *children,
        class_=class_,
        viewBox=f"0 0 {short(width)} {short(height)}",
        style=f"max-width:{short(MOST_GROWTH * width)}px",
        role="img",
        aria_label=label,
    )
