"""``skyglint rates``: how much fell, by hour or by night."""

from __future__ import annotations

import json as json_format
import math
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from skyglint.cli.options import DatabaseArgument, JsonOption, utc_option
from skyglint.errors import RequestError

if TYPE_CHECKING:
    from skyglint.activity.channel_rates import ChannelRate
    from skyglint.activity.rates import By, Rate


def run(
    database: DatabaseArgument,
    by: Annotated[
        str,
        typer.Option(
            help="hour (UTC), night (solar noon to noon), solar-hour (over all days) or solar-longitude (degrees)."
        ),
    ] = "hour",
    start: Annotated[str | None, typer.Option("--from", metavar="UTC", help="Start of the span.")] = None,
    end: Annotated[str | None, typer.Option("--until", metavar="UTC", help="End of the span.")] = None,
    channel: Annotated[list[str] | None, typer.Option(metavar="NAME", help="Only this channel; repeatable.")] = None,
    site: Annotated[str | None, typer.Option(metavar="NAME", help="Only this site, where there are several.")] = None,
    json: JsonOption = False,
) -> None:
    """Print the rates of echoes, corrected for dead time, with their intervals.

    Example: `skyglint rates night.db --by night`
    """
    from skyglint.activity.rates import BINS, read_rates
    from skyglint.store.store import Store

    if by not in BINS:
        raise RequestError(f"--by {by}: expected one of {', '.join(BINS)}")
    start_unix, end_unix = utc_option(start, "--from"), utc_option(end, "--until")
    with Store.open(database, site_name=site) as store:
        found = read_rates(
            store,
            by,
            -math.inf if start_unix is None else start_unix,
            math.inf if end_unix is None else end_unix,
            channel or None,
        )
    from skyglint.activity.channel_rates import over_nights, over_solar_hours

    together = over_solar_hours(found) if by == "solar-hour" else over_nights(found) if by == "night" else []
    if json:
        document = {"by": by, "rates": [_as_json(rate) for rate in found], "together": list(map(_together, together))}
        typer.echo(json_format.dumps(document, allow_nan=False))
    elif not found:
        typer.echo("Nothing was watched in this span.")
    elif by == "solar-hour":
        _print_solar_hours(together)
    else:
        _print(found, by)
        for own in together:
            typer.echo(_sentence(own))


def _together(channel: ChannelRate) -> dict[str, Any]:
    rate = channel.rate
    numbers = {
        "rate_per_h": rate.rate_per_h,
        "rate_low_per_h": rate.low_per_h,
        "rate_high_per_h": rate.high_per_h,
        "dispersion": rate.dispersion,
        "dispersion_probability": rate.probability,
    }
    return {
        "channel": channel.channel,
        "role": channel.role,
        "local_solar_hour": None if channel.solar_hour < 0 else channel.solar_hour,
        "echoes": rate.echoes,
        "live_h": round(rate.exposure_h, 6),
        **{name: None if math.isnan(value) else value for name, value in numbers.items()},
        "method": rate.method,
    }


def _sentence(channel: ChannelRate) -> str:
    from skyglint.report.study_words import nights_sentence

    return f"{channel.channel}: {nights_sentence(channel.rate)}"


def _as_json(rate: Rate) -> dict[str, Any]:
    from skyglint.report.tables import RATE_COLUMNS, as_text, rate_cells

    cells = zip(RATE_COLUMNS, rate_cells(rate), strict=True)
    return {column.name: as_text(column, cell) for column, cell in cells} | {"role": rate.role}


def _print(found: Sequence[Rate], by: By) -> None:
    from itertools import groupby

    from rich.console import Console
    from rich.table import Table

    from skyglint.utc import format_utc

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column({"hour": "UTC", "night": "Night of"}.get(by, "From, UTC"), no_wrap=True)
    table.add_column("Channel", overflow="fold")
    for head in ("Echoes", "Watched", "Hidden", "Per hour (68 %)", "Solar h" if by == "hour" else "Sun °"):
        table.add_column(head, justify="right", no_wrap=True)
    shown_day = ""
    for start_unix, group in groupby(found, lambda rate: rate.start_unix):
        # A night's bin begins at the site's noon, which has the same date there as in UTC.
        day, clock = format_utc(start_unix, 0)[:10], format_utc(start_unix, 0)[11:16]
        begins = {"hour": clock, "night": day}.get(by, f"{day} {clock}")
        if by == "hour" and day != shown_day:
            table.add_row(f"[bold]{day}[/bold]")
        shown_day = day
        for place, rate in enumerate(group):
            table.add_row("" if place else begins, *_cells(rate, by, first=place == 0))
    Console(width=None if sys.stdout.isatty() else 80, highlight=False).print(table)


def _print_solar_hours(found: Sequence[ChannelRate]) -> None:
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    from skyglint.report.numbers import fixed, interval

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("Solar h", no_wrap=True)
    table.add_column("Channel", overflow="fold")
    for head in ("Echoes", "Live h", "Per hour (68 %)"):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("Limits", no_wrap=True)
    shown = -1
    for row in found:
        rate = row.rate
        name = row.channel if row.role == "target" else f"{row.channel} ({row.role})"
        hour = "" if row.solar_hour == shown else f"{row.solar_hour}-{row.solar_hour + 1}"
        shown = row.solar_hour
        limits = interval(rate.rate_per_h, rate.low_per_h, rate.high_per_h, "").rstrip().replace(" to ", "–")
        method = rate.method.split(",")[0] if rate.exposure_h else ""
        table.add_row(hour, escape(name), str(rate.echoes), fixed(rate.exposure_h, 1), limits, method)
    Console(width=None if sys.stdout.isatty() else 80, highlight=False).print(table)


def _cells(rate: Rate, by: By, first: bool) -> tuple[str, ...]:
    from rich.markup import escape

    from skyglint.report.numbers import fixed, interval, quantity

    name = rate.channel if rate.role == "target" else f"{rate.channel} ({rate.role})"
    sun = fixed(rate.local_solar_hour, 1) if by == "hour" else fixed(rate.solar_longitude_deg, 2)
    if not rate.coverage_s:
        return escape(name), "", "0:00:00", "", "", sun if first else ""
    minutes, seconds = divmod(round(rate.coverage_s), 60)
    return (
        escape(name),
        str(rate.echoes),
        f"{minutes // 60}:{minutes % 60:02}:{seconds:02}",
        quantity(100 * rate.busy_s / rate.coverage_s, "%", 0),
        interval(rate.rate_per_h, rate.rate_low_per_h, rate.rate_high_per_h, "").rstrip().replace(" to ", "–"),
        sun if first else "",
    )
