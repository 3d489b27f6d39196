"""Serving a recording as a network receiver (the protocol is described in ``network``)."""

from __future__ import annotations

import select
import socket
import threading
import time
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from skyglint.errors import RequestError
from skyglint.signals.block import Block, Gap, Source
from skyglint.signals.encodings import ENCODINGS, encode
from skyglint.signals.network import COMMAND, GREETING, MAGIC, SET_FREQUENCY_HZ, SET_SAMPLE_RATE_HZ

#: What the greeting says of the tuner: 5 is the commonest one, with 29 gain steps (common practice).
TUNER, GAIN_STEPS = 5, 29
BLOCK_S = 0.05
#: How soon a server without a client notices that it should stop.
STOP_S = 0.1

_CU8 = ENCODINGS["cu8"]


class Replay:
    """A recording served at its own pace to one client at a time.

    The recording goes on where it stood when a client left, like a radio; the end of a recording that is not looped
    ends the connection. Gaps are silences of their own length. Settings that the client asks for are accepted; a
    frequency or rate other than the recording's is told to ``notice``, since nothing can be done about it.

    Parameters
    ----------
    source
        The recording, of I/Q.
    host, port
        Where to listen; port 0 takes a free one.
    loop
        Whether to begin anew at the end.
    speed
        Times real time; infinite for as fast as the client reads.
    notice
        Gets a line whenever there is something to tell.
    clock, sleep
        Seconds of a clock that is never set, and how to wait.

    Raises
    ------
    RequestError
        If the recording holds audio, the speed is not above 0, or the address cannot be listened at.
    """

    def __init__(
        self,
        source: Source,
        host: str,
        port: int,
        *,
        loop: bool = False,
        speed: float = 1.0,
        notice: Callable[[str], None] = lambda line: None,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        if not speed > 0:
            raise RequestError(f"--speed = {speed:g}: expected a number above 0")
        if source.info.encoding.startswith("r"):
            raise RequestError(f"{source.info.name}: holds audio of a single sideband; a network receiver serves I/Q")
        self._source, self._loop, self._speed = source, loop, speed
        self._notice, self._clock, self._sleep = notice, clock, sleep
        self._center_hz = source.info.center_frequency_hz
        self._heard, self._stopped = b"", threading.Event()
        try:
            family = socket.AF_INET6 if ":" in host else socket.AF_INET
            self._listener = socket.create_server((host, port), family=family)
        except OSError as error:
            raise RequestError(f"{host}:{port}: cannot be listened at: {error.strerror or error}") from error
        shown = f"[{host}]" if ":" in host else host
        self.address = f"{shown}:{self._listener.getsockname()[1]}"

    def serve(self) -> None:
        """Serve clients until the recording has been sent to its end or ``stop`` is called.

        Raises
        ------
        SourceError
            If the recording cannot be read any further.
        """
        items = self._items()
        with self._listener:
            item = next(items, None)
            while item is not None and not self._stopped.is_set():
                if not select.select([self._listener], [], [], STOP_S)[0]:
                    continue
                client, peer = self._listener.accept()
                self._notice(f"client {peer[0]}:{peer[1]} connected")
                with client:
                    item = self._serve_client(client, item, items)
                self._notice("client left" if item is not None else "recording sent to its end")

    def stop(self) -> None:
        """Let ``serve`` return soon, from another thread."""
        self._stopped.set()

    def _items(self) -> Iterator[Block | Gap]:
        while True:
            yield from self._source.blocks(BLOCK_S)
            if not self._loop:
                return

    def _serve_client(
        self, client: socket.socket, item: Block | Gap | None, items: Iterator[Block | Gap]
    ) -> Block | Gap | None:
        """Send items until the client leaves; return the one that was not sent, or ``None`` at the end."""
        due, self._heard = self._clock(), b""
        try:
            client.sendall(GREETING.pack(MAGIC, TUNER, GAIN_STEPS))
            while item is not None and not self._stopped.is_set():
                due += _duration_s(item) / self._speed
                self._sleep(max(0.0, due - self._clock()))
                self._hear(client)
                if isinstance(item, Block):
                    self._follow(item)
                    client.sendall(_as_cu8(item).data)
                item = next(items, None)
        except OSError:
            # A client that leaves is no fault of the recording. A gap that it left in has passed: waiting through it
            # again for the next client would chase that one away too.
            if isinstance(item, Gap):
                item = next(items, None)
        return item

    def _follow(self, block: Block) -> None:
        """Tell of a retuning within the recording, which the protocol cannot pass on."""
        if block.center_frequency_hz != self._center_hz:
            self._center_hz = block.center_frequency_hz
            self._notice(f"the recording is now at {self._center_hz:.0f} Hz; the client cannot know")

    def _hear(self, client: socket.socket) -> None:
        """Take the commands that have come, and tell of those that ask for what the recording is not."""
        info = self._source.info
        held = {SET_FREQUENCY_HZ: info.center_frequency_hz, SET_SAMPLE_RATE_HZ: info.sample_rate_hz}
        what = {SET_FREQUENCY_HZ: "centre frequency", SET_SAMPLE_RATE_HZ: "sample rate"}
        while select.select([client], [], [], 0)[0]:
            data = client.recv(4096)
            if not data:
                raise ConnectionResetError
            self._heard += data
        whole = len(self._heard) // COMMAND.size * COMMAND.size
        commands, self._heard = self._heard[:whole], self._heard[whole:]
        for number, value in COMMAND.iter_unpack(commands):
            if number in held and value != round(held[number]):
                self._notice(f"client asks for {what[number]} {value} Hz; the recording has {held[number]:.0f} Hz")


def listening_address(text: str) -> tuple[str, int]:
    """Return host and port of ``host:port``.

    Raises
    ------
    RequestError
        If the text is no such address.
    """
    host, separator, port = text.rpartition(":")
    host = host.strip("[]")
    if not separator or not host or not port.isdecimal() or int(port) > 65_535:
        raise RequestError(f"--listen = {text}: expected host and port, like 127.0.0.1:1234")
    return host, int(port)


def _duration_s(item: Block | Gap) -> float:
    return item.n_samples / item.sample_rate_hz if isinstance(item, Block) else item.end_unix - item.start_unix


def _as_cu8(block: Block) -> NDArray[np.uint8]:
    if block.encoding == _CU8:
        return np.ascontiguousarray(block.values)
    return encode(block.samples, _CU8)
