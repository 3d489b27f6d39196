"""Shares by hour of the day, one row each, as tones: the darker the more."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from skyglint.report.figures.svg import element, figure
from skyglint.report.numbers import fixed

WIDTH_PX, LEFT_PX, ROW_PX, BOTTOM_PX = 340.0, 96.0, 15.0, 20.0
#: Letters of a row's name that fit.
_MOST_LETTERS = 14


def hour_field(label: str, rows: Sequence[tuple[str, NDArray[np.float64]]]) -> Markup:
    """Return one row of 24 cells a name; shares from 0 to 1 become tones, above 1 the fullest, 0 leaves paper."""
    wide = (WIDTH_PX - LEFT_PX - 4.0) / 24.0
    parts = []
    for k, (name, shares) in enumerate(rows):
        y = ROW_PX * k
        short_name = name if len(name) <= _MOST_LETTERS else name[: _MOST_LETTERS - 1] + "…"
        parts.append(element("text", short_name, element("title", name), x=LEFT_PX - 6.0, y=y + 11.0, class_="end"))
        parts.append(
            element("rect", x=LEFT_PX, y=y + 1.0, width=24.0 * wide, height=ROW_PX - 3.0, class_="edged", fill="none")
        )
        for hour, share in enumerate(shares.tolist()):
            if share > 0.0:
                title = element("title", f"{name}, {hour} h UTC: {fixed(share, 2)}")
                tone = 0.1 + 0.9 * min(share, 1.0)
                parts.append(
                    element(
                        "rect", title, x=LEFT_PX + hour * wide, y=y + 1.0, width=wide - 0.6, height=ROW_PX - 3.0,
                        class_="bar", fill_opacity=tone,
                    )
                )  # fmt: skip
    height = ROW_PX * len(rows)
    for hour in (0, 6, 12, 18, 24):
        anchor = "end" if hour == 24 else "middle"
        parts.append(element("text", f"{hour}\u202fh", x=LEFT_PX + hour * wide, y=height + 13.0, class_=anchor))
    return figure(label, WIDTH_PX, height + BOTTOM_PX, *parts)
