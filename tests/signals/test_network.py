"""The network client against a server of a few lines that speaks the protocol, and misbehaves on request."""

import socket
import struct
import threading

import numpy as np
import pytest

from skyglint.errors import RequestError, SourceError
from skyglint.signals import network
from skyglint.signals.block import Block, Gap
from skyglint.signals.live import LiveSource, Settings
from skyglint.signals.network import NetworkReceiver
from skyglint.signals.options import SourceOptions
from skyglint.signals.sources import open_source

SETTINGS = Settings(98.3e6, 20_000.0, 29.7)
GREETING = b"RTL0" + struct.pack(">II", 5, 29)


class Server:
    """Takes one client after the other; each is handled by the next of the given functions."""

    def __init__(self, *handlers):
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"rtltcp://127.0.0.1:{self.listener.getsockname()[1]}"
        self.commands = []
        self._thread = threading.Thread(target=self._serve, args=(handlers,), daemon=True)
        self._thread.start()

    def _serve(self, handlers):
        for handler in handlers:
            client, _ = self.listener.accept()
            with client:
                handler(self, client)

    def hear(self, client, n_commands=5):
        data = client.recv(5 * n_commands, socket.MSG_WAITALL)
        self.commands.append([struct.unpack(">Bi", data[at : at + 5]) for at in range(0, len(data), 5)])

    def close(self):
        self.listener.close()
        self._thread.join(5)


@pytest.fixture
def serve():
    servers = []

    def start(*handlers):
        servers.append(Server(*handlers))
        return servers[-1].address, servers[-1]

    yield start
    for server in servers:
        server.close()


def send(n_samples):
    """Greet, take the settings, send samples whose I counts up and whose Q is 7, and leave."""

    def handler(server, client):
        client.sendall(GREETING)
        server.hear(client)
        values = np.full(2 * n_samples, 7, np.uint8)
        values[::2] = np.arange(n_samples)
        client.sendall(values.tobytes())

    return handler


def test_samples_arrive_and_settings_are_made_again_after_a_loss(serve):
    address, server = serve(send(20_000), send(20_000))
    items = []
    source = LiveSource(NetworkReceiver(address, SETTINGS), sleep=lambda _: None)
    for item in source.blocks(0.05):
        items.append(item)
        if isinstance(item, Block) and item.stretch == 1:
            break
    first = [item for item in items if isinstance(item, Block) and item.stretch == 0]
    values = np.concatenate([block.values for block in first])
    # 0.3 s of settling are given up; from there on nothing is missing.
    assert np.array_equal(values[::2], np.arange(6_000, 6_000 + len(values) // 2).astype(np.uint8))
    assert (values[1::2] == 7).all()
    assert len(values) == 2 * 14_000
    lost = next(item for item in items if isinstance(item, Gap))
    assert lost.reason == "receiver lost: the server ended the connection"
    expected = [(2, 20_000), (1, 98_300_000), (8, 0), (3, 1), (4, 297)]
    assert server.commands == [expected, expected]


def test_without_a_gain_the_tuner_controls_it_itself(serve):
    def handler(server, client):
        client.sendall(GREETING)
        server.hear(client, 4)

    address, server = serve(handler)
    receiver = NetworkReceiver(address, Settings(98.3e6, 20_000.0, None))
    receiver.open()
    receiver.close()
    server.close()
    assert server.commands == [[(2, 20_000), (1, 98_300_000), (8, 0), (3, 0)]]


def test_a_stall_is_noticed(serve, monkeypatch):
    monkeypatch.setattr(network, "STALL_S", 0.05)
    held = threading.Event()

    def handler(server, client):
        client.sendall(GREETING + bytes(10))
        held.wait(5)

    address, _ = serve(handler)
    receiver = NetworkReceiver(address, SETTINGS)
    receiver.open()
    assert receiver.read_into(memoryview(bytearray(100))) == 10
    with pytest.raises(SourceError, match=r"no samples for 0\.05 s"):
        receiver.read_into(memoryview(bytearray(100)))
    receiver.close()
    held.set()


def test_what_answers_wrongly_or_not_at_all_is_said(serve, monkeypatch):
    monkeypatch.setattr(network, "CONNECT_S", 0.1)
    held = threading.Event()
    address, _ = serve(
        lambda _, client: client.sendall(b"HTTP/1.1 400 Bad Request"),
        lambda _, client: client.sendall(b"RTL"),
        lambda *_: held.wait(5),
    )
    receiver = NetworkReceiver(address, SETTINGS)
    for message in (
        r"answers, but not as a receiver: b'HTTP/1.1 400', expected b'RTL0'",
        "the server ended the connection before its greeting",
        r"no answer within 0\.1 s; a receiver serves one program at a time",
    ):
        with pytest.raises(SourceError, match=message):
            receiver.open()
        receiver.close()
    held.set()
    with socket.create_server(("127.0.0.1", 0)) as listener:
        free = listener.getsockname()[1]
    with pytest.raises(SourceError, match="no receiver answers: Connection refused"):
        next(LiveSource(NetworkReceiver(f"rtltcp://127.0.0.1:{free}", SETTINGS)).blocks())


@pytest.mark.parametrize(
    "address", ["rtltcp://", "rtltcp://host:port", "rtltcp://host:99999", "rtltcp://host:1/path", "rtltcp://[::1"]
)
def test_addresses_that_cannot_be(address):
    with pytest.raises(RequestError, match="expected an address like rtltcp://127"):
        NetworkReceiver(address, SETTINGS)


def test_a_frequency_beyond_the_protocol():
    with pytest.raises(RequestError, match="expected less than 4294967296 Hz"):
        NetworkReceiver("rtltcp://127.0.0.1", Settings(5e9, 20_000.0, None))


def test_an_address_opens_a_receiver_that_needs_centre_and_rate():
    options = SourceOptions(sample_rate_hz=2.4e6, center_frequency_hz=98e6)
    info = open_source("rtltcp://127.0.0.1:1234", options).info
    assert (info.name, info.fingerprint, info.encoding) == ("rtltcp://127.0.0.1:1234", "", "cu8")
    assert (info.band_low_hz, info.band_high_hz) == (96.8e6, 99.2e6)
    assert np.isnan(info.end_unix)
    with pytest.raises(RequestError, match="its sample rate and its centre frequency: give them"):
        open_source("rtltcp://127.0.0.1:1234")
    with pytest.raises(RequestError, match="a receiver states start_unix itself"):
        open_source("rtltcp://127.0.0.1:1234", SourceOptions(start_unix=1.0))
    with pytest.raises(RequestError, match="an address that starts with one of rtltcp://, usb://, soapy://"):
        open_source("gopher://127.0.0.1", options)
