"""The page about the open data, made from the interface's own description."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, Response

from skyglint.web.files import known_files
from skyglint.web.templates import render

router = APIRouter(include_in_schema=False)


@router.get("/data")
def data(request: Request) -> HTMLResponse:
    """Show what can be asked for, and how."""
    described: dict[str, Any] = request.app.openapi()
    routes = [(path, methods["get"]) for path, methods in described["paths"].items() if "get" in methods]
    return render(request, "data.html.jinja", routes=routes)


@router.get("/static/{name}")
def static(name: str) -> Response:
    """Return one of the few files that pages load; the name changes with the content, so it may be kept for ever."""
    file = known_files().get(name)
    if file is None:
        raise HTTPException(404, "There is no such file.")
    return Response(
        file.content, media_type=file.media_type, headers={"Cache-Control": "public, max-age=31536000, immutable"}
    )
