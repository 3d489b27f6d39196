"""The live page, its parts that change, and the overlay for a video."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, RedirectResponse, Response

from skyglint.report import wording
from skyglint.web import live_words
from skyglint.web.archive import NothingYet
from skyglint.web.context import Context, context_of
from skyglint.web.templates import render, render_text
from skyglint.web.tonight import Tonight, gather_tonight

router = APIRouter(include_in_schema=False)

#: The night so far is gathered at most this often, whatever the crowd.
FRESH_S = 2.0
#: How far from a mark's time its echo may begin.
NEAR_S = 0.5


def tonight(context: Context) -> Tonight:
    """Return the night so far, at most a few seconds old."""
    return context.cache.get("tonight", FRESH_S, lambda: gather_tonight(context))


@router.get("/")
def live(request: Request) -> HTMLResponse:
    """Show what is falling now."""
    context = context_of(request)
    night = tonight(context)
    return render(request, "live.html.jinja", night=night, live=live_words, section_caption=wording.section_caption)


@router.get("/live/tonight")
def changing_parts(request: Request) -> HTMLResponse:
    """Return the parts of the live page that change when an echo closes."""
    context = context_of(request)

    def make() -> str:
        return render_text(
            context,
            "tonight.html.jinja",
            night=tonight(context),
            live=live_words,
            section_caption=wording.section_caption,
        )

    return HTMLResponse(context.cache.get("tonight-text", FRESH_S, make))


@router.get("/live/echo")
def echo_at(
    request: Request,
    channel: Annotated[str, Query(max_length=80)],
    start_unix: Annotated[float, Query(ge=0, le=1e11)],
) -> Response:
    """Lead from a mark to the page of its echo."""
    context = context_of(request)
    if channel not in {known.name for known in context.site.channel}:
        raise HTTPException(404, "There is no such channel.")
    try:
        with context.archive.reading() as store:
            near = store.echoes(start_unix - NEAR_S, start_unix + NEAR_S)
    except NothingYet:
        near = []
    own = [entry for entry in near if entry.echo.channel == channel]
    if not own:
        raise HTTPException(404, "The echo is not in the database yet: try again in a few seconds.")
    closest = min(own, key=lambda entry: abs(entry.echo.start_unix - start_unix))
    return RedirectResponse(f"/echoes/{closest.id}", 303)


@router.get("/overlay")
def overlay(request: Request, channel: Annotated[str | None, Query(max_length=80)] = None) -> HTMLResponse:
    """Show the last echo, the count and one lane on a transparent ground, to lie over a video."""
    context = context_of(request)
    night = tonight(context)
    lane = next((lane for lane in night.lanes if channel in (None, lane.channel.name)), None)
    if lane is None:
        raise HTTPException(404, "There is no such channel.")
    return render(request, "overlay.html.jinja", night=night, lane=lane, live=live_words)
