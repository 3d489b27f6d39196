"""A station of real processes, and a receiver on the network that misbehaves when told to."""

import json
import socket
import sqlite3
import struct
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from skyglint.errors import SkyglintError
from skyglint.station.live import decode
from skyglint.station.supervise import Child, python, supervise
from skyglint.station.watch import free_port
from skyglint.store.store import Store

RATE = 240_000
#: A burst in the target channel begins every so many seconds.
BURST_EVERY_S = 2
STEP_S = 0.05
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


def _samples() -> bytes:
    """Return 8-bit I/Q of noise with one burst at its beginning, ``BURST_EVERY_S`` long."""
    rng = np.random.default_rng(3)
    count = BURST_EVERY_S * RATE
    values = 12 * (rng.standard_normal(count) + 1j * rng.standard_normal(count))
    n = np.arange(int(0.4 * RATE))
    phase = 2 * np.pi * 50e3 / RATE * n + np.cumsum(rng.normal(0, 0.3, len(n)))
    values[: len(n)] += 60 * np.exp(1j * phase - n / (0.2 * RATE))
    raw = np.stack([values.real, values.imag], axis=1).ravel() + 127.5
    return np.clip(np.rint(raw), 0, 255).astype(np.uint8).tobytes()


SAMPLES = _samples()


class Receiver(threading.Thread):
    """The network protocol: a greeting of 12 bytes, then 8-bit I/Q at true speed.

    Attributes
    ----------
    mode
        ``send``; ``stall`` (connected and silent, and the samples of that time are lost); ``garbage`` (random bytes);
        ``stuck`` (one value); ``strange`` (ends the connection and greets the next ones with rubbish); ``gone`` (ends
        the connection and every next one).
    ahead_s
        Samples to be sent at once, ahead of time.
    bursts
        UTC at which bursts were sent whole.
    """

    def __init__(self):
        super().__init__(daemon=True)
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        self.mode = "send"
        self.ahead_s = 0.0
        self.bursts = []
        self.connections = 0

    def run(self):
        while True:
            client, _ = self.listener.accept()
            self.connections += 1
            threading.Thread(target=self.serve, args=(client,), daemon=True).start()

    def serve(self, client):
        try:
            with client:
                if self.mode == "gone":
                    return
                greeting = b"SSH-2.0-xyz\r" if self.mode == "strange" else struct.pack(">4sII", b"RTL0", 5, 29)
                client.sendall(greeting)
                self.send_on(client)
        except OSError:
            return

    def send_on(self, client):
        begin, sent = time.time(), 0
        garbage = np.random.default_rng(5).integers(0, 256, len(SAMPLES), dtype=np.uint8).tobytes()
        stuck = bytes([127]) * len(SAMPLES)
        step = round(STEP_S * RATE) * 2
        while self.mode not in ("gone", "strange"):
            sent += step
            time.sleep(max(0.0, begin + sent / 2 / RATE - time.time()))
            if self.mode != "stall":
                place = (sent - step) % len(SAMPLES)
                source = {"garbage": garbage, "stuck": stuck}.get(self.mode, SAMPLES)
                client.sendall(source[place : place + step])
                if place == 0 and self.mode == "send":
                    self.bursts.append(begin + (sent - step) / 2 / RATE)
            if self.ahead_s > 0:
                # Samples that come before their time: the count runs ahead of the clock from here on.
                self.ahead_s -= STEP_S
                begin -= STEP_S


def wait_for(condition, seconds, what="it"):
    until = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < until, f"waited {seconds} s for {what} in vain"
        time.sleep(0.05)


class Station:
    """Engine and pages under supervision, watching a receiver.

    Attributes
    ----------
    said
        Live messages of the engine with the time at which each came, where no pages take them.
    """

    def __init__(self, folder: Path, pages: bool = True, script: Path | None = None):
        self.folder, self.database = folder, folder / "station.db"
        self.receiver = Receiver()
        self.receiver.start()
        with socket.create_server(("127.0.0.1", 0)) as probe:
            pages_port = probe.getsockname()[1]
        site = folder / "site.toml"
        site.write_text(SITE.format(receiver_port=self.receiver.port, pages_port=pages_port))
        self.control = folder / "control.json"
        feed_port = free_port()
        common = [str(site), "--feed-port", str(feed_port)]
        engine = python("skyglint.station.engine_process", *common)
        if script is not None:
            engine = [engine[0], str(script), str(self.control), *common]
        self.engine = Child("engine", engine, once=True)
        self.pages = Child("pages", python("skyglint.web.process", *common))
        self.said = []
        self._stop = threading.Event()
        if not pages:
            threading.Thread(target=self._hear, args=(feed_port,), daemon=True).start()
        children = [self.engine, self.pages] if pages else [self.engine]
        self._supervisor = threading.Thread(target=supervise, args=(children, self._stop))
        self._supervisor.start()

    def stop(self):
        self._stop.set()
        self._supervisor.join(30)
        assert not self._supervisor.is_alive()

    def tell(self, **orders):
        """Give orders to the engine's script."""
        part = self.control.with_suffix(".part")
        part.write_text(json.dumps(orders))
        part.replace(self.control)

    def is_there(self) -> bool:
        """Tell whether the engine has made its database (for a moment the file is there and still empty)."""
        try:
            with Store.open(self.database) as store:
                return store.span() is not None
        except SkyglintError:
            return False

    def echoes(self):
        with Store.open(self.database) as store:
            return store.echoes()

    def echo_ids(self) -> set[int]:
        return {echo.id for echo in self.echoes()}

    def coverage(self):
        with Store.open(self.database) as store:
            return store.coverage()

    def watched_until(self) -> float:
        """Return the end of what the database knows as watched."""
        return max((span.end_unix for span in self.coverage() if span.state == "watched"), default=0.0)

    def integrity(self) -> str:
        connection = sqlite3.connect(self.database)
        try:
            return connection.execute("PRAGMA integrity_check").fetchone()[0]
        finally:
            connection.close()

    def _hear(self, port):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listener:
            listener.bind(("127.0.0.1", port))
            while not self._stop.is_set():
                message = decode(listener.recv(65_536))
                self.said.append((time.time(), message))


@pytest.fixture
def make_station(tmp_path_factory):
    made = []

    def make(**options):
        made.append(Station(tmp_path_factory.mktemp("station"), **options))
        return made[-1]

    yield make
    for station in made:
        station.stop()


@pytest.fixture
def patience():
    return wait_for


@pytest.fixture
def site_text():
    return SITE


@pytest.fixture
def samples():
    return SAMPLES
