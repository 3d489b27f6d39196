"""The page of an echo, its sound and its samples."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Request
from fastapi import Path as InPath
from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, HTMLResponse, Response

from skyglint.web import echo_view, live_words, places
from skyglint.web.context import Context, context_of
from skyglint.web.echo_view import EchoPage, gather_echo
from skyglint.web.sound import read_samples, sound_of
from skyglint.web.templates import render

router = APIRouter(include_in_schema=False)

EchoId = Annotated[int, InPath(ge=1, le=2**53, description="number of the echo")]

#: A sound is made again after this.
SOUND_S = 600.0


def page_of(context: Context, echo_id: int) -> EchoPage:
    """Return the record of an echo.

    Raises
    ------
    HTTPException
        If there is none of this number.
    """
    with context.archive.reading() as store:
        page = gather_echo(context, store, echo_id)
    if page is None:
        raise HTTPException(404, f"There is no echo {echo_id}.")
    return page


@router.get("/echoes/{echo_id}")
def echo(request: Request, echo_id: EchoId) -> HTMLResponse:
    """Show one echo."""
    page = page_of(context_of(request), echo_id)
    return render(request, "echo.html.jinja", page=page, view=echo_view, live=live_words, maps=places)


@router.get("/echoes/{echo_id}/sound.wav")
def sound(request: Request, echo_id: EchoId) -> Response:
    """Return what the echo sounded like, made from the kept samples."""
    context = context_of(request)
    page = page_of(context, echo_id)
    if page.snippet is None:
        raise HTTPException(404, "No samples were kept of this echo.")
    snippet = page.snippet
    content = context.cache.get(("sound", echo_id), SOUND_S, lambda: sound_of(page.channel, *read_samples(snippet)))
    return Response(content, media_type="audio/wav", headers={"Cache-Control": "max-age=600"})


@router.get("/echoes/{echo_id}/snippet.sigmf-{part}")
def snippet(request: Request, echo_id: EchoId, part: str) -> Response:
    """Return one of the two files of the kept samples; which file follows from the echo, never from the address."""
    page = page_of(context_of(request), echo_id)
    types = {"meta": "application/json", "data": "application/octet-stream"}
    if page.snippet is None or part not in types:
        raise HTTPException(404, "No such samples were kept of this echo.")
    path = page.snippet.with_suffix(f".sigmf-{part}")
    if not path.is_file():
        raise HTTPException(404, "The samples of this echo have just made room for newer ones.")
    return FileResponse(path, media_type=types[part], filename=path.name)
