"""The application: routes, errors, headers, and what runs beside them."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from anyio import to_thread
from fastapi import FastAPI

from skyglint import __version__
from skyglint.errors import SkyglintError
from skyglint.web import (
    api,
    data_pages,
    echo_pages,
    live_api,
    live_pages,
    machines,
    night_pages,
    operator_pages,
    pass_pages,
    review_pages,
)
from skyglint.web.context import Context
from skyglint.web.feed import hear
from skyglint.web.problems import explain_errors
from skyglint.web.recent import SPAN_S
from skyglint.web.security import SecurityHeaders

#: Pages that are made at a time: more would only slow each other and the live stream.
THREADS = 6

DESCRIPTION = (
    "Read-only data of one radio-meteor station: echoes, rates, coverage and live events. Times are ISO 8601 UTC with "
    "a Z; null means not measured. A count is not a flux: rates are per hour really watched and corrected for dead "
    "time, and not for the antenna, the path or the receiver."
)


def make_app(context: Context, feed_port: int | None = None) -> FastAPI:
    """Return the pages of a site.

    Parameters
    ----------
    feed_port
        Where to hear the engine; None to hear nothing.
    """

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        to_thread.current_default_thread_limiter().total_tokens = THREADS
        await to_thread.run_sync(_remember, context)
        feed = await hear(context.hub, feed_port) if feed_port is not None else None
        alive = asyncio.create_task(context.hub.keep_alive())
        stop = threading.Event()
        if context.overhead.watches:
            threading.Thread(target=context.overhead.keep_ready, args=(stop, context.now), daemon=True).start()
        try:
            yield
        finally:
            stop.set()
            alive.cancel()
            if feed is not None:
                feed.close()
            context.hub.close()
            context.archive.close()

    app = FastAPI(
        title=f"{context.site.site.name}: open data",
        description=DESCRIPTION,
        version=__version__,
        openapi_url="/api/v1/openapi.json",
        docs_url=None,
        redoc_url=None,
        lifespan=life,
        redirect_slashes=False,
    )
    app.state.context = context
    pages = (live_pages, echo_pages, night_pages, pass_pages, review_pages, operator_pages, data_pages, machines)
    for module in pages:
        app.include_router(module.router)
    for module in (api, live_api):
        app.include_router(module.router, responses=api.PROBLEMS)
    explain_errors(app)
    app.add_middleware(SecurityHeaders)
    return app


def _remember(context: Context) -> None:
    """Fill the lanes with what the database has of the last minutes, after a start."""
    now = context.clock()
    context.recent.move_to(now)
    try:
        with context.archive.reading() as store:
            strips = store.strips(now - SPAN_S, now)
    except SkyglintError:
        return
    for strip in strips:
        context.recent.fill(strip.channel, strip.start_unix, strip.step_s, strip.power_db)
