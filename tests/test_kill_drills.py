"""Sudden death: engine and pages are killed at random moments, many times over, while a receiver keeps sending.

After each: what was stored is still there, the database passes its integrity check, the process is back within 10 s,
and the time that nobody watched is not counted as watched.
"""

import random
import socket
import sqlite3
import struct
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from skyglint.errors import SkyglintError
from skyglint.station.supervise import Child, python, supervise
from skyglint.station.watch import free_port
from skyglint.store.store import Store

RATE = 240_000
SITE = """
[site]
name = "Fell"
latitude_deg = 54.6
longitude_deg = -2.9
height_m = 200
timezone = "UTC"
[antenna]
azimuth_deg = 0
elevation_deg = 0
gain_dbi = 0
beamwidth_deg = 90
height_above_ground_m = 2
polarization = "horizontal"
[receiver]
source = "rtltcp://127.0.0.1:{receiver_port}"
center_frequency_hz = 98_000_000
sample_rate_hz = 240_000
gain_db = 20.0
correction_ppm = 0.0
[pages]
port = {pages_port}
[[channel]]
name = "far"
role = "target"
kind = "fm"
frequency_hz = 98_050_000
bandwidth_hz = 100_000
"""

# Lives between two kills: mostly short (killed while starting or warming up), some long enough to have found echoes.
KILLS = 20
LONG_LIVES = (4, 11, 18)


class Receiver(threading.Thread):
    """The network protocol: a greeting of 12 bytes, then 8-bit I/Q at true speed, with a burst every two seconds."""

    def __init__(self):
        super().__init__(daemon=True)
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        rng = np.random.default_rng(3)
        noise = 12 * (rng.standard_normal(2 * RATE) + 1j * rng.standard_normal(2 * RATE))
        n = np.arange(int(0.4 * RATE))
        phase = 2 * np.pi * 50e3 / RATE * n + np.cumsum(rng.normal(0, 0.3, len(n)))
        noise[: len(n)] += 60 * np.exp(1j * phase - n / (0.2 * RATE))
        raw = np.stack([noise.real, noise.imag], axis=1).ravel() + 127.5
        self.loop = np.clip(np.rint(raw), 0, 255).astype(np.uint8).tobytes()

    def run(self):
        while True:
            client, _ = self.listener.accept()
            threading.Thread(target=self.serve, args=(client,), daemon=True).start()

    def serve(self, client):
        step, begin, sent = RATE // 20 * 2, time.monotonic(), 0
        try:
            with client:
                client.sendall(struct.pack(">4sII", b"RTL0", 5, 29))
                while True:
                    place = sent % len(self.loop)
                    client.sendall(self.loop[place : place + step])
                    sent += step
                    time.sleep(max(0.0, begin + sent / 2 / RATE - time.monotonic()))
        except OSError:
            return


def wait_for(condition, seconds):
    until = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.05)


def is_there(database: Path) -> bool:
    """Tell whether the engine has made its database (for a moment the file is there and still empty)."""
    try:
        with Store.open(database) as store:
            return store.span() is not None
    except SkyglintError:
        return False


def echo_ids(database: Path) -> set[int]:
    with Store.open(database) as store:
        return {echo.id for echo in store.echoes()}


def integrity(database: Path) -> str:
    connection = sqlite3.connect(database)
    try:
        return connection.execute("PRAGMA integrity_check").fetchone()[0]
    finally:
        connection.close()


@pytest.fixture
def station(tmp_path):
    receiver = Receiver()
    receiver.start()
    with socket.create_server(("127.0.0.1", 0)) as probe:
        pages_port = probe.getsockname()[1]
    site = tmp_path / "site.toml"
    site.write_text(SITE.format(receiver_port=receiver.port, pages_port=pages_port))
    common = [str(site), "--feed-port", str(free_port())]
    children = [
        Child("engine", python("skyglint.station.engine_process", *common), once=True),
        Child("pages", python("skyglint.web.process", *common)),
    ]
    stop = threading.Event()
    supervisor = threading.Thread(target=supervise, args=(children, stop))
    supervisor.start()
    yield tmp_path / "station.db", children
    stop.set()
    supervisor.join(30)
    assert not supervisor.is_alive()


def test_sudden_deaths(station):
    database, (engine, pages) = station
    random.seed(7)
    wait_for(lambda: is_there(database), 60)
    seen: set[int] = set()
    deaths = []
    for number in range(KILLS):
        child = pages if number % 4 == 3 else engine
        if number in LONG_LIVES:
            before = len(echo_ids(database))
            wait_for(lambda least=before: len(echo_ids(database)) > least, 60)
        time.sleep(random.uniform(0.2, 2.0))
        wait_for(lambda who=child: who.process is not None, 10)
        seen |= echo_ids(database)
        process = child.process
        process.kill()
        killed = time.time()
        wait_for(lambda who=child, old=process: who.process not in (None, old), 10)
        deaths.append((child.name, killed, time.time()))
        assert seen <= echo_ids(database)
        assert integrity(database) == "ok"
    assert len(seen) >= len(LONG_LIVES)
    with Store.open(database) as store:
        watched = [span for span in store.coverage() if span.state == "watched"]
        lost = [span.reason for span in store.coverage() if span.state == "lost"]
    for name, killed, back in deaths:
        if name == "engine":
            # The samples on their way when it died are the most that may count beyond its death.
            dead = [span for span in watched if span.start_unix < killed + 0.3 and span.end_unix > back]
            assert not dead
    assert any("engine was not running" in reason for reason in lost)
