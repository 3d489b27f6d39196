"""``skyglint showers``: what is active, and how well each path sees it hour by hour."""

from __future__ import annotations

import json as json_format
import sys
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from skyglint.cli.options import ForceOption, JsonOption, SiteArgument
from skyglint.errors import RequestError, SkyglintError


def run(
    site: SiteArgument,
    day: Annotated[str, typer.Option("--date", metavar="DATE", help="UTC day, like 2026-08-13.", show_default=False)],
    calendar: Annotated[
        Path | None,
        typer.Option("--calendar", metavar="FILE", help="Write the maxima of the year from DATE on as iCalendar."),
    ] = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="HTML", help="Write the year from DATE on as a page.")
    ] = None,
    json: JsonOption = False,
    force: ForceOption = False,
) -> None:
    """Print the active showers, their altitude, and how well each channel's path sees them, by UTC hour.

    Example: `skyglint showers home.toml --date 2026-08-13 --calendar showers.ics --to showers.html`

    The response is the number of trails that a path would count of one flux, 1 being the best hour of a radiant that
    passes through the zenith of the path's middle; a path can see a shower badly while it stands high.
    """
    from skyglint.activity.almanac import coming_maxima, shower_day
    from skyglint.cli.showers_words import as_document, as_icalendar, as_table
    from skyglint.report.calendar_page import CalendarPage, render_calendar
    from skyglint.site import load_site

    place = load_site(site)
    midnight_unix = _midnight_unix(day)
    if calendar is not None or to is not None:
        maxima = coming_maxima(place, midnight_unix)
        if calendar is not None:
            _write(calendar, as_icalendar(maxima, place, midnight_unix), force)
            typer.echo(f"{calendar}: {len(maxima)} maxima from {day} on", err=json)
        if to is not None:
            page = render_calendar(CalendarPage(place.site.name, midnight_unix, tuple(maxima)))
            _write(to, page.encode("utf-8"), force)
            typer.echo(f"{to}: {len(maxima)} maxima from {day} on", err=json)
    if json:
        document = as_document(shower_day(place, midnight_unix), place, midnight_unix)
        typer.echo(json_format.dumps(document, allow_nan=False))
    elif calendar is None and to is None:
        from rich.console import Console

        console = Console(width=None if sys.stdout.isatty() else 80, highlight=False)
        for part in as_table(shower_day(place, midnight_unix), place, midnight_unix):
            console.print(part)


def _midnight_unix(text: str) -> float:
    from skyglint.utc import parse_utc

    try:
        return parse_utc(f"{date.fromisoformat(text).isoformat()}T00:00:00Z")
    except ValueError as error:
        raise RequestError(f"--date {text}: expected a date like 2026-08-13") from error


def _write(path: Path, content: bytes, force: bool) -> None:
    if path.exists() and not force:
        raise RequestError(f"{path}: is there already: give --force to overwrite it")
    try:
        path.write_bytes(content)
    except OSError as error:
        raise SkyglintError(f"{path}: cannot be written: {error.strerror}") from error
