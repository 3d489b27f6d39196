"""The picture of one echo: power trace over spectrogram on one time axis; and the trace as a spark in a table's row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from skyglint.report.figures.svg import area, element, figure, polyline, short
from skyglint.report.figures.timescale import TimeScale
from skyglint.report.numbers import fixed

WIDTH_PX, LEFT_PX = 320.0, 36.0
TRACE_PX, GAP_PX, INK_PX, AXIS_PX = 76.0, 5.0, 64.0, 18.0
SPARK_WIDTH_PX, SPARK_HEIGHT_PX = 88.0, 22.0


@dataclass(frozen=True, slots=True)
class Spectrogram:
    """A spectrogram to stand under a trace: its picture's address, and the frequencies of its edges."""

    uri: str
    low_hz: float
    high_hz: float


def decibel_step(top_db: float) -> float:
    """Return the step between level lines that gives two to four of them."""
    return next((step for step in (2.0, 5.0, 10.0, 20.0) if top_db / step <= 4.0), 40.0)


def echo_picture(
    label: str,
    seconds: NDArray[np.floating],
    power_db: NDArray[np.floating],
    spectrogram: Spectrogram | None,
    name: str,
    model_db: NDArray[np.floating] | None = None,
) -> Markup:
    """Return power over the floor, and the spectrogram under it, against seconds from the echo's start.

    Parameters
    ----------
    seconds, power_db
        Edges and readings: ``seconds`` has the start of each reading and the end of the last, shape (n + 1,);
        ``power_db`` shape (n,), NaN breaks the line.
    name
        Unique on the page; the mask is called by it.
    model_db
        A fitted course to draw over the readings, shape (n,), dB; NaN where it does not reach.
    """
    scale = TimeScale(float(seconds[0]), float(seconds[-1]))
    bottom = TRACE_PX + (GAP_PX + INK_PX if spectrogram else 0.0)
    return figure(
        label,
        WIDTH_PX,
        bottom + AXIS_PX,
        *_trace(scale, (seconds[:-1] + seconds[1:]) / 2.0, power_db, model_db),
        *(_ink(spectrogram, name) if spectrogram else ()),
        *_seconds_axis(scale, bottom),
    )


def _x(scale: TimeScale, second: float) -> float:
    return LEFT_PX + (WIDTH_PX - LEFT_PX) * scale.share(second)


def _trace(
    scale: TimeScale,
    seconds: NDArray[np.floating],
    power_db: NDArray[np.floating],
    model_db: NDArray[np.floating] | None,
) -> list[Markup]:
    top_db = max(6.0, 1.12 * float(np.nanmax(power_db, initial=0.0)))
    y = TRACE_PX * (1.0 - np.clip(power_db, 0.0, None) / top_db)
    points = [(_x(scale, float(second)), float(level)) for second, level in zip(seconds, y, strict=True)]
    step = decibel_step(top_db)
    parts = []
    model: list[Markup] = []
    if model_db is not None:
        fitted = TRACE_PX * (1.0 - np.clip(model_db, 0.0, None) / top_db)
        course = polyline((x, float(level)) for (x, _), level in zip(points, fitted, strict=True))
        model = [element("path", d=course, class_="model")]
    for level_db in (index * step for index in range(1, int(top_db / step) + 1)):
        height = TRACE_PX * (1.0 - level_db / top_db)
        parts.append(element("line", x1=LEFT_PX, x2=WIDTH_PX, y1=height, y2=height, class_="rule"))
        parts.append(element("text", fixed(level_db), x=LEFT_PX - 5.0, y=height + 4.0, class_="small end"))
    return [
        *parts,
        element("path", d=area(points, TRACE_PX), class_="ink-area"),
        element("path", d=polyline(points), class_="ink-line"),
        *model,
        element("line", x1=LEFT_PX, x2=WIDTH_PX, y1=TRACE_PX, y2=TRACE_PX, class_="axis"),
        element("text", "dB", x=LEFT_PX - 5.0, y=TRACE_PX, class_="small end"),
    ]


def _ink(spectrogram: Spectrogram, name: str) -> list[Markup]:
    top = TRACE_PX + GAP_PX
    box = {"x": LEFT_PX, "y": top, "width": WIDTH_PX - LEFT_PX, "height": INK_PX}
    image = element("image", href=spectrogram.uri, preserveAspectRatio="none", **box)
    low, high = spectrogram.low_hz, spectrogram.high_hz
    unit, size = ("kHz", 1000.0) if max(abs(low), abs(high)) >= 1000.0 else ("Hz", 1.0)
    parts = [
        element("mask", image, id=name),
        element("rect", **box, class_="ink-mask", mask=f"url(#{name})"),
        element("text", unit, x=LEFT_PX - 5.0, y=top + INK_PX, class_="small end"),
    ]
    for offset_hz in _offsets(low, high):
        y = top + INK_PX * (high - offset_hz) / (high - low)
        text = ("+" if offset_hz > 0 else "") + fixed(offset_hz / size)
        parts.append(element("line", x1=LEFT_PX - 3.0, x2=LEFT_PX, y1=y, y2=y, class_="axis"))
        parts.append(element("text", text, x=LEFT_PX - 5.0, y=y + 4.0, class_="small end"))
    return parts


def _offsets(low_hz: float, high_hz: float) -> tuple[float, ...]:
    """Return the offsets to label: the middle and a round one above it (the unit stands where one below would)."""
    reach = min(high_hz, -low_hz)
    if reach <= 0.0:
        return ()
    power = 10.0 ** np.floor(np.log10(0.85 * reach))
    return (0.0, max(float(step * power) for step in (1.0, 2.0, 5.0) if step * power <= 0.85 * reach))


def _seconds_axis(scale: TimeScale, base: float) -> list[Markup]:
    length_s = scale.end_unix - scale.start_unix
    step = next((s for s in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0) if length_s / s <= 5.0), 60.0)
    first, last = int(np.ceil(scale.start_unix / step)), int(np.floor(scale.end_unix / step))
    parts = []
    for tick in (index * step for index in range(first, last + 1)):
        x = _x(scale, tick)
        anchor = "small end" if x > WIDTH_PX - 12.0 else "small middle"
        parts.append(element("path", d=f"M{short(x)} {short(base)}v3", class_="axis"))
        text = fixed(tick, 1 if step < 1.0 else 0)
        parts.append(element("text", f"{text}\u202fs" if tick == 0.0 else text, x=x, y=base + 15.0, class_=anchor))
    return parts


def spark(power_db: NDArray[np.floating]) -> Markup:
    """Return a trace of few readings as a small wordless line; the row beside it says its numbers."""
    top_db = max(6.0, float(np.nanmax(power_db, initial=0.0)))
    x = np.arange(len(power_db)) * SPARK_WIDTH_PX / max(1, len(power_db) - 1)
    y = 1.0 + (SPARK_HEIGHT_PX - 2.0) * (1.0 - np.clip(power_db, 0.0, None) / top_db)
    line = element("path", d=polyline(zip(x.tolist(), y.tolist(), strict=True)), class_="ink-line")
    return element(
        "svg", line, class_="spark", viewBox=f"0 0 {SPARK_WIDTH_PX:g} {SPARK_HEIGHT_PX:g}", aria_hidden="true"
    )
