"""A pass followed as it happens: a made recording served over the network protocol, on a clock of its own samples.

The beacon is made with an independent library's positions.
"""

import math
import threading
import tracemalloc

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from skyfield.api import EarthSatellite, load, wgs84
from tests.station.test_follow import ELEMENTS, LINES, SITE, START

from skyglint.errors import RequestError
from skyglint.signals.block import Block, Encoding, SourceInfo
from skyglint.signals.live import LiveSource, Settings
from skyglint.signals.network import NetworkReceiver
from skyglint.signals.replay import Replay
from skyglint.sky.satellites import Place
from skyglint.station.follow_live import NextPass, follow_next, next_pass

CENTRE_HZ, RATE_HZ = 137.1e6, 96_000.0
FLOATS = Encoding("cf32_le", np.dtype("<f4"), 0.0, 1.0)
#: The receiver is switched on here, seconds from START, and speaks for so long.
FIRST_S, LENGTH_S = 330.0, 110.0


class Sky:
    """A source that makes the samples as they are asked for: noise, and a beacon that comes late."""

    def __init__(self, c_n0_db, late_s=1.2, offset_hz=80.0):
        timescale = load.timescale(builtin=True)
        nodes = np.arange(0.0, 800.0)
        times = timescale.tt_jd(2440587.5 + (START + nodes + 69.184) / 86_400)
        body, here = EarthSatellite(*LINES, None, timescale), wgs84.latlon(54.61, -2.93, 212.5)
        geometric = CubicSpline(nodes, (body - here).at(times).distance().km)
        late = nodes - late_s
        km = geometric(late - geometric(late) / 299_792.458)
        self._turns = CubicSpline(nodes, -CENTRE_HZ * km / 299_792.458 + offset_hz * nodes)
        self._amplitude = math.sqrt(2 * 10 ** (c_n0_db / 10) / RATE_HZ)
        half = RATE_HZ / 2
        span = (START + FIRST_S, START + FIRST_S + LENGTH_S, CENTRE_HZ - half, CENTRE_HZ + half)
        self.info = SourceInfo("made", "", "cf32_le", RATE_HZ, CENTRE_HZ, *span)

    def blocks(self, block_s=0.1):
        random = np.random.default_rng(61)
        step = int(0.5 * RATE_HZ)
        for first in range(0, int(LENGTH_S * RATE_HZ), step):
            seconds = FIRST_S + (first + np.arange(step)) / RATE_HZ
            noise = random.standard_normal((step, 2), dtype=np.float32).view(np.complex64)[:, 0]
            tone = self._amplitude * np.exp(2j * np.pi * self._turns(seconds))
            values = ((noise + tone) / 8).astype(np.complex64).view(np.float32)
            yield Block(values, FLOATS, 0, self.info.start_unix, first, RATE_HZ, CENTRE_HZ)


class Clocked:
    """The network receiver, whose samples are the only clock: they come as fast as they are read."""

    def __init__(self, address):
        self._receiver = NetworkReceiver(address, Settings(CENTRE_HZ, RATE_HZ, None))
        self.bytes = 0

    def __getattr__(self, name):
        return getattr(self._receiver, name)

    def read_into(self, buffer):
        count = self._receiver.read_into(buffer)
        self.bytes += count
        return count

    def now(self):
        return START + FIRST_S + self.bytes / 2 / RATE_HZ


def followed(sky, coming, **options):
    """The verdict on what a network receiver sends."""
    replay = Replay(sky, "127.0.0.1", 0, speed=math.inf)
    server = threading.Thread(target=replay.serve, daemon=True)
    server.start()
    device = Clocked(f"rtltcp://{replay.address}")
    waits = []

    def opened():
        return LiveSource(device, clock=device.now, sleep=lambda seconds: None, monotonic=device.now)

    try:
        return follow_next(opened, SITE, coming, CENTRE_HZ, None, device.now, waits.append, **options)
    finally:
        device.close()
        replay.stop()
        server.join(10.0)


def test_a_beacon_is_followed_over_the_network_in_little_memory():
    coming = NextPass(ELEMENTS, START + FIRST_S + 2.0, START + FIRST_S + 104.0)
    told = []
    tracemalloc.start()
    result = followed(Sky(28.0), coming, told=told.append)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert result.detected
    # The first sample's time is known to an anchor's half second at most, here to the block.
    assert result.time_offset_s == pytest.approx(1.2, abs=0.15)
    assert result.frequency_offset_hz == pytest.approx(80.0, abs=3.0)
    assert result.end_unix == coming.end_unix
    assert len(result.residual_hz) > 10
    assert told[-1] < coming.end_unix
    # The samples alone are 84 MB as complex numbers.
    assert peak < 45e6


def test_without_the_beacon_nothing_is_found():
    coming = NextPass(ELEMENTS, START + FIRST_S + 2.0, START + FIRST_S + 50.0)
    assert not followed(Sky(-40.0), coming).detected


def test_who_comes_too_early_waits():
    class Over(Exception):
        pass

    now, waits = [START - 1_000.0], []

    def sleep(seconds):
        waits.append(seconds)
        now[0] += seconds

    def opened():
        raise Over

    coming = NextPass(ELEMENTS, START + 100.0, START + 400.0)
    with pytest.raises(Over):
        follow_next(opened, SITE, coming, CENTRE_HZ, None, lambda: now[0], sleep)
    assert now[0] == pytest.approx(START + 95.0)
    assert max(waits) <= 60.0


def test_the_next_pass_of_several():
    coming = next_pass(SITE, [ELEMENTS], None, START - 3_600.0)
    assert coming.elements is ELEMENTS
    assert START - 100.0 < coming.start_unix < START + 100.0
    # One that is on is followed from now; one about to end is not.
    assert next_pass(SITE, [ELEMENTS], None, START + 300.0).start_unix == START + 300.0
    assert next_pass(SITE, [ELEMENTS], None, coming.end_unix - 40.0).start_unix > coming.end_unix
    both = next_pass(SITE, [ELEMENTS], Place(52.0, 4.0, 0.0), START - 3_600.0)
    assert both.start_unix >= coming.start_unix
    with pytest.raises(RequestError, match="not in sight of site and transmitter together within 24 h"):
        next_pass(SITE, [ELEMENTS], Place(-54.6, 177.0, 0.0), START)
