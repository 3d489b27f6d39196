"""From the record of a month or year to its figures."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

import numpy as np
from markupsafe import Markup

from skyglint.activity.month import Month, SeasonShower
from skyglint.activity.scales import Scaled
from skyglint.report import doppler_figure
from skyglint.report import season_words as words
from skyglint.report.figures import histogram, hour_map, month_sheet, points, solar_clock
from skyglint.report.numbers import fixed, interval, quantity
from skyglint.report.season import Array, ChannelSeason, SeasonPage

WIDE_PX, NARROW_PX = 1000.0, 340.0
#: Steps and reach of the heights' histogram, kilometres.
HEIGHT_STEP_KM, HEIGHT_REACH_KM = 2.0, (76.0, 116.0)
_HOURS = [(hour, f"{hour}\u202fh") for hour in (0, 6, 12, 18, 24)]


def figures(page: SeasonPage) -> Iterator[tuple[str, Markup]]:
    """Yield the page's figures with the names of their files, at the sizes for a wide screen."""
    yield "hours", map_figure(page)
    yield "nights", nights_figure(page)
    yield "solar-clock", clock_figure(page)
    yield "course", course_figure(page)
    for month in page.months:
        yield f"calendar-{month.name}", sheet_figure(page, month)
        if len(month.heights):
            yield f"heights-{month.name}", heights_figure(month)
    for apparition in page.showers:
        if apparition.curve:
            yield f"shower-{apparition.shower.code}-{apparition.months[0]}", curve_figure(apparition)
    for entry in windy(page):
        yield f"wind-{file_word(entry.channel.name)}", wind_figure(entry)
    if months_told(page) > 1:
        yield "mass-index", mass_figure(page)


def file_word(name: str) -> str:
    """Return a name as part of a file's name: letters, digits and hyphens."""
    return re.sub(r"[^0-9A-Za-z]+", "-", name).strip("-") or "channel"


def map_figure(page: SeasonPage, width: float = WIDE_PX) -> Markup:
    """Return the map of hours by days."""
    known = np.isfinite(page.hour_map)
    label = (
        f"Echoes per hour by night and local solar hour; {int(known.sum())} of {known.size} hours watched, "
        f"ink up to {fixed(hour_map.map_top(page.hour_map))} per hour"
    )
    return hour_map.hour_map(label, page.hour_map, _map_ticks(page, width), width, 9.0 if width > 500 else 8.0)


def _map_ticks(page: SeasonPage, width: float) -> list[tuple[int, str]]:
    if page.kind == "year":
        firsts = [(k, evening.strftime("%b")) for k, evening in enumerate(page.evenings) if evening.day == 1]
        return firsts if width > 500 else firsts[::2]
    every = 1 if width > 500 else 5
    return [(k, str(evening.day)) for k, evening in enumerate(page.evenings) if k % every == 0]


def nights_figure(page: SeasonPage, width: float = WIDE_PX) -> Markup:
    """Return the rate by night."""
    marks = _points(page.nights, [k + 0.5 for k in range(len(page.evenings))], [str(e) for e in page.evenings])
    dark = [(float(k), k + 1.0) for k in np.flatnonzero(page.nights.exposure_h <= 0)]
    ticks = [(k + 0.5, text) for k, text in _map_ticks(page, width)]
    axis = points.Axis(0.0, float(len(page.evenings)), ticks, "night of")
    seen = "; ".join(mark.words for mark in marks if mark.words) if page.kind == "month" else f"{len(marks)} nights"
    return points.points_chart(f"Rate by night: {seen}", axis, "/ h", marks, (), dark, width)


def _points(part: Scaled, x: list[float], names: list[str]) -> list[points.Point]:
    rows = zip(x, names, part.rate_per_h, part.low_per_h, part.high_per_h, strict=True)
    return [
        points.Point(
            at, float(rate), float(low), float(high),
            f"{name}: {interval(float(rate), float(low), float(high), '/ h')}" if rate == rate else "",
        )
        for at, name, rate, low, high in rows
    ]  # fmt: skip


def expected_per_h(page: SeasonPage) -> Array | None:
    """Return the expected course at the 24 hours on the scale of the counts; ``None`` where it is not known."""
    if page.expected is None:
        return None
    weight = page.hours_of_day.exposure_h @ page.expected
    return page.expected * float(page.hours_of_day.echoes.sum() / weight) if weight > 0 else None


def clock_figure(page: SeasonPage) -> Markup:
    """Return the solar clock of the season, counted and expected."""
    day = page.hours_of_day
    sectors = [
        solar_clock.SolarHour(
            hour, 3600.0, float(day.rate_per_h[hour]), float(day.low_per_h[hour]), float(day.high_per_h[hour])
        )
        for hour in range(24)
    ]
    expected = expected_per_h(page)
    mean = float(page.cycle.mean_per_h) if math.isfinite(page.cycle.mean_per_h) else page.total.rate_per_h
    middle = fixed(mean, 1 if mean < 100.0 else 0)
    seen = [mark.words for mark in _points(day, [0.0] * 24, [f"{hour} h" for hour in range(24)]) if mark.words]
    label = f"Solar clock: echoes per hour by local solar hour; {'; '.join(seen) or 'nothing was watched'}"
    return solar_clock.solar_clock(
        label, sectors, middle, "echoes / h", expected=() if expected is None else tuple(expected)
    )


def course_figure(page: SeasonPage) -> Markup:
    """Return the course of the day: counted, fitted, and expected."""
    names = [f"{hour} to {hour + 1} h" for hour in range(24)]
    marks = _points(page.hours_of_day, [hour + 0.5 for hour in range(24)], names)
    lines = []
    cycle = page.cycle
    if math.isfinite(cycle.hour_of_maximum_h):
        at = np.linspace(0.0, 24.0, 97)
        swing = cycle.amplitude * np.cos(2.0 * np.pi * (at - cycle.hour_of_maximum_h) / 24.0)
        lines.append(points.Line("fitted", list(zip(at, cycle.mean_per_h * (1.0 + swing), strict=True))))
    expected = expected_per_h(page)
    if expected is not None:
        around = [(-0.5, expected[-1]), *((h + 0.5, expected[h]) for h in range(24)), (24.5, expected[0])]
        inside = [(min(max(x, 0.0), 24.0), float(y)) for x, y in around]
        lines.append(points.Line("expected", inside))
    axis = points.Axis(0.0, 24.0, _HOURS, "local solar time")
    return points.points_chart(
        "Course of the day: counted by the hour, fitted line, expected dashed line", axis, "/ h", marks, lines
    )


def sheet_figure(page: SeasonPage, month: Month) -> Markup:
    """Return a month's calendar of nights."""
    hours = page.nights.exposure_h
    fullest = max(float(hours.max(initial=0.0)), 1e-9)
    nights = [
        month_sheet.Night(evening, float(page.nights.rate_per_h[k]), float(hours[k]) / fullest)
        for k, evening in enumerate(page.evenings)
        if f"{evening:%Y-%m}" == month.name
    ]
    known = page.nights.rate_per_h[np.isfinite(page.nights.rate_per_h)]
    top = float(known.max(initial=1.0)) * 1.05
    return month_sheet.month_sheet(f"Calendar of nights, {month.name}", nights, top)


def heights_figure(month: Month) -> Markup:
    """Return the heights of underdense echoes."""
    middle, spread = float(np.median(month.heights)), float(np.std(month.heights))
    label = (
        f"Heights of {len(month.heights)} underdense echoes, median {quantity(middle, 'km', 1)}, standard deviation "
        f"{quantity(spread, 'km', 1)}"
    )
    return histogram.histogram(label, month.heights, HEIGHT_STEP_KM, HEIGHT_REACH_KM, "height, km")


def curve_figure(entry: SeasonShower) -> Markup:
    """Return a shower's course against solar longitude, as equivalent zenithal hourly rate."""
    shower, row = entry.shower, entry.shower.shower
    base = row.peak_solar_longitude_deg
    since = [(point, (point.longitude_deg - base + 180.0) % 360.0 - 180.0) for point in entry.curve]
    marks = [
        points.Point(
            at, point.flux.zhr, point.flux.zhr_low, point.flux.zhr_high,
            f"{point.longitude_deg:.2f}°: {interval(point.flux.zhr, point.flux.zhr_low, point.flux.zhr_high, '')}",
        )
        for point, at in since
    ]  # fmt: skip
    low, high = min(at for _, at in since) - 0.5, max(at for _, at in since) + 0.5
    at = np.linspace(low, high, 200)
    model = shower.flux.zhr * row.profile((base + at) % 360.0)
    step = max(1, round((high - low) / 6))
    first = math.ceil(base + low)
    ticks = [(degree - base, f"{degree % 360}°") for degree in range(first, math.floor(base + high) + 1, step)]
    label = (
        f"{words.shower_name(shower.code)}: equivalent zenithal hourly rate against solar longitude, "
        f"{len(marks)} spans; the dashed line is the table's profile at the fitted strength"
    )
    lines = [points.Line("expected", list(zip(at.tolist(), model.tolist(), strict=True)))]
    return points.points_chart(label, points.Axis(low, high, ticks, "solar longitude"), "ZHR", marks, lines)


def windy(page: SeasonPage) -> list[ChannelSeason]:
    """Return the carriers whose shifts tell some hours of the day."""
    return [entry for entry in page.channels if doppler_figure.told(entry.channel, entry.doppler)]


def wind_figure(entry: ChannelSeason) -> Markup:
    """Return a carrier's shifts by hour of the day, as drift where the path is known."""
    return doppler_figure.doppler_figure(entry.channel, entry.doppler, entry.distance_km)


def wind_note(entry: ChannelSeason) -> str:
    """Return what a carrier's figure of shifts shows."""
    return doppler_figure.doppler_note(entry.doppler, entry.distance_km)


def months_told(page: SeasonPage) -> int:
    """Return how many months tell a mass index."""
    return sum(math.isfinite(month.underdense.mass_index) for month in page.months)


def mass_figure(page: SeasonPage) -> Markup:
    """Return the mass index month by month."""
    marks = [
        points.Point(
            int(month.name[5:]) - 0.5,
            month.underdense.mass_index,
            month.underdense.low_68,
            month.underdense.high_68,
            f"{month.name}: {fixed(month.underdense.mass_index, 2)}",
        )
        for month in page.months
    ]
    ticks = [(k + 0.5, str(k + 1)) for k in range(12)]
    axis = points.Axis(0.0, 12.0, ticks, "month")
    return points.points_chart("Mass index by month", axis, "s", marks, from_zero=False)


def nights_on(page: SeasonPage) -> list[tuple[str, str, str]]:
    """Return evening, echoes and rate of every night that was watched."""
    part = page.nights
    return [
        (
            str(page.evenings[k]),
            f"{int(part.echoes[k])}",
            interval(float(part.rate_per_h[k]), float(part.low_per_h[k]), float(part.high_per_h[k]), "").strip(),
        )
        for k in np.flatnonzero(part.exposure_h > 0)
    ]
