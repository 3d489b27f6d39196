"""A recording served as a receiver, and read back by the client."""

import socket
import struct
import threading

import numpy as np
import pytest

from skyglint.errors import RequestError
from skyglint.signals.block import Block
from skyglint.signals.encodings import ENCODINGS, encode
from skyglint.signals.live import LiveSource, Settings
from skyglint.signals.network import NetworkReceiver
from skyglint.signals.options import SourceOptions
from skyglint.signals.replay import Replay, listening_address
from skyglint.signals.sigmf_writer import SigMFWriter
from skyglint.signals.sources import open_source

RATE_HZ = 20_000.0


def recorded(path, encoding="cu8", seconds=1.0, gap_s=0.0):
    samples = 0.9 * np.exp(2j * np.pi * 0.01 * np.arange(round(seconds * RATE_HZ)))
    raw = encode(samples, ENCODINGS[encoding])
    with SigMFWriter(path, ENCODINGS[encoding], RATE_HZ) as writer:
        writer.capture(1786586400.0, 98e6)
        writer.write(raw[: len(raw) // 2])
        writer.capture(1786586400.0 + seconds / 2 + gap_s, 98e6)
        writer.write(raw[len(raw) // 2 :])
    return open_source(path), encode(samples, ENCODINGS["cu8"])


class Clock:
    """Time that passes only when somebody waits."""

    def __init__(self):
        self.now_s = 0.0

    def __call__(self):
        return self.now_s

    def sleep(self, pause_s):
        self.now_s += pause_s


@pytest.fixture
def served():
    """Start a replay in a thread; it is ended with the test."""
    threads = []

    def start(source, **options):
        replay = Replay(source, "127.0.0.1", 0, **options)
        thread = threading.Thread(target=replay.serve, daemon=True)
        thread.start()
        threads.append(thread)
        return replay

    def end():
        for thread in threads:
            thread.join(5)
            assert not thread.is_alive()

    start.end = end
    yield start
    end()


def connect(replay):
    host, port = listening_address(replay.address)
    return socket.create_connection((host, port), timeout=5)


def read_all(client):
    with client:
        data = b""
        while piece := client.recv(1 << 16):
            data += piece
    return data


@pytest.mark.parametrize("encoding", ["cu8", "ci16_be", "cf32_le"])
def test_the_client_gets_greeting_and_samples(tmp_path, served, encoding):
    source, expected = recorded(tmp_path / "night", encoding)
    data = read_all(connect(served(source, speed=float("inf"))))
    assert struct.unpack(">4sII", data[:12]) == (b"RTL0", 5, 29)
    values = np.frombuffer(data[12:], np.uint8)
    assert len(values) == len(expected)
    # Quantised once more from 16 bits, a value may fall on the other side of a step.
    assert np.abs(values.astype(int) - expected).max() <= (0 if encoding == "cu8" else 1)


@pytest.mark.parametrize(("speed", "gap_s", "takes_s"), [(1.0, 0.0, 1.0), (4.0, 0.0, 0.25), (1.0, 2.5, 3.5)])
def test_it_keeps_the_recordings_pace_and_its_gaps(tmp_path, served, speed, gap_s, takes_s):
    source, _ = recorded(tmp_path / "night", gap_s=gap_s)
    clock = Clock()
    read_all(connect(served(source, speed=speed, clock=clock, sleep=clock.sleep)))
    assert clock.now_s == pytest.approx(takes_s, abs=1e-6)


def test_commands_are_taken_and_what_cannot_be_is_told(tmp_path, served):
    source, _ = recorded(tmp_path / "night")
    told, asked = [], threading.Event()

    def wait(_):
        assert asked.wait(5)

    client = connect(served(source, notice=told.append, sleep=wait))
    for number, value in ((2, 20_000), (1, 99_000_000), (4, 297), (77, 1)):
        client.sendall(struct.pack(">BI", number, value))
    client.sendall(b"\x01\x00")  # half a command hurts nobody
    asked.set()
    assert len(read_all(client)) == 12 + 40_000
    served.end()
    assert told[1:-1] == ["client asks for centre frequency 99000000 Hz; the recording has 98000000 Hz"]
    assert told[-1] == "recording sent to its end"


def test_a_retuning_within_the_recording_is_told(tmp_path, served):
    with SigMFWriter(tmp_path / "night", ENCODINGS["cu8"], RATE_HZ) as writer:
        for number, center_hz in enumerate((98e6, 99e6, 98e6)):
            writer.capture(1786586400.0 + number, center_hz)
            writer.write(np.full(40_000, 127, np.uint8))
    told = []
    read_all(connect(served(open_source(tmp_path / "night"), notice=told.append, speed=float("inf"))))
    served.end()
    assert told[1:-1] == [
        "the recording is now at 99000000 Hz; the client cannot know",
        "the recording is now at 98000000 Hz; the client cannot know",
    ]


def test_the_next_client_goes_on_where_the_last_one_left(tmp_path, served):
    source, expected = recorded(tmp_path / "night", seconds=2.0)
    told, left = [], threading.Event()

    def notice(line):
        told.append(line)
        if line == "client left":
            left.set()

    replay = served(
        source, notice=notice, sleep=lambda _: None if not told[-1].endswith("connected") else left.wait(0.01)
    )
    first = connect(replay)
    assert len(first.recv(12, socket.MSG_WAITALL)) == 12
    first.close()
    assert left.wait(5)
    rest = np.frombuffer(read_all(connect(replay))[12:], np.uint8)
    assert 0 < len(rest) <= len(expected)
    assert np.array_equal(rest, expected[len(expected) - len(rest) :])


def test_looped_it_begins_anew_and_the_live_source_reads_it(tmp_path, served):
    source, expected = recorded(tmp_path / "night", seconds=0.5)
    replay = served(source, loop=True, speed=float("inf"))
    live = LiveSource(NetworkReceiver(f"rtltcp://{replay.address}", Settings(98e6, RATE_HZ, None)))
    blocks = []
    for item in live.blocks(0.1):
        assert isinstance(item, Block)
        blocks.append(item)
        if len(blocks) == 20:
            break
    values = np.concatenate([block.values for block in blocks])
    # Two seconds from 0.3 s on, of a recording of half a second.
    assert np.array_equal(values, np.tile(expected, 6)[12_000:][: len(values)])
    replay.stop()


def test_what_cannot_be_served(tmp_path):
    source, _ = recorded(tmp_path / "night")
    with pytest.raises(RequestError, match="--speed = 0: expected a number above 0"):
        Replay(source, "127.0.0.1", 0, speed=0.0)
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(RequestError, match="in use"):
        Replay(source, "127.0.0.1", taken.getsockname()[1])
    (tmp_path / "beacon.raw").write_bytes(bytes(100))
    audio = open_source(tmp_path / "beacon.raw", SourceOptions("ri16_le", 8000.0, None, 1.0, 50e6, "usb"))
    with pytest.raises(RequestError, match="holds audio of a single sideband; a network receiver serves I/Q"):
        Replay(audio, "127.0.0.1", 0)


@pytest.mark.parametrize("text", ["", "1234", "host:", ":1234", "host:port", "host:70000"])
def test_addresses_that_cannot_be_listened_at(text):
    with pytest.raises(RequestError, match="expected host and port, like 127"):
        listening_address(text)


def test_addresses_that_can():
    assert listening_address("127.0.0.1:1234") == ("127.0.0.1", 1234)
    assert listening_address("[::1]:1234") == ("::1", 1234)
