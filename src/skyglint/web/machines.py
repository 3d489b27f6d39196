"""For watchdogs and monitors: health in one answer, and metrics in the Prometheus text format."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fastapi import APIRouter, Request
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.metrics_core import GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.registry import Collector
from starlette.responses import JSONResponse, Response

from skyglint import __version__
from skyglint.errors import SkyglintError
from skyglint.web.archive import NothingYet
from skyglint.web.context import SILENT_S, Context, context_of
from skyglint.web.live_pages import tonight

router = APIRouter(include_in_schema=False)

STATES = ("starting", "watching", "waiting", "lost")


@router.get("/healthz")
def healthz(request: Request) -> JSONResponse:
    """Tell whether engine and database are well: 200, or 503 with what is not."""
    context = context_of(request)
    latest, silent_s = context.hub.latest, context.hub.silent_s
    faults = []
    if silent_s > SILENT_S:
        faults.append("the engine does not speak")
    elif latest is not None and latest.state == "lost":
        faults.append("no samples arrive")
    elif latest is not None and latest.health.get("database_unwritable"):
        faults.append("the database cannot be written")
    if database := _database_fault(context):
        faults.append(database)
    body = {
        "status": "attend" if faults else "good",
        "faults": faults,
        "state": latest.state if latest is not None else "silent",
        "silent_s": None if math.isinf(silent_s) else round(silent_s, 1),
        "viewers": context.hub.viewers,
    }
    return JSONResponse(body, 503 if faults else 200, headers={"Cache-Control": "no-store"})


def _database_fault(context: Context) -> str:
    try:
        with context.archive.reading() as store:
            store.span()
    except NothingYet:
        return "nothing has been recorded yet"
    except SkyglintError:
        return "the database cannot be read"
    return ""


@router.get("/metrics")
def metrics(request: Request) -> Response:
    """Return the metrics."""
    registry = CollectorRegistry()
    registry.register(_Station(context_of(request)))
    return Response(generate_latest(registry), media_type="text/plain; version=0.0.4; charset=utf-8")


class _Station(Collector):
    def __init__(self, context: Context) -> None:
        self._context = context

    def collect(self) -> Iterator[Metric]:
        """Yield the metrics of the station, its engine and its pages."""
        hub = self._context.hub
        info = InfoMetricFamily("skyglint", "The version that runs.")
        info.add_metric([], {"version": __version__})
        yield info
        yield GaugeMetricFamily("skyglint_viewers", "Viewers of the live stream.", hub.viewers)
        yield GaugeMetricFamily("skyglint_viewers_dropped", "Viewers that fell behind, since the start.", hub.dropped)
        if hub.latest is not None:
            yield GaugeMetricFamily("skyglint_feed_silent_seconds", "Since the engine spoke last.", hub.silent_s)
            yield from self._engine()
        yield from self._night()

    def _engine(self) -> Iterator[Metric]:
        latest = self._context.hub.latest
        assert latest is not None  # asked before
        state = GaugeMetricFamily("skyglint_state", "1 for the state of the station.", labels=["state"])
        for name in STATES:
            state.add_metric([name], float(name == latest.state))
        yield state
        for name, value in latest.health.items():
            safe = "".join(letter if letter.isalnum() else "_" for letter in name.lower())
            yield GaugeMetricFamily(f"skyglint_engine_{safe}", "As the engine states it, in the unit named.", value)
        floor = GaugeMetricFamily("skyglint_floor_decibels", "Floor relative to full scale.", labels=["channel"])
        for name, value in latest.floor_db.items():
            floor.add_metric([name], value)
        yield floor

    def _night(self) -> Iterator[Metric]:
        try:
            night = tonight(self._context)
        except SkyglintError:
            yield GaugeMetricFamily("skyglint_database_readable", "1 where the database can be read.", 0.0)
            return
        yield GaugeMetricFamily("skyglint_database_readable", "1 where the database can be read.", 1.0)
        count = GaugeMetricFamily("skyglint_night_echoes", "Echoes since solar noon.", labels=["channel", "role"])
        for lane in night.lanes:
            count.add_metric([lane.channel.name, lane.channel.role], lane.count)
        yield count
