"""The whole chain before a crowd, on one machine: replay, engine, pages, and viewers that time what reaches them.

A recording of 2.4 MS/s with 12 FM channels is replayed at true speed; engine and pages run as they do every night, in
processes of their own, and this process holds the viewers. One more viewer stops reading.
"""

from __future__ import annotations

import asyncio
import json
import multiprocessing
import os
import resource
import socket
import tempfile
import threading
import time
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from skyglint.errors import SkyglintError
from skyglint.signals.options import SourceOptions
from skyglint.signals.replay import Replay
from skyglint.signals.sources import open_source
from skyglint.station.bench import CENTER_FREQUENCY_HZ, SAMPLE_RATE_HZ, SITE_TEXT, channel_tables, write_recording
from skyglint.station.supervise import Child, python, supervise
from skyglint.station.watch import free_port
from skyglint.store.store import Store

#: Length of the recording that is looped, and the time that engine and pages get to begin, and to know the floor and
#: hold as many samples as they ever do.
LOOP_S, BEGIN_S, SETTLE_S = 30, 60.0, 30.0
#: Bursts some 15 dB over the floor: strong enough that each is searched for its station's name.
STRONG = 30.0
REQUEST = b"GET /api/v1/live HTTP/1.1\r\nHost: bench\r\n\r\n"
#: The viewer that stops reading asks for all it can get, so that what the system holds back for it fills soon.
GREEDY = REQUEST.replace(b"/live", b"/live?" + b"&".join(b"spectra=lane-%d" % place for place in range(1, 5)))


@dataclass(frozen=True, slots=True)
class Crowd:
    """What the crowd saw, and what it cost.

    Attributes
    ----------
    viewers, seconds, bursts_per_minute
        How many, for how long, and how often something fell.
    delay_median_s, delay_99_s, delay_max_s
        From the end of a reading's samples, by the computer's clock, to a viewer.
    readings_least, readings_most
        Readings that the viewers got: the same number where nobody was starved.
    longest_pause_s
        Between two readings at one viewer.
    viewers_dropped
        Viewers that the pages dropped, the one that stopped reading not counted.
    sleeper_dropped
        Whether that one was dropped.
    echoes, echo_delay_median_s, echo_delay_max_s
        Echoes that closed, and the time from the end of the burst until a viewer had heard of it; by then it is on
        disk.
    lost_s
        Time that coverage counts as lost.
    engine_cores, pages_cores
        Processor time by wall time.
    engine_mb, pages_mb
        Resident memory at the end.
    engine_growth_mb, pages_growth_mb
        By how much that grew while the viewers watched.
    """

    viewers: int
    seconds: float
    bursts_per_minute: float
    delay_median_s: float
    delay_99_s: float
    delay_max_s: float
    readings_least: int
    readings_most: int
    longest_pause_s: float
    viewers_dropped: int
    sleeper_dropped: bool
    echoes: int
    echo_delay_median_s: float
    echo_delay_max_s: float
    lost_s: float
    engine_cores: float
    pages_cores: float
    engine_mb: float
    pages_mb: float
    engine_growth_mb: float
    pages_growth_mb: float


def measure_crowd(viewers: int, seconds: float, burst_every_s: float = 5.0) -> Crowd:
    """Let so many viewers watch a replay for so long.

    Raises
    ------
    SkyglintError
        If the system allows fewer connections, or the station does not come up.
    """
    _allow_files(2 * viewers + 100)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_recording(folder / "bench.cu8", LOOP_S, burst_every_s=burst_every_s, burst_amplitude=STRONG)
        receiver_port, pages_port, feed_port = _tcp_port(), _tcp_port(), free_port()
        site = folder / "site.toml"
        text = SITE_TEXT.replace('"recording"', f'"rtltcp://127.0.0.1:{receiver_port}"')
        site.write_text(f"{text}[pages]\nport = {pages_port}\n{channel_tables()}")
        replay = multiprocessing.get_context("spawn").Process(
            target=_replay, args=(folder / "bench.cu8", receiver_port), daemon=True
        )
        replay.start()
        common = [str(site), "--feed-port", str(feed_port)]
        engine = Child("engine", python("skyglint.station.engine_process", *common), once=True, quiet=True)
        pages = Child("pages", python("skyglint.web.process", *common), quiet=True)
        stop = threading.Event()
        station = threading.Thread(target=supervise, args=([engine, pages], stop))
        station.start()
        try:
            _wait_for_station(pages_port)
            return asyncio.run(_watch(viewers, seconds, burst_every_s, pages_port, (engine, pages), folder))
        finally:
            stop.set()
            station.join()
            replay.terminate()
            replay.join()


@dataclass(eq=False)
class _Viewer(asyncio.Protocol):
    """Notes when each reading and echo came."""

    delays_s: list[float] = field(default_factory=list)
    came: list[float] = field(default_factory=list)
    echo_delays_s: list[float] = field(default_factory=list)
    transport: asyncio.Transport | None = None
    open: bool = True
    rest: bytes = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)  # of a stream
        self.transport = transport
        transport.write(REQUEST)

    def data_received(self, data: bytes) -> None:
        now, data = time.time(), self.rest + data
        *events, self.rest = data.split(b"\n\n")
        for text in events:
            if b"event: reading" in text:
                at = text.index(b'"end_unix":') + 11
                self.delays_s.append(now - float(text[at : text.index(b",", at)]))
                self.came.append(now)
            elif b"event: echo" in text:
                echo = json.loads(text[text.index(b"data: ") + 6 :])
                self.echo_delays_s.append(now - echo["start_unix"] - echo["duration_s"])

    def connection_lost(self, exc: Exception | None) -> None:
        self.open = False


async def _watch(
    count: int, seconds: float, burst_every_s: float, port: int, children: tuple[Child, Child], folder: Path
) -> Crowd:
    loop = asyncio.get_running_loop()
    viewers = [_Viewer() for _ in range(count)]
    for viewer in viewers:
        await loop.create_connection(lambda made=viewer: made, "127.0.0.1", port)  # type: ignore[misc]
    asleep = socket.socket()
    asleep.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    await loop.run_in_executor(None, asleep.connect, ("127.0.0.1", port))
    asleep.sendall(GREEDY)
    await asyncio.sleep(SETTLE_S)
    for viewer in viewers:
        viewer.delays_s.clear()
        viewer.came.clear()
        viewer.echo_delays_s.clear()
    begin, busy = time.time(), [_busy_s(child) for child in children]
    sizes_before = [_resident_mb(child) for child in children]
    await asyncio.sleep(seconds)
    wall_s = time.time() - begin
    cores = [(_busy_s(child) - before) / wall_s for child, before in zip(children, busy, strict=True)]
    sizes = [_resident_mb(child) for child in children]
    still_there = await loop.run_in_executor(None, _viewers, port)
    delays_s = np.array([delay for viewer in viewers for delay in viewer.delays_s] or [np.nan])
    echo_delays_s = np.array(viewers[0].echo_delays_s or [np.nan])
    with Store.open(folder / "station.db") as store:
        lost_s = sum(span.end_unix - span.start_unix for span in store.coverage() if span.state == "lost")
    crowd = Crowd(
        viewers=count,
        seconds=seconds,
        bursts_per_minute=60.0 / burst_every_s,
        delay_median_s=float(np.median(delays_s)),
        delay_99_s=float(np.percentile(delays_s, 99)),
        delay_max_s=float(delays_s.max()),
        readings_least=min(len(viewer.came) for viewer in viewers),
        readings_most=max(len(viewer.came) for viewer in viewers),
        longest_pause_s=max(float(np.diff(viewer.came).max(initial=0.0)) for viewer in viewers),
        viewers_dropped=sum(not viewer.open for viewer in viewers),
        sleeper_dropped=still_there <= sum(viewer.open for viewer in viewers),
        echoes=len(viewers[0].echo_delays_s),
        echo_delay_median_s=float(np.median(echo_delays_s)),
        echo_delay_max_s=float(echo_delays_s.max()),
        lost_s=lost_s,
        engine_cores=cores[0],
        pages_cores=cores[1],
        engine_mb=sizes[0],
        pages_mb=sizes[1],
        engine_growth_mb=sizes[0] - sizes_before[0],
        pages_growth_mb=sizes[1] - sizes_before[1],
    )
    asleep.close()
    for viewer in viewers:
        if viewer.transport is not None:
            viewer.transport.abort()
    return crowd


def _replay(path: Path, port: int) -> None:
    options = SourceOptions("cu8", SAMPLE_RATE_HZ, CENTER_FREQUENCY_HZ, 1_786_586_400.0)
    Replay(open_source(path, options), "127.0.0.1", port, loop=True).serve()


def _wait_for_station(port: int) -> None:
    until = time.monotonic() + BEGIN_S
    while time.monotonic() < until:
        try:
            if json.loads(_get(port, "/api/v1/live/recent"))["state"] == "watching":
                return
        except (OSError, ValueError):
            pass
        time.sleep(0.5)
    raise SkyglintError(f"the station did not come up within {BEGIN_S:.0f} s")


def _get(port: int, path: str) -> bytes:
    with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=10) as answer:
        content: bytes = answer.read()
    return content


def _viewers(port: int) -> int:
    """Return how many viewers the pages have."""
    lines = _get(port, "/metrics").decode().splitlines()
    return round(next(float(line.split()[1]) for line in lines if line.startswith("skyglint_viewers ")))


def _tcp_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


def _allow_files(count: int) -> None:
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft < count:
        if hard != resource.RLIM_INFINITY and hard < count:
            raise SkyglintError(f"the system allows {hard} open files: expected {count} for so many viewers")
        resource.setrlimit(resource.RLIMIT_NOFILE, (count, hard))


def _busy_s(child: Child) -> float:
    assert child.process is not None  # the station is up
    fields = Path(f"/proc/{child.process.pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / float(os.sysconf("SC_CLK_TCK"))


def _resident_mb(child: Child) -> float:
    assert child.process is not None  # the station is up
    lines = Path(f"/proc/{child.process.pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS"))
