"""Hearing the engine: datagrams on the loopback interface."""

from __future__ import annotations

import asyncio
import logging

from skyglint.errors import SkyglintError
from skyglint.station.live import decode
from skyglint.web.hub import Hub

log = logging.getLogger(__name__)


class Feed(asyncio.DatagramProtocol):
    """Decodes datagrams and hands them to the hub; what is not a message is counted and left."""

    def __init__(self, hub: Hub) -> None:
        self._hub = hub
        self._complained = False

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        """Take one datagram."""
        try:
            message = decode(data)
        except ValueError as error:
            if not self._complained:
                log.warning("a datagram on the live feed from port %s is not a message: %s", addr[1], error)
                self._complained = True
            return
        self._hub.publish(message)


async def hear(hub: Hub, port: int) -> asyncio.DatagramTransport:
    """Begin to hear the engine on a port of this computer.

    Raises
    ------
    SkyglintError
        If the port is taken.
    """
    loop = asyncio.get_running_loop()
    try:
        transport, _ = await loop.create_datagram_endpoint(lambda: Feed(hub), local_addr=("127.0.0.1", port))
    except OSError as error:
        raise SkyglintError(f"port {port} of the live feed cannot be used: {error.strerror}") from error
    return transport
