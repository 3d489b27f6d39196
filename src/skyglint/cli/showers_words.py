"""The showers of a day and of the coming year in words: table, JSON document, iCalendar."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from skyglint.activity.almanac import Maximum, ShowerDay
from skyglint.report.calendar_page import hour_spans
from skyglint.report.numbers import counted, fixed, quantity
from skyglint.site import Site
from skyglint.sky.showers import Shower
from skyglint.sky.sun import solar_longitude_deg
from skyglint.utc import format_utc, to_datetime

_BARS = "▁▂▃▄▅▆▇█"
_REFERENCE = "best hour of a radiant through the zenith of the path's middle, 40 km/s, same flux above a line density"


def as_document(days: Sequence[ShowerDay], site: Site, midnight_unix: float) -> dict[str, Any]:
    """Return the document of ``--json``; lists by UTC hour have 24 entries, hour 0 first."""
    return {
        "date": format_utc(midnight_unix)[:10],
        "site": site.site.name,
        "solar_longitude_deg": round(float(solar_longitude_deg(midnight_unix)), 5),
        "solar_longitude_convention": "geocentric, geometric, mean ecliptic and equinox of J2000.0",
        "response_of_one": _REFERENCE,
        "showers": [_as_json(day, float(solar_longitude_deg(midnight_unix))) for day in days],
    }


def _as_json(day: ShowerDay, longitude_deg: float) -> dict[str, Any]:
    shower = day.shower
    return {
        "iau_code": shower.iau_code,
        "name": shower.name,
        "kind": shower.kind,
        "active": day.active,
        "radiant_ra_deg": round(day.right_ascension_deg, 4),
        "radiant_dec_deg": round(day.declination_deg, 4),
        "maximum_utc": format_utc(day.maximum_unix, 0) or None,
        "speed_km_s": _or_none(shower.speed_km_s),
        "population_index": _or_none(shower.population_index),
        "zhr_max": _or_none(shower.zhr_max),
        "zhr": _or_none(round(float(shower.zhr(longitude_deg)), 2)) if day.active else None,
        "profile_assumed": shower.profile_assumed,
        "altitude_deg": np.round(day.altitude_deg, 4).tolist(),
        "azimuth_deg": np.round(day.azimuth_deg, 4).tolist(),
        "response": {name: np.round(response, 4).tolist() for name, response in day.response.items()},
        "source": shower.source,
        "confirmed": shower.confirmed,
        "notes": shower.notes,
    }


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else value


def as_table(days: Sequence[ShowerDay], site: Site, midnight_unix: float) -> Iterator[Table | str]:
    """Yield what the terminal shows: a sentence, the table of the active showers, and how to read it."""
    active = sorted((day for day in days if day.active), key=lambda day: -np.nan_to_num(day.shower.zhr_max, nan=0.0))
    longitude = quantity(float(solar_longitude_deg(midnight_unix)), "°", 2)
    count = counted(len(active), "active shower", "active showers")
    date, name = format_utc(midnight_unix)[:10], escape(site.site.name)
    yield f"{date}, {name}: {count}. Solar longitude {longitude} at 0 h UTC."
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    table.add_column("Shower", overflow="fold", ratio=1)
    table.add_column("", justify="right", overflow="ellipsis", no_wrap=True, max_width=16)
    table.add_column("UTC 0 h     12 h    23 h", no_wrap=True, width=24)
    for day in active:
        for row in _rows(day):
            table.add_row(*row)
    yield table
    yield (
        "Bars: altitude from 0 to 90°; for each channel the response from 0 to 1, where 1 is the best hour of a "
        "radiant through the zenith of the path's middle. · below the horizon, or not seen by the path."
    )
    if not any(day.response for day in active):
        yield "No target channel states its latitude_deg and longitude_deg, so no path's response can be told."


def _rows(day: ShowerDay) -> Iterator[tuple[Text | str, str, str]]:
    shower = day.shower
    yield Text(f"{shower.iau_code} {shower.name}", style="bold"), "altitude", _strip(day.altitude_deg / 90.0)
    words = [_radiant(day), _maximum(day)]
    strips = [(escape(name), _strip(response)) for name, response in day.response.items()]
    for i in range(max(len(words), len(strips))):
        name, strip = strips[i] if i < len(strips) else ("", "")
        yield words[i] if i < len(words) else "", name, strip


def _radiant(day: ShowerDay) -> str:
    speed = quantity(day.shower.speed_km_s, "km/s")
    declination = f"{day.declination_deg:+.0f}°".replace("-", "−")
    return f"  radiant {fixed(day.right_ascension_deg)}° {declination}" + (f", {speed}" if speed else "")


def _maximum(day: ShowerDay) -> str:
    if math.isnan(day.maximum_unix):
        return "  no maximum"
    rate = day.shower.zhr_max
    return f"  maximum {format_utc(day.maximum_unix)[:10]}" + ("" if math.isnan(rate) else f", ZHR {fixed(rate)}")


def _strip(shares: NDArray[np.float64]) -> str:
    """Return one bar an hour for shares from 0 to 1 (more is a full bar), a dot where there is nothing."""
    return "".join("·" if share <= 0.0 else _BARS[min(int(share * 8.0), 7)] for share in shares)


def as_icalendar(maxima: Sequence[Maximum], site: Site, stamp_unix: float) -> bytes:
    """Return the maxima as an iCalendar file (RFC 5545), an hour each; it does not say where the site is."""
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//Skyglint//Showers//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", f"Meteor showers at {site.site.name}")
    for maximum in maxima:
        shower, start = maximum.day.shower, to_datetime(60.0 * round(maximum.unix / 60.0))
        event = Event()
        event.add("uid", f"{shower.iau_code.lower()}-{start:%Y}@skyglint.invalid")
        event.add("dtstamp", to_datetime(stamp_unix))
        event.add("dtstart", start)
        event.add("dtend", start + timedelta(hours=1))
        event.add("transp", "TRANSPARENT")
        event.add("summary", f"{shower.name} ({shower.iau_code}): maximum")
        event.add("description", "\n".join(_description(maximum)))
        calendar.add_component(event)
    content: bytes = calendar.to_ical()
    return content


def _description(maximum: Maximum) -> Iterator[str]:
    day, shower = maximum.day, maximum.day.shower
    yield f"Solar longitude {shower.peak_solar_longitude_deg:g} deg (J2000); {_of_table(shower)}."
    if not math.isnan(maximum.start_unix):
        yield f"Active {format_utc(maximum.start_unix)[:10]} to {format_utc(maximum.end_unix)[:10]}."
    yield f"Highest here at {int(np.argmax(day.altitude_deg))} h UTC, {day.altitude_deg.max():.0f} deg."
    for name in day.response:
        hours = day.good_hours(name)
        seen = f"sees it best at {hour_spans(hours)} h UTC" if hours else "does not see it"
        yield f"{name} {seen}."
    yield f"Source: {shower.source}" + ("" if shower.confirmed == "seen" else " (from memory)")


def _of_table(shower: Shower) -> str:
    facts = [f"radiant {shower.radiant_ra_deg:g} {shower.radiant_dec_deg:+g} deg"]
    facts += [] if math.isnan(shower.speed_km_s) else [f"{shower.speed_km_s:g} km/s"]
    facts += [] if math.isnan(shower.zhr_max) else [f"ZHR {shower.zhr_max:g}"]
    return ", ".join(facts)
