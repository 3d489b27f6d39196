"""A Doppler curve over one pass, with the stretch in which the satellite is seen where it has to be."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from markupsafe import Markup

from skyglint.report.figures.svg import element, figure, polyline
from skyglint.report.numbers import THIN, clock, fixed

WIDTH_PX, LEFT_PX, RIGHT_PX, TOP_PX, BASE_PX = 340.0, 46.0, 10.0, 10.0, 130.0
HEIGHT_PX = 154.0
_STEPS_S = (10, 20, 30, 60, 120, 300, 600, 1800, 3600, 7200, 21_600, 43_200, 86_400)


def doppler_curve(label: str, unix: Sequence[float], shift_hz: Sequence[float]) -> Markup:
    """Return the shift against time; NaN where no signal can come, the rest of the pass on shaded paper."""
    start, end = unix[0], max(unix[-1], unix[0] + 1.0)
    known = [shift for shift in shift_hz if math.isfinite(shift)]
    most = _round_up(max([abs(shift) for shift in known], default=1.0))

    def x(time: float) -> float:
        return LEFT_PX + (WIDTH_PX - LEFT_PX - RIGHT_PX) * (time - start) / (end - start)

    def y(shift: float) -> float:
        return (TOP_PX + BASE_PX) / 2 - shift / most * (BASE_PX - TOP_PX) / 2

    parts = []
    seen = [time for time, shift in zip(unix, shift_hz, strict=True) if math.isfinite(shift)]
    if seen:
        left, right = x(seen[0]), x(seen[-1])
        parts.append(element("rect", x=left, y=TOP_PX, width=right - left, height=BASE_PX - TOP_PX, class_="both"))
    unit, scale = ("kHz", 1e3) if most >= 1000 else ("Hz", 1.0)
    for level in (most, 0.0, -most):
        parts.append(element("line", x1=LEFT_PX, x2=WIDTH_PX - RIGHT_PX, y1=y(level), y2=y(level), class_="rule"))
        sign = "+" if level > 0 else ""
        words = f"{sign}{_plain(level / scale)}" if level else f"0{THIN}{unit}"
        parts.append(element("text", words, x=LEFT_PX - 5, y=y(level) + 4, class_="end"))
    step = next((one for one in _STEPS_S if (end - start) / one <= 4), _STEPS_S[-1])
    for tick in np.arange(math.ceil(start / step) * step, end, step).tolist():
        parts.append(element("line", x1=x(tick), x2=x(tick), y1=BASE_PX, y2=BASE_PX + 4, class_="tick"))
        shown = clock(tick, 0 if step < 60 else -1)
        parts.append(element("text", shown, x=min(x(tick), WIDTH_PX - 24), y=BASE_PX + 18, class_="middle"))
    line = ((x(time), y(shift)) for time, shift in zip(unix, shift_hz, strict=True))
    parts.append(element("path", d=polyline(line), class_="curve"))
    return figure(label, WIDTH_PX, HEIGHT_PX, *parts)


def _plain(value: float) -> str:
    return fixed(value, 1 if abs(value) < 10 and value != round(value) else 0)


def _round_up(value: float) -> float:
    """Return the next 1, 2 or 5 times a power of ten."""
    if value <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= value)
