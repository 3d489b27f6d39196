"""A receiver on the network, by the plain TCP protocol that drivers of USB dongles serve.

The server greets with 12 bytes: ``RTL0``, then type of tuner and number of gain steps (32-bit, big-endian). After that
it sends unsigned 8-bit I/Q without end. The client may send commands of 5 bytes: a number, and a 32-bit big-endian
argument. Only one client is served at a time. (Common practice; there is no published standard.)
"""

from __future__ import annotations

import socket
import struct
from urllib.parse import urlsplit

from skyglint.errors import RequestError, SourceError
from skyglint.signals.block import Encoding
from skyglint.signals.encodings import ENCODINGS
from skyglint.signals.live import Settings

MAGIC = b"RTL0"
GREETING = struct.Struct(">4sII")
COMMAND = struct.Struct(">BI")
SET_FREQUENCY_HZ, SET_SAMPLE_RATE_HZ, SET_GAIN_MODE, SET_GAIN_TENTHS_DB = 1, 2, 3, 4
SET_AUTOMATIC_GAIN = 8
DEFAULT_PORT = 1234

#: How long to wait for an answer or for samples.
CONNECT_S, STALL_S = 5.0, 3.0
#: The system's own buffer bridges pauses of whoever reads.
_BUFFER_BYTES = 8 << 20


class NetworkReceiver:
    """The connection to a network receiver, a ``Device``.

    Parameters
    ----------
    address
        Such as ``rtltcp://127.0.0.1:1234``; without a port, 1234.
    settings
        Made at every connection. The protocol carries whole hertz.

    Raises
    ------
    RequestError
        If the address cannot be one, or a setting does not fit into the protocol.
    """

    encoding: Encoding = ENCODINGS["cu8"]

    def __init__(self, address: str, settings: Settings) -> None:
        self.name = address
        try:
            parts = urlsplit(address)
            self._host, self._port = parts.hostname or "", parts.port or DEFAULT_PORT
        except ValueError as error:
            raise RequestError(f"{address}: {error}: expected an address like rtltcp://127.0.0.1:1234") from error
        if not self._host or parts.path.strip("/"):
            raise RequestError(f"{address}: expected an address like rtltcp://127.0.0.1:1234")
        for value in (settings.center_frequency_hz, settings.sample_rate_hz):
            if value >= 1 << 32:
                raise RequestError(f"{address}: {value:g} Hz: expected less than {1 << 32} Hz")
        self.settings = Settings(
            float(round(settings.center_frequency_hz)), float(round(settings.sample_rate_hz)), settings.gain_db
        )
        self._socket: socket.socket | None = None

    def open(self) -> None:
        """Connect, read the greeting and make the settings.

        Raises
        ------
        SourceError
            If nothing answers, or not in this way.
        """
        try:
            self._socket = connection = socket.create_connection((self._host, self._port), timeout=CONNECT_S)
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _BUFFER_BYTES)
            greeting = self._greeting(connection)
            if greeting[:4] != MAGIC:
                raise SourceError(f"{self.name}: answers, but not as a receiver: {greeting!r}, expected {MAGIC!r}")
            connection.settimeout(STALL_S)
            connection.sendall(self._commands())
        except TimeoutError as error:
            raise SourceError(
                f"{self.name}: no answer within {CONNECT_S:g} s; a receiver serves one program at a time"
            ) from error
        except OSError as error:
            raise SourceError(f"{self.name}: no receiver answers: {error.strerror or error}") from error

    def read_into(self, buffer: memoryview) -> int:
        """Wait for samples and return how many bytes came.

        Raises
        ------
        SourceError
            If none come for 3 s, or the connection is gone.
        """
        if self._socket is None:
            raise SourceError(f"{self.name}: not connected")
        try:
            n_bytes = self._socket.recv_into(buffer)
        except TimeoutError as error:
            raise SourceError(f"{self.name}: no samples for {STALL_S:g} s") from error
        except OSError as error:
            raise SourceError(f"{self.name}: connection lost: {error.strerror or error}") from error
        if not n_bytes:
            raise SourceError(f"{self.name}: the server ended the connection")
        return n_bytes

    def close(self) -> None:
        """Let go of the connection."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _greeting(self, connection: socket.socket) -> bytes:
        greeting = b""
        while len(greeting) < GREETING.size:
            piece = connection.recv(GREETING.size - len(greeting))
            if not piece:
                raise SourceError(f"{self.name}: the server ended the connection before its greeting")
            greeting += piece
        return greeting

    def _commands(self) -> bytes:
        settings = self.settings
        commands = [
            (SET_SAMPLE_RATE_HZ, round(settings.sample_rate_hz)),
            (SET_FREQUENCY_HZ, round(settings.center_frequency_hz)),
            (SET_AUTOMATIC_GAIN, 0),
            (SET_GAIN_MODE, 0 if settings.gain_db is None else 1),
        ]
        if settings.gain_db is not None:
            commands.append((SET_GAIN_TENTHS_DB, round(10 * settings.gain_db)))
        return b"".join(COMMAND.pack(number, value & 0xFFFFFFFF) for number, value in commands)
