"""The sentences of the live page, and its figures from the record of the night."""

from __future__ import annotations

import math

import numpy as np
from markupsafe import Markup

from skyglint.plan.satellite_passes import SatellitePass
from skyglint.report.figures import lane, section, solar_clock, trace
from skyglint.report.figures.marks import class_word, mark_of
from skyglint.report.figures.timescale import TimeScale
from skyglint.report.numbers import clock, fixed, interval, quantity, span
from skyglint.report.passes_page import HOPE_WORDS
from skyglint.site import Channel
from skyglint.store import CoverageSpan, StoredEcho
from skyglint.web.context import SILENT_S, Context
from skyglint.web.recent import SPAN_S
from skyglint.web.tonight import LiveLane, Tonight

LANE_PX, LOW_LANE_PX, MANY_LANES = 60.0, 44.0, 6
TOP_DB = 30.0
#: Rows of the table of passes, and how far ahead it looks.
MOST_PASSES, PASSES_S = 5, 12 * 3600.0


def state_sentence(context: Context) -> str:
    """Return the state of the station in words."""
    latest = context.hub.latest
    if latest is None:
        return "Nothing has been heard from the engine yet; the lanes begin to move when it speaks."
    if context.hub.silent_s > SILENT_S:
        return f"No word from the engine since {clock(latest.end_unix, 0)} UTC; it is started again by itself."
    return latest.sentence


def unit_of(channel: Channel | None) -> str:
    """Return the unit of a peak: decibels, and for a carrier, which is referred to 1 Hz, dB-Hz."""
    return "dB-Hz" if channel is not None and channel.kind == "carrier" else "dB"


def peak(context: Context, entry: StoredEcho) -> str:
    """Return an echo's peak with its unit."""
    kinds = {channel.name: channel for channel in context.site.channel}
    return quantity(entry.echo.peak_snr_db, unit_of(kinds.get(entry.echo.channel)), 1)


def counts(context: Context, entry: StoredEcho) -> bool:
    """Tell whether a burst counts as a meteor: its class is one of a meteor and its channel a target."""
    roles = {channel.name: channel.role for channel in context.site.channel}
    return entry.meteoric and roles.get(entry.echo.channel) == "target"


def echo_words(context: Context, entry: StoredEcho) -> str:
    """Return the words of an echo's mark."""
    echo = entry.echo
    when = clock(echo.start_unix)
    return (
        f"{class_word(entry.echo_class)}, {echo.channel}, {when} UTC, {peak(context, entry)}, {span(echo.duration_s)}"
    )


def snapshot(context: Context, night: Tonight, entry: LiveLane) -> Markup:
    """Return a lane's last minutes as a still picture, for browsers without the live script."""
    scale = TimeScale(night.start_unix, night.now_unix)
    marks = [
        lane.LaneMark(
            echo.echo.start_unix,
            echo.echo.end_unix,
            mark_of(echo.echo_class),
            echo_words(context, echo),
            f"/echoes/{echo.id}",
            counts(context, echo),
        )
        for echo in night.recent
        if echo.echo.channel == entry.channel.name
    ]
    height = LOW_LANE_PX if len(night.lanes) > MANY_LANES else LANE_PX
    label = f"{entry.channel.name}: power over the floor in the last {span(SPAN_S)}"
    return lane.strip(label, scale, entry.power_db, TOP_DB, _unheard(night, entry), marks, height)


def ticks(night: Tonight) -> list[tuple[str, str]]:
    """Return where the ticks of the axis stand, in percent, and their times."""
    scale = TimeScale(night.start_unix, night.now_unix)
    shares = [(scale.share(tick), tick) for tick in scale.ticks(5)]
    return [(f"{100.0 * share:.2f}%", clock(tick, -1)) for share, tick in shares if 0.04 < share < 0.9]


def _unheard(night: Tonight, entry: LiveLane) -> list[CoverageSpan]:
    unheard = np.isnan(entry.power_db)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], unheard, [False]]).astype(np.int8)))
    step = SPAN_S / max(len(unheard), 1)
    return [
        CoverageSpan(entry.channel.name, night.start_unix + a * step, night.start_unix + b * step, "lost", "not heard")
        for a, b in edges.reshape(-1, 2).tolist()
    ]


def clock_figure(night: Tonight) -> Markup:
    """Return the solar clock of the night so far."""
    rate = night.all_targets.rate_per_h
    hours = [
        solar_clock.SolarHour(row.solar_hour, row.live_s, row.rate_per_h, row.rate_low_per_h, row.rate_high_per_h)
        for row in night.solar_hours
    ]
    seen = "; ".join(
        f"{row.solar_hour} h: {interval(row.rate_per_h, row.rate_low_per_h, row.rate_high_per_h, '/ h')}"
        for row in night.solar_hours
        if not math.isnan(row.rate_per_h)
    )
    label = f"Solar clock: echoes per hour by local solar hour; {seen or 'nothing was watched yet'}"
    middle = fixed(rate, 1 if rate < 100.0 else 0) or "·"
    return solar_clock.solar_clock(label, hours, middle, "echoes / h", night.solar_hour)


def shown_path(night: Tonight) -> LiveLane | None:
    """Return the lane whose path is shown: that of the newest echo of a target whose place is known, else the first."""
    known = {lane.channel.name: lane for lane in night.lanes if not math.isnan(lane.distance_km)}
    heard = [entry.echo.channel for entry in night.last if entry.meteoric and entry.echo.channel in known]
    return known[heard[0]] if heard else next(iter(known.values()), None)


def section_figure(entry: LiveLane) -> Markup:
    """Return the cross-section of a path."""
    label = f"Cross-section of the path to {entry.channel.name}"
    return section.cross_section(label, section.section_of(entry.distance_km), section.scale_for([entry.distance_km]))


def next_passes(context: Context) -> list[SatellitePass]:
    """Return the passes that are on and the next ones."""
    now = context.now()
    return context.overhead.passes(now, now + PASSES_S)[:MOST_PASSES]


def pass_hopes(one: SatellitePass) -> list[tuple[str, str]]:
    """Return what can be expected of a pass: words, and the channels that they are for."""
    found = [("its own signal", list(one.track.beacon_doppler_hz))]
    for hope, words in HOPE_WORDS.items():
        found.append((words, [each.channel for each in one.reflections if each.hope == hope]))
    return [(words, ", ".join(names)) for words, names in found if names]


def spark_figure(night: Tonight, entry: StoredEcho) -> Markup | None:
    """Return an echo's spark, where its trace was kept."""
    readings = night.sparks.get(entry.id)
    return trace.spark(readings) if readings is not None and len(readings) > 1 else None
