"""From the database to the record of a month or year page."""

from __future__ import annotations

import calendar
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

import skyglint
from skyglint.activity.almanac import target_paths
from skyglint.activity.bins import solar_hour_edges
from skyglint.activity.month import Month, season_showers, study_month
from skyglint.activity.nights import combined_rate
from skyglint.activity.poisson import ONE_SIGMA
from skyglint.activity.rates import Rate, distinct, rates
from skyglint.activity.response import ChannelPath
from skyglint.activity.scales import gathered, scaled, tables
from skyglint.activity.sporadic_course import expected_course
from skyglint.activity.sporadic_day import sporadic_day
from skyglint.activity.study import hours_of, without_showers
from skyglint.errors import RequestError
from skyglint.report.lanes import channels_of
from skyglint.report.nights import night_span, nights, place_of
from skyglint.report.season import Array, ChannelSeason, SeasonPage
from skyglint.report.season_channels import Quality, channel_season, quality_of
from skyglint.site import Channel, Site, parse_site
from skyglint.store.store import Store

_EARLIER_S = 3600.0
_DAY_S = 86_400.0


def months_of(text: str) -> list[tuple[date, date]]:
    """Return first and last evening of each month of ``2026-08`` or ``2026``.

    Raises
    ------
    RequestError
        If the text is neither.

    Examples
    --------
    >>> months_of("2026-02")
    [(datetime.date(2026, 2, 1), datetime.date(2026, 2, 28))]
    """
    if not re.fullmatch(r"[12]\d{3}(-(0[1-9]|1[0-2]))?", text):
        raise RequestError(f"{text}: expected a month like 2026-08 or a year like 2026")
    year, _, month = text.partition("-")
    wanted = [int(month)] if month else range(1, 13)
    return [(date(int(year), m, 1), date(int(year), m, calendar.monthrange(int(year), m)[1])) for m in wanted]


@dataclass(frozen=True, slots=True)
class _Season:
    """What is asked for: where, when, and of which channels."""

    site: Site
    name: str
    evenings: tuple[date, ...]
    channels: tuple[Channel, ...]
    paths: dict[str, ChannelPath]
    calibration: float

    @property
    def longitude_deg(self) -> float:
        # Rounded: what is published by solar hours would give the exact place away.
        return round(self.site.site.longitude_deg, 1)

    @property
    def span(self) -> tuple[float, float]:
        first, last = self.evenings[0], self.evenings[-1]
        return night_span(first, self.longitude_deg)[0], night_span(last, self.longitude_deg)[1]

    @property
    def targets(self) -> list[str]:
        return [channel.name for channel in self.channels if channel.role == "target"]


@dataclass(frozen=True, slots=True)
class _Part:
    """A month's rows by solar hour and by night, and what is kept of its echoes and floors."""

    rows: list[Rate]
    night_rows: list[Rate]
    month: Month
    courses: dict[str, Array]
    quality: dict[str, Quality]


def gather_season(
    store: Store, name: str, calibration: float = 1.0, told: Callable[[float], None] = lambda share: None
) -> SeasonPage:
    """Gather everything that the page of a month (``2026-08``) or a year (``2026``) shows.

    Parameters
    ----------
    store
        Of one site.
    name
        The month or the year; a night belongs to the date of its evening.
    calibration
        True over modelled number of echoes, where a known shower or a test signal has told it.
    told
        Is told how much is done, 0 to 1.

    Raises
    ------
    RequestError
        If the name is neither, or the database knows nothing of it, or holds several sites.
    """
    months = months_of(name)
    place_of(store)
    found = nights(store)
    evenings = tuple(months[0][0] + timedelta(days=k) for k in range((months[-1][1] - months[0][0]).days + 1))
    if not set(found) & set(evenings):
        held = f"the database holds nights from {found[0]} to {found[-1]}" if found else "the database holds no night"
        raise RequestError(f"no night in {name}: {held}")
    site = parse_site(store.runs()[-1].site_file, "site file of the last run")
    asked = _Season(site, name, evenings, (), {}, calibration)
    channels = channels_of(store, store.coverage(*asked.span))
    # The response is worked out from the exact place; nothing that is shown gives it away.
    paths = {path.channel.name: path for path in target_paths(site.model_copy(update={"channel": channels}))}
    asked = replace(asked, channels=tuple(channels), paths=paths)
    parts = []
    for k, (first, last) in enumerate(months):
        part = _part(
            store, replace(asked, name=f"{first:%Y-%m}", evenings=tuple(e for e in evenings if first <= e <= last))
        )
        parts += [part] if part else []
        told((k + 1) / len(months))
    return _page(store, asked, parts)


def _part(store: Store, month: _Season) -> _Part | None:
    longitude, span = month.longitude_deg, month.span
    coverage = store.coverage(*span)
    if not coverage:
        return None
    # An echo that began before the first bin may still hide a part of it.
    echoes = distinct(store.echoes(span[0] - _EARLIER_S, span[1]))
    by_hour = np.unique(np.clip(solar_hour_edges(*span, longitude), *span))
    by_night = span[0] + _DAY_S * np.arange(len(month.evenings) + 1)
    rows = rates(month.channels, coverage, echoes, by_hour, longitude)
    own = [stored for stored in echoes if stored.echo.start_unix >= span[0]]
    hours = np.arange(24, dtype=np.float64) + 0.5
    return _Part(
        rows,
        rates(month.channels, coverage, echoes, by_night, longitude),
        study_month(month.name, month.targets, month.paths, coverage, rows, own, month.calibration),
        {name: expected_course(path, sum(span) / 2.0, hours) for name, path in month.paths.items()},
        quality_of(store.floors(*span), month.channels, coverage, own, longitude, span),
    )


def _page(store: Store, season: _Season, parts: Sequence[_Part]) -> SeasonPage:
    site, span, n = season.site.site, season.span, len(season.evenings)
    rows = [row for part in parts for row in part.rows]
    night_rows = [row for part in parts for row in part.night_rows]
    months = tuple(part.month for part in parts)
    ruled = frozenset().union(*(month.shower_hours for month in months))
    share = {
        name: {k: v for month in months for k, v in month.shower_share.get(name, {}).items()} for name in season.targets
    }
    day = sporadic_day(rows, season.targets, ruled, share)
    scales = day.scales
    night = np.clip((day.start_unix + 1800.0 - span[0]) // _DAY_S, 0, n - 1).astype(np.intp)
    cell = day.solar_hour.astype(np.intp) % 24 * n + night
    by_night = scaled(
        *tables(night_rows, season.targets, span[0] + _DAY_S * np.arange(n, dtype=np.float64)), scales.factor
    )
    channels = []
    for channel in season.channels:
        place = season.targets.index(channel.name) if channel.role == "target" else None
        told = (scales.factor, scales.factor_low, scales.factor_high)
        channels.append(
            channel_season(
                site,
                channel,
                without_showers(hours_of(rows, channel.name), ruled, share.get(channel.name, {})),
                [row for row in night_rows if row.channel == channel.name],
                [part.courses[channel.name] for part in parts if channel.name in part.courses],
                [float("nan") if place is None else float(values[place]) for values in told],
                [part.quality[channel.name] for part in parts],
                span[1] - span[0],
            )
        )
    runs = {recording.run_id for recording in store.recordings(*span)}
    return SeasonPage(
        kind="month" if "-" in season.name else "year",
        name=season.name,
        site_name=site.name,
        latitude_deg=round(site.latitude_deg, 1),
        longitude_deg=season.longitude_deg,
        evenings=season.evenings,
        start_unix=span[0],
        end_unix=span[1],
        reference=season.targets[day.reference] if season.targets else "",
        hour_map=gathered(day.together, cell, 24 * n).rate_per_h.reshape(24, n),
        nights=by_night,
        hours_of_day=day.hours_of_day,
        total=combined_rate(by_night.echoes, by_night.exposure_h),
        cycle=day.cycle,
        morning=day.morning,
        shower_hours=sum(start in ruled for start in day.start_unix.tolist()),
        expected=_expected_together(channels),
        channels=tuple(channels),
        months=months,
        showers=season_showers(months, season.calibration),
        rows=tuple(rows),
        confidence=ONE_SIGMA,
        calibration=season.calibration,
        runs=tuple(run for run in store.runs() if run.id in runs),
        version=skyglint.__version__,
    )


def _expected_together(channels: Sequence[ChannelSeason]) -> Array | None:
    """Return the expected course of all targets whose transmitter is known, by their sensitivities."""
    known = [(entry.expected, entry.scale) for entry in channels if entry.expected is not None and entry.scale > 0]
    if not known:
        return None
    return np.average([course for course, _ in known], axis=0, weights=[scale for _, scale in known])
