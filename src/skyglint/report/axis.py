"""The time axis under the lanes: where its ticks stand and what they say."""

from __future__ import annotations

from skyglint.report.figures.timescale import TimeScale
from skyglint.report.night import NightPage
from skyglint.report.numbers import clock

#: A tick this close to an edge of the axis has no room for half of its text there.
EDGE_SHARE = 0.08


def time_scale(page: NightPage) -> TimeScale:
    """Return the night's time axis."""
    return TimeScale(page.start_unix, page.end_unix)


def tick_left(page: NightPage, tick: float) -> str:
    """Return where a tick stands, as a percentage."""
    return f"{100.0 * time_scale(page).share(tick):.2f}%"


def tick_class(page: NightPage, tick: float) -> str:
    """Return how a tick's text stands: at the edges it leans inwards."""
    share = time_scale(page).share(tick)
    return "first" if share < EDGE_SHARE else "last" if share > 1.0 - EDGE_SHARE else "inner"


def tick_text(page: NightPage, tick: float) -> str:
    """Return a tick's time: minutes, or seconds where the ticks are that close."""
    return clock(tick, 0 if time_scale(page).tick_step_s() < 60 else -1)
