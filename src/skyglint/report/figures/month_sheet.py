"""A calendar sheet of one month of nights: the rate in ink, the share watched as a bar under the day."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from skyglint.report.figures.hour_map import STEPS, ramp_ink, ramp_step
from skyglint.report.figures.svg import element, figure
from skyglint.report.numbers import fixed

CELL_W_PX, CELL_H_PX, HEAD_PX = 44.0, 40.0, 18.0
DAYS = ("Mo", "Tu", "We", "Th", "Fr", "Sa", "Su")


@dataclass(frozen=True, slots=True)
class Night:
    """One night: the evening's date, rate per hour (NaN where nothing was watched), and share of the day watched."""

    evening: date
    rate_per_h: float
    watched_share: float


def month_sheet(label: str, nights: Sequence[Night], top_per_h: float) -> Markup:
    """Return the sheet of one month's nights, Monday first; full ink is ``top_per_h``."""
    first = nights[0].evening.replace(day=1).weekday()
    weeks = math.ceil((first + nights[-1].evening.day) / 7)
    parts = [
        element("text", name, x=CELL_W_PX * (k + 0.5), y=12.0, class_="small middle") for k, name in enumerate(DAYS)
    ]
    for night in nights:
        place = first + night.evening.day - 1
        parts += _cell(night, CELL_W_PX * (place % 7), HEAD_PX + CELL_H_PX * (place // 7), top_per_h)
    return figure(label, 7 * CELL_W_PX, HEAD_PX + CELL_H_PX * weeks, *parts, class_="figure sheet")


def _cell(night: Night, x: float, y: float, top: float) -> list[Markup]:
    box = {"x": x + 1.0, "y": y + 1.0, "width": CELL_W_PX - 2.0, "height": CELL_H_PX - 2.0}
    if math.isnan(night.rate_per_h):
        return [
            element("rect", **box, fill="url(#hatch)"),
            element("text", str(night.evening.day), x=x + 5.0, y=y + 14.0, class_="halo"),
        ]
    step = ramp_step(night.rate_per_h, top)
    dark = " on-ink" if step >= STEPS // 2 else ""
    middle = x + CELL_W_PX / 2.0
    words = element("title", f"{night.evening}: {fixed(night.rate_per_h, 1)} per hour")
    return [
        element("rect", words, **box, class_="ramp edged", fill_opacity=ramp_ink(step)),
        element("text", str(night.evening.day), x=x + 5.0, y=y + 14.0, class_=f"small{dark}"),
        element("text", fixed(night.rate_per_h), x=middle + 16.0, y=y + 29.0, class_=f"count end{dark}"),
        element(
            "rect", x=x + 4.0, y=y + CELL_H_PX - 6.0, width=(CELL_W_PX - 8.0) * min(night.watched_share, 1.0),
            height=2.0, class_=f"watched{dark}",
        ),
    ]  # fmt: skip
