"""From the night's record to its figures: what the template calls for, one small function each."""

from __future__ import annotations

import math

import numpy as np
from markupsafe import Markup

from skyglint.activity.rates import Rate
from skyglint.report import doppler_figure, wording
from skyglint.report.axis import time_scale
from skyglint.report.figures import floor, histogram, hours, lane, section, solar_clock, trace
from skyglint.report.figures.marks import mark_of
from skyglint.report.night import Lane, NightPage
from skyglint.report.numbers import counted, fixed, interval, measured, quantity, span
from skyglint.report.spectrogram import data_uri, ink_png, ink_top_db, shrink
from skyglint.report.together import Together
from skyglint.store.records import StoredEcho

#: Beyond this many lanes each is drawn lower, so that a night still fits a screen.
MANY_LANES = 6
LANE_PX, LOW_LANE_PX = 60.0, 44.0
#: The upper edge of a lane, dB: the least, and the most that a strong echo may stretch it to.
LEAST_TOP_DB, MOST_TOP_DB = 26.0, 50.0
#: Steps and reach of the heights' histogram, and the fewest heights that make one.
HEIGHT_STEP_KM, HEIGHT_REACH_KM, FEWEST_HEIGHTS = 2.0, (76.0, 116.0), 10
#: The largest picture of a spectrogram, in pixels.
PICTURE_TIMES, PICTURE_ROWS = 284, 64


def snr_unit(page: NightPage, channel: str) -> str:
    """Return the unit of a peak: decibels, and for a carrier, which is referred to 1 Hz, dB-Hz."""
    kinds = {entry.channel.name: entry.channel.kind for entry in page.lanes}
    return "dB-Hz" if kinds.get(channel) == "carrier" else "dB"


def lane_top_db(page: NightPage) -> float:
    """Return the level of the upper edge, the same in every lane."""
    peaks = [float(np.nanmax(entry.power_db, initial=0.0)) for entry in page.lanes]
    return min(MOST_TOP_DB, max(LEAST_TOP_DB, 1.05 * max(peaks, default=0.0)))


def lane_strip(page: NightPage, entry: Lane) -> Markup:
    """Return a channel's strip with its marks."""
    name = entry.channel.name
    unit = snr_unit(page, name)
    marks = [
        lane.LaneMark(
            echo.echo.start_unix,
            echo.echo.end_unix,
            mark_of(echo.echo_class),
            wording.echo_words(echo, unit),
            f"#echo-{echo.id}",
            wording.counts(page, echo),
        )
        for echo in page.echoes
        if echo.echo.channel == name
    ]
    label = (
        f"{name}: power over the floor through the night, up to {quantity(_peak_db(entry), 'dB')}, "
        f"{counted(len(marks), 'burst', 'bursts')} marked, {span(entry.watched_s)} watched"
    )
    height = LOW_LANE_PX if len(page.lanes) > MANY_LANES else LANE_PX
    return lane.strip(label, time_scale(page), entry.power_db, lane_top_db(page), entry.lost, marks, height)


def _peak_db(entry: Lane) -> float:
    return float(np.nanmax(entry.power_db, initial=0.0))


def hour_figure(page: NightPage, entry: Lane) -> Markup:
    """Return a channel's rates by the hour."""
    bars = [_bar(row) for row in entry.hours]
    top = max(hours.ceiling([_bar(row) for row in other.hours]) for other in wording.targets(page))
    label = f"{entry.channel.name}: echoes per hour, by hour of UTC; " + "; ".join(
        f"{row.echoes} in {span(row.coverage_s)}" for row in entry.hours if row.coverage_s > 0.0
    )
    return hours.hour_bars(label, bars, top)


def _bar(row: Rate) -> hours.Bar:
    share = row.coverage_s / (row.end_unix - row.start_unix)
    return hours.Bar(row.start_unix, share, row.echoes, row.rate_per_h, row.rate_low_per_h, row.rate_high_per_h)


def clock_figure(page: NightPage) -> Markup:
    """Return the solar clock of all target channels together."""
    rate = page.all_targets
    middle = fixed(rate.rate_per_h, 1 if rate.rate_per_h < 100.0 else 0)
    sectors = [
        solar_clock.SolarHour(row.solar_hour, row.live_s, row.rate_per_h, row.rate_low_per_h, row.rate_high_per_h)
        for row in page.solar_hours
    ]
    seen = "; ".join(
        f"{row.solar_hour} h: {interval(row.rate_per_h, row.rate_low_per_h, row.rate_high_per_h, '/ h')}"
        for row in page.solar_hours
        if not math.isnan(row.rate_per_h)
    )
    label = f"Solar clock: echoes per hour by local solar hour; {seen or 'nothing was watched'}"
    return solar_clock.solar_clock(label, sectors, middle, "echoes / h", expected=page.study.expected_per_h or ())


def windy(page: NightPage) -> list[Lane]:
    """Return the carriers whose shifts tell some hours of the night."""
    told = page.study.doppler
    return [
        lane
        for lane in page.lanes
        if lane.channel.name in told and doppler_figure.told(lane.channel, told[lane.channel.name])
    ]


def wind_figure(page: NightPage, lane: Lane) -> Markup:
    """Return a carrier's shifts by local solar hour, as drift where the path is known."""
    return doppler_figure.doppler_figure(lane.channel, page.study.doppler[lane.channel.name], lane.distance_km)


def wind_note(page: NightPage, lane: Lane) -> str:
    """Return what that figure shows."""
    return doppler_figure.doppler_note(page.study.doppler[lane.channel.name], lane.distance_km)


def heights_figure(page: NightPage) -> Markup:
    """Return the heights of the night's underdense echoes."""
    heights = page.study.heights
    label = f"Heights of {len(heights)} underdense echoes, median {quantity(float(np.median(heights)), 'km', 1)}"
    return histogram.histogram(label, heights, HEIGHT_STEP_KM, HEIGHT_REACH_KM, "height, km")


def floor_reach_db(page: NightPage) -> float:
    """Return the reach of every floor strip: what the liveliest floor needs, 1 to 10 dB."""
    reaches = [np.nanmax(np.abs(_deviation_db(entry)), initial=0.0) for entry in page.lanes]
    needed = float(max(reaches, default=0.0))
    return next((step for step in (1.0, 2.0, 3.0, 5.0) if needed <= step), 10.0)


def floor_figure(page: NightPage, entry: Lane) -> Markup:
    """Return a channel's floor about its median."""
    label = f"{entry.channel.name}: floor through the night, {floor_words(entry)}"
    return floor.floor_strip(
        label, time_scale(page), entry.floor.time_unix, _deviation_db(entry), floor_reach_db(page), entry.lost
    )


def floor_words(entry: Lane) -> str:
    """Return a floor's median and how close it stayed."""
    known = entry.floor.floor_db[np.isfinite(entry.floor.floor_db)]
    if not known.size:
        return "not measured"
    reach = max(wording.floor_reach_db(entry), 0.1)
    return f"{quantity(float(np.median(known)), 'dB', 1)} ± {quantity(reach, 'dB', 1)}"


def _deviation_db(entry: Lane) -> np.ndarray:
    levels = np.asarray(entry.floor.floor_db, dtype=np.float64)
    known = levels[np.isfinite(levels)]
    return levels - float(np.median(known)) if known.size else levels


def picture_figure(page: NightPage, entry: StoredEcho) -> Markup | None:
    """Return an echo's power trace over its spectrogram; ``None`` where no picture was kept."""
    picture = page.pictures.get(entry.id)
    if picture is None or len(picture.power_db) < 2:
        return None
    n, echo = len(picture.power_db), entry.echo
    seconds = picture.start_unix - echo.start_unix + np.arange(n + 1) * picture.step_s
    drawn = None
    top = ""
    if picture.spectrogram_db.size:
        level = shrink(picture.spectrogram_db, PICTURE_TIMES, PICTURE_ROWS)
        top_db = ink_top_db(level)
        step = (picture.offsets_hz[-1] - picture.offsets_hz[0]) / max(1, len(picture.offsets_hz) - 1) / 2.0
        drawn = trace.Spectrogram(
            data_uri(ink_png(level, top_db)), picture.offsets_hz[0] - step, picture.offsets_hz[-1] + step
        )
        top = f", and its spectrogram, full ink at {quantity(top_db, 'dB')}"
    label = f"Power over the floor of the {wording.echo_words(entry, snr_unit(page, echo.channel))}{top}"
    return trace.echo_picture(label, seconds, picture.power_db, drawn, f"ink-{entry.id}")


def spark_figure(page: NightPage, entry: StoredEcho) -> Markup | None:
    """Return an echo's spark, where its trace was kept."""
    readings = page.sparks.get(entry.id)
    return trace.spark(readings) if readings is not None and len(readings) > 1 else None


def section_figure(page: NightPage, entry: Lane) -> Markup:
    """Return the cross-section of a channel's path; all paths of a page have one scale."""
    known = [other.distance_km for other in page.lanes if not math.isnan(other.distance_km)]
    label = f"Cross-section of the path to {entry.channel.name}. {wording.section_caption(entry)}"
    return section.cross_section(label, section.section_of(entry.distance_km), section.scale_for(known))


def lane_count(entry: Lane) -> int:
    """Return a lane's count: what counts as meteors in a target channel, every burst elsewhere."""
    return entry.night.echoes if entry.channel.role == "target" else entry.bursts


def lane_count_word(entry: Lane) -> str:
    """Return what a lane's count counts."""
    singular, plural = ("echo", "echoes") if entry.channel.role == "target" else ("burst", "bursts")
    return singular if lane_count(entry) == 1 else plural


def rate_words(row: Rate | Together) -> str:
    """Return a rate with its interval."""
    return interval(row.rate_per_h, row.rate_low_per_h, row.rate_high_per_h, "/ h")


def measurements(page: NightPage, entry: StoredEcho) -> list[tuple[str, str]]:
    """Return names and values of what was measured of an echo."""
    echo = entry.echo
    rows = [
        ("peak", quantity(echo.peak_snr_db, snr_unit(page, echo.channel), 1)),
        ("lasted", span(echo.duration_s)),
        ("decay", measured(echo.decay_time_s, echo.decay_time_sd_s, "s")),
        ("height", measured(echo.height_km, echo.height_sd_km, "km")),
        ("Doppler", measured(echo.doppler_hz, echo.doppler_sd_hz, "Hz")),
        ("station", echo.rds_pi),
        ("distrust", ", ".join(echo.flags)),
    ]
    return [(name, value) for name, value in rows if value]
