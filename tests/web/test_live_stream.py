"""The live stream over real sockets: delay, fairness, viewers that stop reading, slow clients."""

import asyncio
import contextlib
import json
import socket
import time

import pytest

VIEWERS = 50
LIVE = b"GET /api/v1/live HTTP/1.1\r\nHost: station.test\r\n\r\n"


async def watch(host: str, port: int, seconds: float) -> tuple[list[float], str]:
    """Return the delays of the readings that a viewer got within a time, and the headers."""
    reader, writer = await asyncio.open_connection(host, port)
    writer.write(LIVE)
    headers = (await reader.readuntil(b"\r\n\r\n")).decode()
    delays = []
    deadline = time.monotonic() + seconds
    while (left := deadline - time.monotonic()) > 0:
        try:
            line = await asyncio.wait_for(reader.readline(), left)
        except TimeoutError:
            break
        if line.startswith(b"data: ") and b"power_db" in line:
            delays.append(time.time() - json.loads(line[6:])["end_unix"])
    writer.close()
    return delays, headers


@pytest.fixture
def running(context, served):
    with served(context) as made:
        yield made


def address(running) -> tuple[str, int]:
    host, port = running.url.removeprefix("http://").split(":")
    return host, int(port)


def names(running) -> list[str]:
    return [channel.name for channel in running.context.channels]


async def speak(running, message, seconds: float, sent: list[float]) -> None:
    """Publish ten messages a second, stamped with the time of sending."""
    loop = asyncio.get_running_loop()
    begin = loop.time()
    for index in range(round(seconds * 10)):
        await asyncio.sleep(max(0.0, begin + index / 10 - loop.time()))
        sent.append(time.time())
        running.publish(message(sent[-1], names(running)))


def test_fifty_viewers_all_get_everything_in_time(running, message):
    async def scene():
        sent: list[float] = []
        viewers = [asyncio.create_task(watch(*address(running), 5.0)) for _ in range(VIEWERS)]
        await asyncio.sleep(1.0)
        await speak(running, message, 3.0, sent)
        return await asyncio.gather(*viewers)

    heard = asyncio.run(scene())
    for delays, headers in heard:
        assert len(delays) == 30
        assert "content-type: text/event-stream" in headers
        assert "cache-control: no-store" in headers
    everything = sorted(delay for delays, _ in heard for delay in delays)
    assert everything[len(everything) // 2] < 0.5
    deadline = time.monotonic() + 5
    while running.context.hub.viewers and time.monotonic() < deadline:
        time.sleep(0.05)
    assert running.context.hub.viewers == 0  # whoever leaves is forgotten


def test_a_viewer_that_stops_reading_is_dropped_and_nobody_else_notices(running, message):
    host, port = address(running)
    with socket.socket() as sleeper:
        sleeper.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        sleeper.connect((host, port))
        sleeper.sendall(LIVE)

        async def scene():
            viewer = asyncio.create_task(watch(host, port, 4.0))
            while running.context.hub.viewers < 2:
                await asyncio.sleep(0.02)
            # What the system holds back for the sleeper is filled at once, then the paper moves on at its pace.
            big = [f"{name} {'x' * 3000}" for name in names(running)]
            for index in range(40):
                running.publish(message(time.time(), big))
                await asyncio.sleep(0.01 if index % 10 else 0.1)
            sent: list[float] = []
            await speak(running, message, 1.0, sent)
            before = running.context.hub.viewers
            return await viewer, before

        (delays, _), _ = asyncio.run(scene())
        assert len(delays) == 50
        deadline = time.monotonic() + 12
        while running.context.hub.viewers and time.monotonic() < deadline:
            running.publish(message(time.time(), names(running)))
            time.sleep(0.1)
        assert running.context.hub.viewers == 0


def test_a_request_that_never_ends_is_cut_off(running, monkeypatch):
    monkeypatch.setattr("skyglint.web.server.REQUEST_S", 0.5)
    with socket.create_connection(address(running)) as slow:
        slow.settimeout(10)
        slow.sendall(b"GET / HTTP/1.1\r\nHost: station.test\r\nX-Slow: ")
        begin = time.monotonic()
        try:
            left = slow.recv(100)
        except ConnectionResetError:
            left = b""
        assert left == b""
        assert time.monotonic() - begin < 5


@pytest.mark.parametrize(
    "request_bytes",
    [
        b"GET / HTTP/1.1\r\nHost: a\r\nX: " + b"y" * 400_000 + b"\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"GET /" + b"a" * 40_000 + b" HTTP/1.1\r\n\r\n",
    ],
    ids=["large header", "not HTTP", "long address"],
)
def test_rubbish_is_refused_and_the_server_goes_on(running, request_bytes):
    with socket.create_connection(address(running)) as client:
        client.settimeout(10)
        with contextlib.suppress(ConnectionResetError, BrokenPipeError):
            client.sendall(request_bytes)
            assert client.recv(100)[:12] in (b"HTTP/1.1 400", b"HTTP/1.1 431", b"")
    with socket.create_connection(address(running)) as client:
        client.settimeout(10)
        client.sendall(b"GET /healthz HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")
        assert client.recv(100).startswith(b"HTTP/1.1 ")


def test_the_end_of_the_server_ends_the_streams_at_once(context, served):
    with served(context) as running:
        client = socket.create_connection(address(running))
        client.settimeout(10)
        client.sendall(LIVE)
        assert client.recv(1000).startswith(b"HTTP/1.1 200")
        begin = time.monotonic()
    assert time.monotonic() - begin < 3
    with client:
        left = b""
        while part := client.recv(1000):
            left += part
        assert left.endswith(b"0\r\n\r\n")
