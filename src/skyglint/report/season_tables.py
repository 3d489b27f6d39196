"""The numbers of a month or year page as tables, with units and provenance."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from skyglint.activity.flux import ShowerFlux
from skyglint.activity.mass_index import MassIndex
from skyglint.activity.scales import Scaled
from skyglint.activity.wind import wind_by_hour
from skyglint.report.season import SeasonPage
from skyglint.report.tables import RATE_COLUMNS, Cell, Column, Table, rate_cells, rounded
from skyglint.utc import format_utc

_RATE = (
    Column("echoes", "integer", "", "echoes of all target channels that count as meteors"),
    Column("exposure_h", "number", "h", "live hours that a channel of mean sensitivity would have needed for as many"),
    Column("rate_per_h", "number", "1 / h", "echoes / exposure: rate of a target channel of mean sensitivity"),
    Column("rate_low_per_h", "number", "1 / h", "lower central Poisson limit, 68.27 % (Garwood 1936)"),
    Column("rate_high_per_h", "number", "1 / h", "upper central Poisson limit, 68.27 % (Garwood 1936)"),
)
_FLUX = (
    Column("flux_per_km2_h", "number", "1 / (km2 h)", "flux of meteors brighter than magnitude 6.5"),
    Column("flux_low_per_km2_h", "number", "1 / (km2 h)", "lower 68 % limit, of counting alone"),
    Column("flux_high_per_km2_h", "number", "1 / (km2 h)", "upper 68 % limit, of counting alone"),
    Column("zhr", "number", "1 / h", "equivalent visual zenithal hourly rate (Koschack & Rendtel 1990)"),
    Column("zhr_low", "number", "1 / h", "lower 68 % limit"),
    Column("zhr_high", "number", "1 / h", "upper 68 % limit"),
)
_INDEX = (
    Column("mass_index", "number", "", "s of dN ~ m^-s dm"),
    Column("low_68", "number", "", "lower 68 % limit"),
    Column("high_68", "number", "", "upper 68 % limit"),
    Column("low_95", "number", "", "lower 95 % limit"),
    Column("high_95", "number", "", "upper 95 % limit"),
    Column("echoes", "integer", "", "echoes between their limits"),
)
_COLUMNS: dict[str, tuple[Column, ...]] = {
    "rates": RATE_COLUMNS,
    "wind": (
        Column("channel", "text", "", "name of the carrier's channel"),
        Column("local_solar_hour", "number", "h", "middle of the hour, local apparent solar time at the site"),
        Column("echoes", "integer", "", "echoes with a measured shift"),
        Column("doppler_hz", "number", "Hz", "mean shift, offsets of transmitter and receiver included"),
        Column("doppler_sd_hz", "number", "Hz", "standard error of it"),
        Column("scatter_hz", "number", "Hz", "scatter between echoes beyond their errors"),
        Column("drift_m_s", "number", "m / s", "drift along the bisector at the path's middle, 95 km, less its mean"),
        Column("drift_sd_m_s", "number", "m / s", "standard error of it"),
    ),
    "hours": (
        Column("night", "text", "", "date of the night's evening"),
        Column("local_solar_hour", "integer", "h", "local apparent solar hour at the site, 12 to 23 and then 0 to 11"),
        Column("rate_per_h", "number", "1 / h", "rate of a target channel of mean sensitivity; empty: not watched"),
    ),
    "nights": (Column("night", "text", "", "date of the evening"), *_RATE),
    "course": (
        Column("local_solar_hour", "number", "h", "middle of the hour, local apparent solar time at the site"),
        *_RATE,
        Column("expected", "number", "", "sporadic course expected of the sources, relative to the day's mean"),
    ),
    "channels": (
        Column("channel", "text", "", "name of the channel"),
        Column("role", "text", "", "target, guard or reference"),
        Column("echoes", "integer", "", "echoes that count as meteors"),
        Column("watched_s", "number", "s", "time watched"),
        Column("rate_per_h", "number", "1 / h", "mean over the nights"),
        Column("rate_low_per_h", "number", "1 / h", "lower limit, 68.27 %"),
        Column("rate_high_per_h", "number", "1 / h", "upper limit, 68.27 %"),
        Column("scale", "number", "", "sensitivity relative to the reference channel"),
        Column("scale_low", "number", "", "lower 68 % limit"),
        Column("scale_high", "number", "", "upper 68 % limit"),
        Column("amplitude", "number", "", "relative amplitude of the course of the day"),
        Column("amplitude_sd", "number", "", "standard error of it"),
        Column("hour_of_maximum_h", "number", "h", "local apparent solar time of the maximum"),
        Column("hour_of_maximum_sd_h", "number", "h", "standard error of it"),
        Column("middle_ahead_h", "number", "h", "local solar time at the path's middle less that at the site"),
        Column("floor_db", "number", "dB", "median of the floor relative to full scale"),
        Column("floor_reach_db", "number", "dB", "95 % of the readings lie this close to it"),
    ),
    "showers": (
        Column("months", "text", "", "months of the fit"),
        Column("shower", "text", "", "IAU code"),
        Column("significance", "number", "", "standard deviations from no such shower"),
        Column("probability", "number", "", "probability of such an excess without it"),
        *_FLUX,
        Column("channels", "integer", "", "channels that could see it"),
        Column("spread", "number", "", "root of chi-square over degrees of freedom between them"),
        Column("peak_longitude_deg", "number", "deg", "solar longitude (J2000) of the maximum that was seen"),
        Column("peak_low_deg", "number", "deg", "lower 68 % limit"),
        Column("peak_high_deg", "number", "deg", "upper 68 % limit"),
    ),
    "shower-curves": (
        Column("months", "text", "", "months of the fit"),
        Column("shower", "text", "", "IAU code"),
        Column("solar_longitude_deg", "number", "deg", "middle of the span, J2000"),
        Column("echoes", "integer", "", "counted above the limit"),
        Column("background", "number", "", "expected without the shower"),
        *_FLUX,
    ),
    "mass-index": (
        Column("month", "text", "", "month"),
        Column("source", "text", "", "all, sporadic hours, or the hours that a shower rules"),
        Column("law", "text", "", "what was taken to depend on the mass"),
        *_INDEX,
    ),
}


def season_tables(page: SeasonPage) -> Iterator[tuple[str, Table]]:
    """Yield the tables with the names of their files."""
    provenance = {
        "software": f"Skyglint {page.version}",
        "site": page.site_name,
        "season": page.name,
        # Dates and no times: the moment at which a night begins tells the site's longitude.
        "nights": [str(page.evenings[0]), str(page.evenings[-1])],
        "reference_channel": page.reference,
        "calibration": page.calibration,
        "assumptions": sorted({text for entry in page.showers for text in entry.shower.flux.assumptions}),
        "runs": [
            {"id": run.id, "version": run.version, "created_utc": format_utc(run.created_unix)} for run in page.runs
        ],
    }
    for name, rows in _ROWS.items():
        yield name, Table(_COLUMNS[name], rows(page), {"table": name, **provenance})


def _hours(page: SeasonPage) -> Iterator[tuple[Cell, ...]]:
    for k, evening in enumerate(page.evenings):
        for hour in (*range(12, 24), *range(12)):
            yield str(evening), hour, rounded(float(page.hour_map[hour, k]))


def _scaled(part: Scaled, k: int) -> tuple[Cell, ...]:
    numbers = (part.exposure_h[k], part.rate_per_h[k], part.low_per_h[k], part.high_per_h[k])
    return int(part.echoes[k]), *(rounded(float(value)) for value in numbers)


def _nights(page: SeasonPage) -> Iterator[tuple[Cell, ...]]:
    for k in np.flatnonzero(page.nights.exposure_h > 0).tolist():
        yield str(page.evenings[k]), *_scaled(page.nights, k)


def _course(page: SeasonPage) -> Iterator[tuple[Cell, ...]]:
    for hour in range(24):
        expected = math.nan if page.expected is None else float(page.expected[hour])
        yield hour + 0.5, *_scaled(page.hours_of_day, hour), rounded(expected)


def _channels(page: SeasonPage) -> Iterator[tuple[Cell, ...]]:
    for entry in page.channels:
        nights, cycle = entry.nights, entry.cycle
        numbers = (
            *(nights.rate_per_h, nights.low_per_h, nights.high_per_h, entry.scale, entry.scale_low, entry.scale_high),
            *(cycle.amplitude, cycle.amplitude_sd, cycle.hour_of_maximum_h, cycle.hour_of_maximum_sd_h),
            *(entry.middle_ahead_h, entry.floor_db, entry.floor_reach_db),
        )
        name, role = entry.channel.name, entry.channel.role
        yield name, role, entry.echoes, rounded(entry.watched_s), *(rounded(float(value)) for value in numbers)


def _showers(page: SeasonPage) -> Iterator[tuple[Cell, ...]]:
    for entry in page.showers:
        shower, months = entry.shower, " ".join(entry.months)
        told = (rounded(shower.significance), rounded(shower.probability))
        peak = shower.peak
        maximum = (peak.longitude_deg, peak.low_68_deg, peak.high_68_deg) if peak is not None else (math.nan,) * 3
        channels = (shower.channels, rounded(shower.spread), *(rounded(float(value)) for value in maximum))
        yield months, shower.code, *told, *_flux(shower.flux), *channels


def _curves(page: SeasonPage) -> Iterator[tuple[Cell, ...]]:
    for entry in page.showers:
        for point in entry.curve:
            counted = (rounded(point.longitude_deg), point.echoes, rounded(point.background))
            yield " ".join(entry.months), entry.shower.code, *counted, *_flux(point.flux)


def _flux(flux: ShowerFlux) -> tuple[Cell, ...]:
    values = (flux.flux_per_km2_h, flux.low_per_km2_h, flux.high_per_km2_h, flux.zhr, flux.zhr_low, flux.zhr_high)
    return tuple(rounded(value) for value in values)


def _mass_index(page: SeasonPage) -> Iterator[tuple[Cell, ...]]:
    for month in page.months:
        yield month.name, "all", *_index(month.underdense)
        yield month.name, "all", *_index(month.overdense)
        for by_source in (month.by_source, month.overdense_by_source):
            for source, index in by_source.items():
                yield month.name, source, *_index(index)


def _index(index: MassIndex) -> tuple[Cell, ...]:
    values = (index.mass_index, index.low_68, index.high_68, index.low_95, index.high_95)
    return index.law, *(rounded(value) for value in values), index.echoes


def _rates(page: SeasonPage) -> Iterator[tuple[Cell, ...]]:
    return (rate_cells(row) for row in page.rows)


def _wind(page: SeasonPage) -> Iterator[tuple[Cell, ...]]:
    for entry in page.channels:
        if entry.channel.kind != "carrier":
            continue
        wind = wind_by_hour(entry.doppler, entry.channel.frequency_hz, entry.distance_km)
        for k in np.flatnonzero(np.isfinite(entry.doppler.mean_hz)).tolist():
            found = (entry.doppler.mean_hz[k], entry.doppler.mean_sd_hz[k], entry.doppler.scatter_hz[k])
            told = (*found, wind.speed_m_s[k], wind.speed_sd_m_s[k])
            numbers = (rounded(float(value)) for value in told)
            yield entry.channel.name, float(wind.hour[k]), int(wind.echoes[k]), *numbers


_ROWS = {
    "rates": _rates,
    "hours": _hours,
    "nights": _nights,
    "course": _course,
    "channels": _channels,
    "showers": _showers,
    "shower-curves": _curves,
    "mass-index": _mass_index,
    "wind": _wind,
}
