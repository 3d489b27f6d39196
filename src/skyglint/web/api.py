"""The open data: a read-only interface to the station, its echoes, rates and coverage."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import islice
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from skyglint import __version__
from skyglint.echoes.echo import EchoClass
from skyglint.report.nights import night_span
from skyglint.report.tables import TableName, as_text, make_table
from skyglint.utc import format_utc, parse_utc
from skyglint.web import api_models as models
from skyglint.web.archive import NothingYet
from skyglint.web.calendar import known_nights
from skyglint.web.context import SILENT_S, Context, context_of
from skyglint.web.echo_pages import EchoId
from skyglint.web.live_words import state_sentence
from skyglint.web.problems import ProblemAnswer

PROBLEMS: dict[int | str, dict[str, Any]] = {
    status: {"model": ProblemAnswer, "description": words}
    for status, words in (
        (404, "Not known."),
        (422, "A parameter is at fault."),
        (429, "Too many viewers."),
        (503, "The database cannot be read at the moment."),
    )
}
router = APIRouter(prefix="/api/v1", tags=["data"])

DAY_S = 86_400.0
#: Longest span of one request, and rows of one page.
MOST_DAYS = 366
MOST_ROWS, ROWS = 5_000, 500

TIME = "like 2026-08-13T02:00:00Z"
Start = Annotated[str | None, Query(max_length=40, description=f"from this time on, {TIME}; default a day ago")]
End = Annotated[str | None, Query(max_length=40, description=f"to before this time, {TIME}; default now")]
Names = Annotated[list[str] | None, Query(max_length=32, description="only these channels")]


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which rows: a half-open span of time, channels, and a page of them."""

    start_unix: float
    end_unix: float
    channels: list[str] | None
    limit: int
    offset: int


def wanted(
    request: Request,
    start_utc: Start = None,
    end_utc: End = None,
    channel: Names = None,
    limit: Annotated[int, Query(ge=1, le=MOST_ROWS, description="rows of a page")] = ROWS,
    offset: Annotated[int, Query(ge=0, le=10_000_000, description="rows to leave out")] = 0,
) -> Wanted:
    """Check what was asked for.

    Raises
    ------
    RequestValidationError
        If a time cannot be read, or the span is empty or too long.
    """
    end = _time("end_utc", end_utc) if end_utc is not None else context_of(request).now()
    start = _time("start_utc", start_utc) if start_utc is not None else end - DAY_S
    if not start < end:
        raise _fault("end_utc", "expected a time after start_utc")
    if end - start > MOST_DAYS * DAY_S:
        raise _fault("start_utc", f"expected a span of {MOST_DAYS} days at most")
    return Wanted(start, end, channel, limit, offset)


def _time(name: str, text: str) -> float:
    try:
        return parse_utc(text)
    except (ValueError, OverflowError) as error:
        raise _fault(name, f"expected a UTC time {TIME}") from error


def _fault(name: str, message: str) -> RequestValidationError:
    return RequestValidationError([{"loc": ("query", name), "msg": message, "type": "value_error"}])


Rows = Annotated[Wanted, Depends(wanted)]


@router.get("/station", response_model=models.StationRecord, summary="The station")
def station(request: Request) -> models.StationRecord:
    """Return the station, its channels, and how it stands."""
    context = context_of(request)
    latitude, longitude = context.shown_place
    latest = context.hub.latest
    return models.StationRecord(
        name=context.site.site.name,
        place=models.Place(
            latitude_deg=latitude, longitude_deg=longitude, rounded_to_deg=10.0**-context.place_decimals
        ),
        state=latest.state if latest is not None and context.hub.silent_s < SILENT_S else "silent",
        sentence=state_sentence(context),
        now_utc=format_utc(context.now()),
        version=__version__,
        channels=_channels(context),
    )


@router.get("/channels", response_model=list[models.ChannelRecord], summary="Channels")
def channels(request: Request) -> list[models.ChannelRecord]:
    """Return the channels: targets first, guards last."""
    return _channels(context_of(request))


def _channels(context: Context) -> list[models.ChannelRecord]:
    return [
        models.ChannelRecord(
            name=channel.name,
            role=channel.role,
            kind=channel.kind,
            frequency_hz=channel.frequency_hz,
            bandwidth_hz=channel.bandwidth_hz,
            transmitter_latitude_deg=channel.latitude_deg,
            transmitter_longitude_deg=channel.longitude_deg,
            rds_pi=channel.rds_pi,
        )
        for channel in context.channels
    ]


@router.get("/nights", response_model=models.Nights, summary="Nights")
def nights(request: Request) -> models.Nights:
    """Return the nights of which something is known."""
    context = context_of(request)
    # From the exact noon anyone could work the exact longitude out.
    longitude = context.shown_place[1]
    return models.Nights(nights=[_night(evening, longitude) for evening in known_nights(context)])


def _night(evening: date, longitude_deg: float) -> models.NightRecord:
    start, end = night_span(evening, longitude_deg)
    return models.NightRecord(evening=evening.isoformat(), start_utc=format_utc(start), end_utc=format_utc(end))


@router.get("/echoes", response_model=models.EchoRows, summary="Echoes")
def echoes(
    request: Request,
    rows: Rows,
    echo_class: Annotated[EchoClass | None, Query(alias="class", description="only of this class")] = None,
) -> dict[str, Any]:
    """Return the echoes that begin within the span, by start."""
    return _page(context_of(request), "echoes", rows, {"class": echo_class} if echo_class else {})


@router.get("/echoes/{echo_id}", response_model=models.EchoRow, summary="One echo")
def echo(request: Request, echo_id: EchoId) -> dict[str, Any]:
    """Return one echo by its number."""
    with context_of(request).archive.reading() as store:
        found = store.echo(echo_id)
        if found is None:
            raise HTTPException(404, f"no echo {echo_id}")
        start = found.echo.start_unix
        table = make_table(store, "echoes", start, start + 0.001, [found.echo.channel])
        names = [column.name for column in table.columns]
        made = (dict(zip(names, map(as_text, table.columns, row), strict=True)) for row in table.rows)
        return next(row for row in made if row["id"] == echo_id)


@router.get("/coverage", response_model=models.CoverageRows, summary="Coverage")
def coverage(request: Request, rows: Rows) -> dict[str, Any]:
    """Return the spans that were watched or lost and share time with the span asked for."""
    return _page(context_of(request), "coverage", rows, {})


@router.get("/rates", response_model=models.RateRows, summary="Rates")
def rates(request: Request, rows: Rows) -> dict[str, Any]:
    """Return the rates of every clock hour that shares time with the span, with 68 % limits."""
    return _page(context_of(request), "rates", rows, {})


def _page(context: Context, name: TableName, rows: Wanted, equal: dict[str, str]) -> dict[str, Any]:
    try:
        with context.archive.reading() as store:
            known = {channel.name for channel in store.channels()}
            if unknown := [asked for asked in rows.channels or () if asked not in known]:
                raise HTTPException(404, f"no channel {unknown[0][:80]!r}")
            table = make_table(store, name, rows.start_unix, rows.end_unix, rows.channels)
            names = [column.name for column in table.columns]
            made = (dict(zip(names, map(as_text, table.columns, row), strict=True)) for row in table.rows)
            return _cut((row for row in made if all(row[key] == value for key, value in equal.items())), rows)
    except NothingYet:
        return {"rows": [], "next_offset": None}


def _cut(made: Iterator[dict[str, Any]], rows: Wanted) -> dict[str, Any]:
    page = list(islice(made, rows.offset, rows.offset + rows.limit))
    more = next(made, None) is not None
    return {"rows": page, "next_offset": rows.offset + rows.limit if more else None}
