"""What every answer says to the browser, and what no request may exceed."""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: The style attribute is allowed because figures carry their largest width in it; style sheets and scripts come as
#: files only.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; style-src-attr 'unsafe-inline'; img-src 'self' data:; "
    "media-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors {ancestors}"
)
#: Without any referrer a browser would not tell the origin of a form either, and the check for forgery needs it.
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), camera=(), microphone=()",
}
#: The one page that others may frame: it is made to lie over a video, and has nothing to press.
FRAMED = "/overlay"
#: Anybody's program may read the open data.
OPEN_TO_ALL = "/api/"


class SecurityHeaders:
    """Puts the headers on every answer, errors included."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and its answer with the headers."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        framed = scope["path"] == FRAMED
        open_to_all = scope["path"].startswith(OPEN_TO_ALL)

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["Content-Security-Policy"] = POLICY.format(ancestors="*" if framed else "'none'")
                if not framed:
                    headers["X-Frame-Options"] = "DENY"
                if open_to_all:
                    headers["Access-Control-Allow-Origin"] = "*"
                for name, value in HEADERS.items():
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-cache")
            await send(message)

        await self._app(scope, receive, with_headers)
