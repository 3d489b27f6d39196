"""A made-up station with a few nights on record: invented place, stations and echoes, drawn from a seeded generator."""

import math
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx
import numpy as np
import pytest

from skyglint.echoes.echo import Echo, Snippet
from skyglint.report.nights import evening_of, night_span
from skyglint.signals.block import SourceInfo
from skyglint.site import load_site
from skyglint.station.live import LiveEcho, LiveMessage
from skyglint.store import CoverageSpan, Store
from skyglint.web.app import make_app
from skyglint.web.context import Context, make_context
from skyglint.web.server import Server, bind

NOW = 1786591867.2  # 2026-08-13T03:31:07Z
NAN = float("nan")

SITE = """
[site]
name = "Harrow Fell"
latitude_deg = 54.6123
longitude_deg = -2.9345
height_m = 210
timezone = "Europe/London"

[antenna]
azimuth_deg = 70
elevation_deg = 25
gain_dbi = 6.0
beamwidth_deg = 65
height_above_ground_m = 2.5
polarization = "horizontal"

[receiver]
source = "rtltcp://127.0.0.1:1234"
center_frequency_hz = 98_000_000
sample_rate_hz = 1_200_000
gain_db = 30.0
correction_ppm = 0.0

[[channel]]
name = "north-sea"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
latitude_deg = 58.72
longitude_deg = 6.05
power_w = 60_000
height_m = 720
rds_pi = "F3A7"

[[channel]]
name = "lowland"
role = "target"
kind = "fm"
frequency_hz = 97_800_000
latitude_deg = 52.90
longitude_deg = 12.40
power_w = 100_000

[[channel]]
name = "beacon <b>"
role = "target"
kind = "carrier"
frequency_hz = 98_450_000
bandwidth_hz = 6_000
latitude_deg = 50.2
longitude_deg = 5.3

[[channel]]
name = "quiet"
role = "guard"
kind = "fm"
frequency_hz = 98_100_000

[[channel]]
name = "town"
role = "reference"
kind = "fm"
frequency_hz = 97_500_000
"""


def picture_of(random: np.random.Generator, echo: Echo, offsets_hz: np.ndarray) -> Snippet:
    """Return a plausible picture: a fast rise, an exponential fall, noise."""
    step = 0.01
    start = echo.start_unix - 1.0
    times = start + (np.arange(round((echo.duration_s + 2.0) / step)) + 0.5) * step
    tau = echo.decay_time_s if not math.isnan(echo.decay_time_s) else echo.duration_s / 3.0
    snr = 10 ** (min(echo.peak_snr_db, 30.0) / 10) * np.exp(-2 * np.clip(times - echo.peak_unix, 0, None) / tau)
    snr[times < echo.start_unix] = 0.0
    power = 1 + snr + random.normal(0, 0.06, len(times))
    bins = random.exponential(1.0, (len(times), len(offsets_hz))) + snr[:, None] * np.exp(
        -((offsets_hz / (0.3 * np.ptp(offsets_hz))) ** 2)
    )
    decibels = [10 * np.log10(np.maximum(values, 1e-3)).astype(np.float32) for values in (power, bins)]
    return Snippet(start, step, decibels[0], offsets_hz, decibels[1])


def echo_of(random: np.random.Generator, channel: str, carrier: bool, target: bool, start: float) -> Echo:
    """Return one burst of a random class."""
    kinds = ["underdense", "overdense", "head", "unknown", "aircraft", "lightning"]
    kind = str(random.choice(kinds, p=[0.62, 0.14, 0.03, 0.13, 0.04, 0.04])) if target else "interference"
    duration = float(random.uniform(1.0, 9.0) if kind in ("overdense", "aircraft") else random.uniform(0.08, 0.9))
    decay = kind == "underdense"
    peak = float(5.0 + random.exponential(5.0))
    tau = float(random.uniform(0.05, 0.4)) if decay else NAN
    return Echo(
        channel=channel,
        start_unix=start,
        duration_s=duration,
        peak_unix=start + 0.03,
        peak_snr_db=peak + (38.0 if carrier else 0.0),
        energy_snr_s=float(10 ** (peak / 10) * duration / 3),
        echo_class=kind,
        class_probability=float(random.uniform(0.55, 0.99)),
        reason=f"Rose within 20 ms and lasted {duration:.2f} s; guards were quiet <i>& so on</i>.",
        decay_time_s=tau,
        decay_time_sd_s=0.08 * tau,
        doppler_hz=float(random.normal(0, 40)) if carrier else NAN,
        doppler_sd_hz=3.0 if carrier else NAN,
        height_km=float(random.normal(96, 4)) if decay else NAN,
        height_sd_km=5.2 if decay else NAN,
        rds_pi="F3A7" if channel == "north-sea" and peak > 10 else "",
        flags=("clipped", "merged") if peak > 20 else (),
    )


def record(store: Store, run_id: int, site, start: float, end: float, echoes: int, seed: int) -> None:
    """Store one stretch of watching with so many bursts, the last of them just before its end."""
    random = np.random.default_rng(seed)
    info = SourceInfo(f"watch {seed}", f"{seed:064x}", "cu8", 1.2e6, 98e6, start, end, 97.4e6, 98.6e6)
    channels = list(site.channel)
    with store.recording(run_id, info, channels) as writer:
        lost = start + 0.4 * (end - start)
        for channel in channels:
            reason = "the receiver has sent nothing for 40 s"
            writer.add_coverage(
                [
                    CoverageSpan(channel.name, start, lost, "watched"),
                    CoverageSpan(channel.name, lost, lost + 240.0, "lost", reason),
                    CoverageSpan(channel.name, lost + 240.0, end, "watched"),
                ]
            )
        starts = np.sort(np.append(random.uniform(start + 5, end - 60, echoes), random.uniform(end - 500, end - 20, 9)))
        found = []
        for moment in starts[(starts < lost - 20) | (starts > lost + 260)]:
            channel = channels[random.choice(len(channels), p=[0.4, 0.33, 0.2, 0.05, 0.02])]
            echo = echo_of(random, channel.name, channel.kind == "carrier", channel.role == "target", float(moment))
            offsets = np.linspace(-3e3, 3e3, 40) if channel.kind == "carrier" else np.linspace(-1e5, 1e5, 24)
            found.append(_with(echo, picture_of(random, echo, offsets)))
        writer.add_echoes(found)
        for channel in channels:
            begin = max(start, end - 900.0)
            level = np.abs(random.normal(0, 0.7, round((end - begin) * 10)))
            for echo in found:
                if echo.channel == channel.name and echo.start_unix > begin:
                    ages = begin + np.arange(len(level)) / 10 - echo.start_unix
                    fall = min(echo.peak_snr_db, 28) - 8.7 * np.clip(ages, 0, None) / max(echo.duration_s / 3, 0.2)
                    level = np.maximum(level, np.where(ages >= -0.1, fall, 0))
            writer.add_strip(channel.name, begin, 0.1, level)
            writer.add_floor(channel.name, start, 60.0, -52 + random.normal(0, 0.2, round((end - start) / 60)))
        writer.set_samples(round((end - start) * 1.2e6), 0.0)


def _with(echo: Echo, picture: Snippet) -> Echo:
    values = {name: getattr(echo, name) for name in Echo.__slots__}
    return Echo(**{**values, "snippet": picture})


def build_station(folder: Path, now: float = NOW, nights: int = 3, echoes: int = 40) -> Path:
    """Write a site file and a database with some nights up to now; return the site file's path."""
    path = folder / "site.toml"
    if not path.exists():
        path.write_text(SITE, encoding="utf-8")
    site = load_site(path)
    with Store.open(folder / "station.db", "create") as store:
        run_id = store.begin_run(site.site.name, path.read_text("utf-8"), "watch", {"longest_echo_s": 30.0}, now - 4e5)
        evening, _ = night_span(evening_of(now, site.site.longitude_deg), site.site.longitude_deg)
        for back in range(nights - 1, 0, -1):
            start = evening - back * 86_400.0 + 9 * 3600.0
            record(store, run_id, site, start, start + 6 * 3600.0, echoes + 17 * back, seed=back)
        record(store, run_id, site, now - 5 * 3600.0, now, echoes, seed=0)
    return path


def make_message(end_unix: float, names, level: float = 1.0, echoes: tuple[LiveEcho, ...] = (), bins: int = 24):
    """Return a message of the live feed in which every channel stands at one level."""
    return LiveMessage(
        end_unix,
        0.1,
        "watching",
        "Listening since 22:10 UTC, 5 h 20 min watched of 5 h 21 min. Floor steady. 87 echoes.",
        dict.fromkeys(names, level),
        dict.fromkeys(names, -52.0),
        {name: np.full(bins, level, np.float32) for name in names},
        echoes,
        {"backlog_share": 0.01, "dropped_s": 0.0, "cpu_s": 12.5, "disk_free_bytes": 8e9},
    )


@dataclass
class Running:
    """A served station."""

    url: str
    context: Context
    server: Server

    def publish(self, told: LiveMessage) -> None:
        self.server.loop.call_soon_threadsafe(self.context.hub.publish, told)


@contextmanager
def served(context: Context, feed_port: int | None = None) -> Iterator[Running]:
    """Serve a station on a free port of this computer."""
    listening = bind("127.0.0.1", 0)
    server = _Server(make_app(context, feed_port), context.hub)
    thread = threading.Thread(target=server.run, args=([listening],), daemon=True)
    thread.start()
    deadline = time.monotonic() + 20
    while not server.started and time.monotonic() < deadline:
        time.sleep(0.02)
    try:
        yield Running(f"http://127.0.0.1:{listening.getsockname()[1]}", context, server)
    finally:
        server.should_exit = True
        thread.join(10)
        assert not thread.is_alive()


class _Server(Server):
    async def startup(self, sockets=None) -> None:
        import asyncio

        self.loop = asyncio.get_running_loop()
        await super().startup(sockets)


@pytest.fixture(scope="session")
def station(tmp_path_factory) -> Path:
    """The site file of a station with three nights on record."""
    return build_station(tmp_path_factory.mktemp("station"))


def context_for(site_file: Path) -> Context:
    return make_context(load_site(site_file), site_file.parent, clock=lambda: NOW)


@pytest.fixture
def context(station) -> Context:
    return context_for(station)


@pytest.fixture
def client(context) -> Iterator[httpx.Client]:
    """A client without a server: every request goes straight into the application."""
    with client_of(context) as made:
        yield made


@contextmanager
def client_of(context: Context) -> Iterator[httpx.Client]:
    """Give a blocking client over the in-process transport."""
    import anyio.from_thread

    with anyio.from_thread.start_blocking_portal() as portal:
        app = make_app(context)
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        inner = httpx.AsyncClient(transport=transport, base_url="http://station.test")

        class Bridge(httpx.BaseTransport):
            def handle_request(self, request: httpx.Request) -> httpx.Response:
                async def send() -> httpx.Response:
                    made = httpx.Request(request.method, request.url, headers=request.headers, content=request.read())
                    answer = await transport.handle_async_request(made)
                    content = await answer.aread()
                    return httpx.Response(answer.status_code, headers=answer.headers, content=content)

                answer: httpx.Response = portal.call(send)
                return answer

        with httpx.Client(transport=Bridge(), base_url="http://station.test") as client:
            yield client
        portal.call(inner.aclose)


@pytest.fixture(name="message", scope="session")
def message_maker():
    """Make a message of the live feed."""
    return make_message


@pytest.fixture(name="build_station", scope="session")
def station_builder():
    """Build a station of its own for a test that changes it."""
    return build_station


@pytest.fixture(name="context_for", scope="session")
def context_maker():
    """Make the context of a site file."""
    return context_for


@pytest.fixture(name="served", scope="session")
def server_maker():
    """Serve a context over the network of this computer."""
    return served


@pytest.fixture(name="client_of", scope="session")
def client_maker():
    """Give a client of a context, without a server."""
    return client_of
