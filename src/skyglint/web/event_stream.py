"""The response that never ends: events to one viewer, until it leaves or falls behind."""

from __future__ import annotations

import asyncio

from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from skyglint.web.hub import Hub, Viewer


class EventStream(Response):
    """Server-sent events for one viewer, sent without any copy or wrapping of its own."""

    media_type = "text/event-stream"

    def __init__(self, hub: Hub, viewer: Viewer) -> None:
        super().__init__(headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"})
        del self.headers["content-length"]
        self._hub, self._viewer = hub, viewer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send until the viewer is gone."""
        left = asyncio.ensure_future(self._until_left(receive))
        try:
            await send({"type": "http.response.start", "status": 200, "headers": self.raw_headers})
            while chunk := await self._viewer.next():
                await send({"type": "http.response.body", "body": chunk, "more_body": True})
            await send({"type": "http.response.body", "body": b"", "more_body": False})
        finally:
            self._hub.leave(self._viewer)
            left.cancel()

    async def _until_left(self, receive: Receive) -> None:
        while (await receive())["type"] != "http.disconnect":
            pass
        self._viewer.drop()
