"""Satellite passes in words: table, JSON document, iCalendar."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rich.markup import escape
from rich.table import Table

from skyglint.plan.reflection import Reflection
from skyglint.plan.satellite_passes import SatellitePass, Track
from skyglint.report.numbers import clock, counted, fixed
from skyglint.site import Site
from skyglint.utc import format_utc, to_datetime


def as_document(passes: Sequence[SatellitePass]) -> dict[str, Any]:
    """Return the document of ``--json``; what is unknown is null."""
    return {"passes": [_as_json(one) for one in passes]}


def _as_json(one: SatellitePass) -> dict[str, Any]:
    return {
        "name": one.elements.name,
        "catalog_number": one.elements.catalog_number,
        "object_id": one.elements.object_id,
        "rise_utc": format_utc(one.when.rise_unix) or None,
        "culmination_utc": format_utc(one.when.culmination_unix),
        "set_utc": format_utc(one.when.set_unix) or None,
        "max_elevation_deg": round(one.when.max_elevation_deg, 3),
        "elements_epoch_utc": format_utc(one.elements.epoch_unix),
        "elements_age_days": round(one.age_days, 3),
        "warning": one.warning or None,
        "reflections": [_reflection(each) for each in one.reflections],
        "track": _points(one.track),
    }


def _points(track: Track) -> list[dict[str, Any]]:
    look = track.look
    return [
        {
            "utc": format_utc(float(unix)),
            "azimuth_deg": round(float(look.azimuth_deg[i]), 4),
            "elevation_deg": round(float(look.elevation_deg[i]), 4),
            "range_km": round(float(look.range_km[i]), 4),
            "range_rate_km_s": round(float(look.range_rate_km_s[i]), 6),
            "sunlit": bool(track.sunlit[i]),
            "doppler_hz": _number(track.doppler_hz[i], 3),
            "bistatic_doppler_hz": {name: _number(shift[i], 3) for name, shift in track.bistatic_doppler_hz.items()},
        }
        for i, unix in enumerate(track.unix)
    ]


def _reflection(one: Reflection) -> dict[str, Any]:
    return {
        "channel": one.channel,
        "start_utc": format_utc(one.start_unix) or None,
        "end_utc": format_utc(one.end_unix) or None,
        "best_utc": format_utc(one.best_unix) or None,
        "power_dbm": _number(one.power_dbm, 1),
        "snr_db": _number(one.snr_db, 1),
        "needed_snr_db": _number(one.needed_db, 1),
        "hope": one.hope,
        "sentence": one.sentence,
    }


def _number(value: float | np.float64, decimals: int) -> float | None:
    return round(float(value), decimals) if math.isfinite(value) else None


def as_lines(passes: Sequence[SatellitePass], site: Site, hours: float) -> Iterator[Table | str]:
    """Yield what the terminal shows: a sentence, the table, and the hope of each reflection."""
    yield f"{escape(site.site.name)}: {counted(len(passes), 'pass', 'passes')} in {hours:g} h. Times in UTC."
    if not passes:
        return
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    table.add_column("Satellite", overflow="ellipsis", no_wrap=True, max_width=17)
    for heading in ("Date", "Rise", "Top", "Set"):
        table.add_column(heading, no_wrap=True)
    for heading in ("High", "Azimuths", "Doppler"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("Sun", no_wrap=True)
    for one in passes:
        table.add_row(*_row(one))
    yield table
    yield "Azimuths at rise, top and set in degrees; Doppler: largest shift of the beacon in kHz; Sun: lit at the top."
    for one in passes:
        for reflection in one.reflections:
            yield f"{clock(one.when.culmination_unix, -1)} {escape(one.elements.name)}, {escape(reflection.sentence)}"


def _row(one: SatellitePass) -> Iterator[str]:
    when, track = one.when, one.track
    top = int(np.argmin(np.abs(track.unix - when.culmination_unix)))
    azimuths = track.look.azimuth_deg
    yield escape(one.elements.name)
    yield format_utc(when.start_unix)[5:10]
    yield clock(when.rise_unix, 0) or "is up"
    yield clock(when.culmination_unix, 0)
    yield clock(when.set_unix, 0) or "stays up"
    yield f"{fixed(when.max_elevation_deg)}°"
    yield " ".join(f"{azimuths[i]:.0f}" for i in (0, top, -1))
    yield _largest_khz(track.doppler_hz)
    yield "yes" if track.sunlit[top] else "no"


def _largest_khz(shift_hz: NDArray[np.float64]) -> str:
    return f"±{np.abs(shift_hz).max() / 1e3:.2f}" if np.isfinite(shift_hz).all() else ""


def as_icalendar(passes: Sequence[SatellitePass], site: Site, stamp_unix: float) -> bytes:
    """Return the passes as an iCalendar file (RFC 5545); it does not say where the site is."""
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//Skyglint//Passes//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", f"Satellite passes at {site.site.name}")
    for one in passes:
        event = Event()
        event.add("uid", f"{one.elements.catalog_number}-{one.when.culmination_unix:.0f}@skyglint.invalid")
        event.add("dtstamp", to_datetime(math.floor(stamp_unix)))
        event.add("dtstart", to_datetime(math.floor(one.when.start_unix)))
        event.add("dtend", to_datetime(math.ceil(one.when.end_unix)))
        event.add("transp", "TRANSPARENT")
        event.add("summary", f"{one.elements.name}: up to {one.when.max_elevation_deg:.0f} deg")
        event.add("description", "\n".join(_description(one)))
        calendar.add_component(event)
    content: bytes = calendar.to_ical()
    return content


def _description(one: SatellitePass) -> Iterator[str]:
    azimuth, top = one.track.look.azimuth_deg, one.when.culmination_unix
    yield f"Culminates {format_utc(top, 0)}; azimuth {azimuth[0]:.0f} to {azimuth[-1]:.0f} deg."
    yield f"Elements {one.age_days:.1f} days old."
    yield from (reflection.sentence for reflection in one.reflections)
