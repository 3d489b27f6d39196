"""The server under the pages: uvicorn, with bounds on slow and silent clients."""

from __future__ import annotations

import asyncio
import socket
from typing import Any

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

from skyglint.errors import SkyglintError
from skyglint.web.hub import MOST_VIEWERS, Hub

#: Time for a whole request to arrive, and for a client that reads nothing to begin again.
REQUEST_S, STALL_S = 15.0, 5.0
#: Bytes of a request's line and headers.
MOST_HEADER_BYTES = 16_384
#: What the system holds back for a client, so that one that stops reading is noticed within seconds.
SEND_BUFFER_BYTES = 65_536


class BoundedProtocol(H11Protocol):
    """One connection, closed when its request does not arrive in time or its client stops reading."""

    _late: asyncio.TimerHandle | None = None
    _stalled: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin, with the time for the first request running."""
        super().connection_made(transport)
        raw = transport.get_extra_info("socket")
        if raw is not None:
            raw.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
        self._late = self.loop.call_later(REQUEST_S, transport.abort)

    def data_received(self, data: bytes) -> None:
        """Take bytes; the time runs from the first of a request's line and headers until the last."""
        super().data_received(data)
        cycle: RequestResponseCycle | None = self.cycle
        incomplete = cycle is None or cycle.response_complete
        if incomplete and self._late is None:
            self._late = self.loop.call_later(REQUEST_S, self.transport.abort)
        elif not incomplete and self._late is not None:
            self._late.cancel()
            self._late = None

    def pause_writing(self) -> None:
        """Note that the client does not read."""
        super().pause_writing()
        self._stalled = self.loop.call_later(STALL_S, self.transport.abort)

    def resume_writing(self) -> None:
        """Note that it reads again."""
        super().resume_writing()
        if self._stalled is not None:
            self._stalled.cancel()

    def connection_lost(self, exc: Exception | None) -> None:
        """End."""
        for timer in (self._late, self._stalled):
            if timer is not None:
                timer.cancel()
        super().connection_lost(exc)


class Server(uvicorn.Server):
    """Serves the pages; ends the live streams before it waits for open requests."""

    def __init__(self, app: Any, hub: Hub) -> None:
        super().__init__(
            uvicorn.Config(
                app,
                http=BoundedProtocol,
                ws="none",
                log_config=None,
                access_log=False,
                server_header=False,
                proxy_headers=False,
                limit_concurrency=MOST_VIEWERS + 200,
                backlog=512,
                timeout_keep_alive=10,
                timeout_graceful_shutdown=3,
                h11_max_incomplete_event_size=MOST_HEADER_BYTES,
            )
        )
        self._hub = hub

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Let the viewers go, then end."""
        self._hub.close()
        await super().shutdown(sockets)


def bind(host: str, port: int) -> socket.socket:
    """Return a listening socket.

    Raises
    ------
    SkyglintError
        If the address cannot be listened at.
    """
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        return socket.create_server((host, port), family=family, backlog=512)
    except OSError as error:
        raise SkyglintError(
            f"the pages cannot listen at {host} port {port}: {error.strerror}: set host and port in [pages]"
        ) from error
