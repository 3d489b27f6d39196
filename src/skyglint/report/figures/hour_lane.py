"""Expected echoes by local solar hour, as a lane that stretches with the page, and by month as a field of tones."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from skyglint.report.figures.svg import element, figure, short
from skyglint.report.numbers import fixed

HEIGHT_PX = 56.0
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

_GRID_PX, _LEFT_PX, _ROW_PX = 320.0, 30.0, 11.0
_TONES = 8


def hour_lane(label: str, per_hour: Sequence[float], top_per_h: float, step_per_h: float) -> Markup:
    """Return 24 bars from midnight to midnight, rules at every step, the same scale for every lane."""
    parts = []
    level = step_per_h
    while level < top_per_h:
        y = HEIGHT_PX * (1 - level / top_per_h)
        parts.append(element("line", x1=0, x2=240, y1=y, y2=y, class_="rule", vector_effect="non-scaling-stroke"))
        level += step_per_h
    for hour, rate in enumerate(per_hour):
        tall = HEIGHT_PX * min(rate / top_per_h, 1.0)
        title = element("title", f"{hour} to {hour + 1} h solar time: {fixed(rate, 0 if rate >= 10 else 1)} an hour")
        parts.append(
            element("rect", title, x=hour * 10 + 0.7, y=HEIGHT_PX - tall, width=8.6, height=tall, class_="bar")
        )
    base = HEIGHT_PX - 0.5
    parts.append(element("line", x1=0, x2=240, y1=base, y2=base, class_="axis", vector_effect="non-scaling-stroke"))
    return element(
        "svg",
        *parts,
        class_="strip",
        viewBox=f"0 0 240 {short(HEIGHT_PX)}",
        preserveAspectRatio="none",
        height=f"{short(HEIGHT_PX)}",
        role="img",
        aria_label=label,
    )


def month_field(label: str, by_month: Sequence[Sequence[float]]) -> Markup:
    """Return twelve rows of 24 cells in eight tones, the darker the more; the scale is the figure's own."""
    most = max(max(row) for row in by_month) or 1.0
    wide = (_GRID_PX - _LEFT_PX) / 24
    cells: list[list[str]] = [[] for _ in range(_TONES)]
    for month, row in enumerate(by_month):
        for hour, rate in enumerate(row):
            corner = f"M{short(_LEFT_PX + hour * wide)} {short(month * _ROW_PX)}"
            cells[min(int(_TONES * rate / most), _TONES - 1)].append(
                f"{corner}h{wide - 0.6:.2f}v10.4h-{wide - 0.6:.2f}z"
            )
    parts = [
        element("path", d="".join(cell), class_="tone", fill_opacity=short((k + 0.6) / _TONES))
        for k, cell in enumerate(cells)
        if cell
    ]
    parts += [
        element("text", MONTHS[month], x=_LEFT_PX - 5, y=month * _ROW_PX + 10, class_="end")
        for month in range(0, 12, 2)
    ]
    below = 12 * _ROW_PX + 13
    for hour in (0, 6, 12, 18, 24):
        place = "" if hour == 0 else "end" if hour == 24 else "middle"
        parts.append(element("text", f"{hour} h", x=_LEFT_PX + hour * wide, y=below, class_=place))
    return figure(label, _GRID_PX, below + 5, *parts)
