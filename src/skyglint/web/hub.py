"""The crowd: every message goes to every viewer, and no viewer can hold up another."""

from __future__ import annotations

import asyncio
import math
import time
from collections import deque
from collections.abc import Callable, Collection

from skyglint.station.live import LiveMessage
from skyglint.web import messages

#: Messages that wait for a viewer, five seconds of them; one that is further behind is dropped.
MOST_WAITING = 50
#: Viewers at a time, and from one address; this computer, where a web server may stand before the pages, may have all.
MOST_VIEWERS = 1_000
MOST_FROM_ONE = 60
#: After a silence of this length everyone gets a sign of life, so that dead connections are noticed.
SILENCE_S = 15.0


class Viewer:
    """One connection to the live stream.

    Parameters
    ----------
    spectra
        Channels whose spectra it wants too.
    address
        Where it watches from; empty for this computer.
    """

    def __init__(self, spectra: Collection[str] = (), address: str = "") -> None:
        self.spectra = tuple(spectra)
        self.address = address
        self.dropped = False
        self._waiting: deque[bytes] = deque()
        self._arrived = asyncio.Event()

    def give(self, chunk: bytes) -> bool:
        """Queue a chunk; return whether the viewer keeps up."""
        if len(self._waiting) >= MOST_WAITING:
            self.drop()
            return False
        self._waiting.append(chunk)
        self._arrived.set()
        return True

    def drop(self) -> None:
        """End the stream."""
        self.dropped = True
        self._waiting.clear()
        self._arrived.set()

    async def next(self) -> bytes:
        """Return everything that waits, as soon as something does; empty when the stream has ended."""
        await self._arrived.wait()
        self._arrived.clear()
        chunk = b"".join(self._waiting)
        self._waiting.clear()
        return b"" if self.dropped else chunk


class Hub:
    """Takes the messages of the engine and gives them to the viewers; lives in one event loop."""

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._heard = -math.inf
        self._viewers: set[Viewer] = set()
        self._listeners: list[Callable[[LiveMessage], None]] = []
        self._latest: LiveMessage | None = None
        self.dropped = 0

    @property
    def latest(self) -> LiveMessage | None:
        """The newest message; None before the first."""
        return self._latest

    @property
    def silent_s(self) -> float:
        """Seconds since the newest message came; infinite before the first."""
        return self._monotonic() - self._heard

    @property
    def viewers(self) -> int:
        """How many watch."""
        return len(self._viewers)

    def listen(self, listener: Callable[[LiveMessage], None]) -> None:
        """Let a function see every message before the viewers do."""
        self._listeners.append(listener)

    def join(self, spectra: Collection[str] = (), address: str = "") -> Viewer | None:
        """Return a new viewer, who first hears the station's state; None when there is no room."""
        from_there = sum(viewer.address == address for viewer in self._viewers) if address else 0
        if len(self._viewers) >= MOST_VIEWERS or from_there >= MOST_FROM_ONE:
            return None
        viewer = Viewer(spectra, address)
        viewer.give(messages.HELLO + (messages.station(self._latest) if self._latest else b""))
        self._viewers.add(viewer)
        return viewer

    def leave(self, viewer: Viewer) -> None:
        """Forget a viewer."""
        self._viewers.discard(viewer)

    def publish(self, message: LiveMessage) -> None:
        """Encode a message once and queue it for everyone; who does not keep up is dropped."""
        before, self._latest = self._latest, message
        self._heard = self._monotonic()
        for listener in self._listeners:
            listener(message)
        parts = [messages.reading(message)]
        if before is None or (before.state, before.sentence) != (message.state, message.sentence):
            parts.insert(0, messages.station(message))
        parts.extend(messages.event("echo", messages.echo_record(echo)) for echo in message.echoes)
        common = b"".join(parts)
        spectra: dict[str, bytes] = {}
        for viewer in tuple(self._viewers):
            extra = [spectra.setdefault(name, messages.spectrum(message, name)) for name in viewer.spectra]
            if not viewer.give(b"".join([common, *extra]) if extra else common):
                self._viewers.discard(viewer)
                self.dropped += 1

    async def keep_alive(self) -> None:
        """Give signs of life while the engine is silent; runs until it is cancelled."""
        while True:
            await asyncio.sleep(SILENCE_S)
            if self.silent_s < SILENCE_S:
                continue
            for viewer in tuple(self._viewers):
                if not viewer.give(messages.STILL_HERE):
                    self._viewers.discard(viewer)

    def close(self) -> None:
        """End every stream."""
        for viewer in tuple(self._viewers):
            viewer.drop()
        self._viewers.clear()
