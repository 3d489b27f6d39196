"""The live part of the open interface: the stream of events, and the last minutes."""

from __future__ import annotations

import base64
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.responses import Response

from skyglint.plan.satellite_passes import SatellitePass
from skyglint.utc import format_utc
from skyglint.web.context import context_of
from skyglint.web.event_stream import EventStream
from skyglint.web.live_pages import tonight
from skyglint.web.recent import SPAN_S
from skyglint.web.spectra import STEP_S
from skyglint.web.tonight import COLUMNS

router = APIRouter(prefix="/api/v1", tags=["live"])

MOST_SPECTRA = 4
LOOPBACK = ("127.0.0.1", "::1")


class LiveBurst(BaseModel):
    """An echo of the last minutes."""

    id: int
    channel: str
    start_utc: str
    start_unix: float
    duration_s: float
    peak_snr_db: float | None
    echo_class: str = Field(alias="class", serialization_alias="class")


class Recently(BaseModel):
    """The last ten minutes of every lane."""

    end_unix: float = Field(description="end of the newest reading, POSIX seconds")
    step_s: float = Field(description="time between readings")
    state: str = Field(description="starting, watching, waiting, lost, or silent when the engine does not speak")
    power_db: dict[str, list[float | None]] = Field(description="power over the floor by channel, oldest first")
    echoes: list[LiveBurst]


@router.get(
    "/live",
    response_class=Response,
    responses={200: {"description": "An endless stream of events.", "content": {"text/event-stream": {}}}},
    summary="Live events",
)
async def live(
    request: Request,
    spectra: Annotated[
        list[str] | None, Query(description="channels whose spectra to send too", max_length=MOST_SPECTRA)
    ] = None,
) -> Response:
    """Send events as they happen.

    `reading`, ten a second: `end_unix, step_s, power_db` by channel. `echo`, when one closes: `channel, start_utc,
    start_unix, duration_s, peak_snr_db, class`. `station`, when its state changes: `state, sentence`. `spectrum`, on
    demand: `end_unix, channel, levels` (base 64, one byte a bin, steps of 0.25 dB over the bin's floor).
    """
    context = context_of(request)
    wanted = list(dict.fromkeys(spectra or []))
    known = {channel.name for channel in context.site.channel}
    if unknown := [name for name in wanted if name not in known]:
        raise HTTPException(404, f"no channel {unknown[0][:80]!r}")
    host = request.client.host if request.client else ""
    viewer = context.hub.join(wanted, "" if host in LOOPBACK else host)
    if viewer is None:
        raise HTTPException(429, "too many viewers at the moment: try again later", {"Retry-After": "30"})
    return EventStream(context.hub, viewer)


class Spectrogram(BaseModel):
    """The last ten minutes of a channel's spectrum."""

    end_unix: float = Field(description="end of the newest column, POSIX seconds")
    step_s: float = Field(description="time of a column")
    bins: int = Field(description="bytes of a column, lowest frequency first; 0 where there are none")
    levels: str = Field(description="base 64 of the columns, oldest first; steps of 0.25 dB over each bin's floor")


@router.get("/live/spectrogram", summary="A spectrogram of the last ten minutes")
def spectrogram(
    request: Request, channel: Annotated[str, Query(max_length=80, description="name of the channel")]
) -> Spectrogram:
    """Return a channel's spectrum through the last ten minutes; what the computer had no time for is empty."""
    context = context_of(request)
    if channel not in {known.name for known in context.site.channel}:
        raise HTTPException(404, f"no channel {channel!r}")
    columns = context.spectra.columns(channel)
    bins, text = (0, "") if columns is None else (columns.shape[1], base64.b64encode(columns.tobytes()).decode("ascii"))
    return Spectrogram(end_unix=context.spectra.end_unix, step_s=STEP_S, bins=bins, levels=text)


class PassCurve(BaseModel):
    """Where a satellite's signal should stand in a channel."""

    channel: str
    unix: list[float] = Field(description="POSIX seconds")
    doppler_hz: list[float | None] = Field(description="shift then, from the channel's frequency; null without a way")


class LivePass(BaseModel):
    """A pass that is on, or nearly."""

    name: str
    catalog_number: int
    rise_utc: str | None
    culmination_utc: str
    set_utc: str | None
    max_elevation_deg: float
    curves: list[PassCurve]


class LivePasses(BaseModel):
    """The passes of the last ten minutes and the next, for the rounded place."""

    passes: list[LivePass]


@router.get("/live/passes", summary="Satellite passes now")
def passes_now(request: Request) -> LivePasses:
    """Return the passes that touch the last ten minutes and the next, with the curves to expect in carrier channels."""
    context = context_of(request)
    now = context.now()
    return LivePasses(passes=[_live_pass(one) for one in context.overhead.passes(now - SPAN_S, now + SPAN_S)])


def _live_pass(one: SatellitePass) -> LivePass:
    times = [round(unix, 1) for unix in one.track.unix.tolist()]
    curves = [
        PassCurve(channel=name, unix=times, doppler_hz=_rounded(shift))
        for name, shift in one.track.channel_doppler_hz.items()
        if np.isfinite(shift).any()
    ]
    return LivePass(
        name=one.elements.name,
        catalog_number=one.elements.catalog_number,
        rise_utc=format_utc(one.when.rise_unix, 0) or None,
        culmination_utc=format_utc(one.when.culmination_unix, 0),
        set_utc=format_utc(one.when.set_unix, 0) or None,
        max_elevation_deg=round(one.when.max_elevation_deg, 1),
        curves=curves,
    )


@router.get("/live/recent", summary="The last ten minutes")
def recent(request: Request) -> Recently:
    """Return the last ten minutes of every lane and the echoes in them."""
    context = context_of(request)
    return context.cache.get("recent", 0.5, lambda: _recently(request))


def _recently(request: Request) -> Recently:
    context = context_of(request)
    night = tonight(context)
    columns = context.recent.columns(COLUMNS)
    latest = context.hub.latest
    bursts = [
        LiveBurst.model_validate(
            {
                "id": entry.id,
                "channel": entry.echo.channel,
                "start_utc": format_utc(entry.echo.start_unix),
                "start_unix": round(entry.echo.start_unix, 3),
                "duration_s": round(entry.echo.duration_s, 3),
                "peak_snr_db": None if np.isnan(entry.echo.peak_snr_db) else round(entry.echo.peak_snr_db, 1),
                "class": entry.echo_class,
            }
        )
        for entry in night.recent
    ]
    return Recently(
        end_unix=context.recent.end_unix,
        step_s=SPAN_S / COLUMNS,
        state=latest.state if latest is not None and context.hub.silent_s < 10.0 else "silent",
        power_db={name: _rounded(levels) for name, levels in columns.items()},
        echoes=bursts,
    )


def _rounded(levels: np.ndarray) -> list[float | None]:
    return [None if np.isnan(level) else round(float(level), 1) for level in levels]
