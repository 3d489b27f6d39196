"""Levels against distance: what was measured, under what each model predicts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from markupsafe import Markup

from skyglint.report.figures.hours import nice_step
from skyglint.report.figures.svg import element, figure, polyline
from skyglint.report.numbers import THIN, fixed

HEIGHT_PX, LEFT_PX, RIGHT_PX, TOP_PX, BOTTOM_PX = 320.0, 44.0, 12.0, 14.0, 40.0
#: The axis is never shorter.
_LEAST_KM = 1.0

Mark = Literal["reading", "limit", "wild"]
Curve = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class LevelMark:
    """One transmitter: distance in km, level in dB over that of free space, what kind of reading, hover text."""

    distance_km: float
    level_db: float
    kind: Mark
    title: str


@dataclass(frozen=True, slots=True)
class Model:
    """One model's curve for a typical transmitter, and the area between low and high ones; (km, dB)."""

    name: str
    middle: Curve
    low: Curve
    high: Curve


def levels_figure(label: str, width: float, marks: Sequence[LevelMark], models: Sequence[Model]) -> Markup:
    """Return the figure; the first model is drawn whole, the second broken."""
    ends = [mark.distance_km for mark in marks] + [point[0] for model in models for point in model.middle[-1:]]
    most_km = max(_LEAST_KM, *ends)
    depths = [mark.level_db for mark in marks] + [point[1] for model in models for point in model.middle]
    top = max(10.0, 10.0 * -(-max(mark.level_db for mark in marks) // 10.0)) if marks else 10.0
    bottom = 10.0 * (min(depths) // 10.0)
    inner = width - LEFT_PX - RIGHT_PX, HEIGHT_PX - TOP_PX - BOTTOM_PX

    def at(km: float, db: float) -> tuple[float, float]:
        inside = min(max(db, bottom), top)
        return LEFT_PX + inner[0] * km / most_km, TOP_PX + inner[1] * (top - inside) / (top - bottom)

    parts = _grid(at, most_km, top, bottom, width)
    for model, name in zip(models, ("first", "second"), strict=False):
        area = [at(*point) for point in (*model.high, *reversed(model.low))]
        parts.append(element("path", d=polyline(area) + "Z", class_=f"band {name}"))
    for model, name in zip(models, ("first", "second"), strict=False):
        parts.append(element("path", d=polyline(at(*point) for point in model.middle), class_=f"curve {name}"))
    parts += [_mark(mark, *at(mark.distance_km, mark.level_db)) for mark in marks]
    for model in models:
        x, y = at(*model.middle[-1])
        parts.append(element("text", model.name, x=x - 4, y=max(y - 7, TOP_PX + 10), class_="level end"))
    return figure(label, width, HEIGHT_PX, *parts)


def _grid(at: object, most_km: float, top: float, bottom: float, width: float) -> list[Markup]:
    assert callable(at)
    parts = []
    step_db = nice_step(top - bottom, 6)
    level = step_db * -(-bottom // step_db)
    while level <= top:
        y = at(0.0, level)[1]
        parts.append(
            element("line", x1=LEFT_PX, y1=y, x2=width - RIGHT_PX, y2=y, class_="axis" if not level else "rule")
        )
        parts.append(element("text", fixed(level), x=LEFT_PX - 6, y=y + 4, class_="end"))
        level += step_db
    step_km = nice_step(most_km, 6 if width > 500 else 4)
    for k in range(int(most_km / step_km) + 1):
        x = at(k * step_km, bottom)[0]
        parts.append(element("line", x1=x, y1=HEIGHT_PX - BOTTOM_PX, x2=x, y2=HEIGHT_PX - BOTTOM_PX + 4, class_="tick"))
        parts.append(element("text", fixed(k * step_km), x=x, y=HEIGHT_PX - BOTTOM_PX + 18, class_="middle"))
    parts.append(element("text", "distance, km", x=width - RIGHT_PX, y=HEIGHT_PX - 5, class_="end"))
    parts.append(element("text", f"dB over free space{THIN}", x=LEFT_PX + 4, y=HEIGHT_PX - 5))
    return parts


def level_symbol(kind: Mark, x: float, y: float) -> Markup:
    """Return the mark of a reading, of an upper limit (pointing down to where the level may be), of a wild one."""
    if kind == "limit":
        return element("path", d=f"M{x - 4:.1f} {y - 3:.1f}h8l-4 7z", class_="limit")
    if kind == "wild":
        return element("path", d=f"M{x - 3:.1f} {y - 3:.1f}l6 6m0-6l-6 6", class_="not-fell")
    return element("circle", cx=x, cy=y, r=3.0, class_="reading")


def _mark(mark: LevelMark, x: float, y: float) -> Markup:
    return element("g", element("title", mark.title), level_symbol(mark.kind, x, y))
