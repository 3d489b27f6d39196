"""The calendar of nights: a month at a time, each night with what it counted."""

from __future__ import annotations

import calendar
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from skyglint.activity.rates import read_rates
from skyglint.report.nights import evening_of, night_span, nights
from skyglint.store import Store
from skyglint.web.archive import NothingYet
from skyglint.web.context import Context

#: A night's counts and the list of nights are made anew after this.
FRESH_S = 30.0


@dataclass(frozen=True, slots=True)
class Night:
    """One night: its evening, what all target channels counted, and how long the best of them was watched."""

    evening: date
    echoes: int
    watched_s: float


@dataclass(frozen=True, slots=True)
class Month:
    """One month of the calendar.

    Attributes
    ----------
    first
        Its first day.
    weeks
        Rows from Monday to Sunday; each day with its night, which is None where nothing is known of it; days of other
        months are None.
    most
        The largest count of a night in it, at least 1.
    before, after
        The nearest months that have nights, as ``2026-07``; empty where there is none.
    """

    first: date
    weeks: tuple[tuple[tuple[date, Night | None] | None, ...], ...]
    most: int
    before: str
    after: str


def known_nights(context: Context) -> list[date]:
    """Return the nights of which something is known, oldest first."""

    def find() -> list[date]:
        try:
            with context.archive.reading() as store:
                return nights(store)
        except NothingYet:
            return []

    return context.cache.get("nights", FRESH_S, find)


def gather_month(context: Context, wanted: str) -> Month | None:
    """Return a month, or with an empty wish the latest that has a night; None where nothing is known at all."""
    known = known_nights(context)
    if not known:
        return None
    months = sorted({f"{evening:%Y-%m}" for evening in known})
    wanted = wanted or months[-1]
    year, month = map(int, wanted.split("-"))
    found = {night.evening: night for night in _nights_of(context, [e for e in known if f"{e:%Y-%m}" == wanted])}
    weeks = tuple(
        tuple((day, found.get(day)) if day.month == month else None for day in week)
        for week in calendar.Calendar().monthdatescalendar(year, month)
    )
    return Month(
        first=date(year, month, 1),
        weeks=weeks,
        most=max([night.echoes for night in found.values()], default=1) or 1,
        before=max((other for other in months if other < wanted), default=""),
        after=min((other for other in months if other > wanted), default=""),
    )


def _nights_of(context: Context, evenings: Sequence[date]) -> list[Night]:
    def count() -> list[Night]:
        with context.archive.reading() as store:
            return _count(store, evenings, context.site.site.longitude_deg)

    return context.cache.get(("month", tuple(evenings)), FRESH_S, count) if evenings else []


def _count(store: Store, evenings: Sequence[date], longitude_deg: float) -> list[Night]:
    start, end = night_span(evenings[0], longitude_deg)[0], night_span(evenings[-1], longitude_deg)[1]
    rows = [row for row in read_rates(store, "night", start + 1.0, end - 1.0) if row.role == "target"]
    made = []
    for evening in evenings:
        own = [row for row in rows if evening_of((row.start_unix + row.end_unix) / 2.0, longitude_deg) == evening]
        watched_s = max((row.coverage_s for row in own if not math.isnan(row.coverage_s)), default=0.0)
        made.append(Night(evening, sum(row.echoes for row in own), watched_s))
    return made


def neighbours(context: Context, evening: date) -> tuple[date | None, date | None]:
    """Return the nights before and after one."""
    known = known_nights(context)
    earlier = [other for other in known if other < evening]
    later = [other for other in known if other > evening]
    return (earlier[-1] if earlier else None), (later[0] if later else None)


def title(evening: date) -> str:
    """Return a night's two dates, the second as its day."""
    return f"{evening.isoformat()} to {(evening + timedelta(days=1)).day:02d}"
