"""Templates: the report's environment with the templates of the pages before it."""

from __future__ import annotations

from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader
from starlette.requests import Request
from starlette.responses import HTMLResponse

from skyglint.report.page import environment
from skyglint.web.context import Context, context_of, session_of
from skyglint.web.files import addresses

#: What the navigation leads to.
NAVIGATION = (("Live", "/"), ("Nights", "/nights"), ("Review", "/review"), ("Open data", "/data"))


def navigation(context: Context) -> tuple[tuple[str, str], ...]:
    """Return the names and addresses of the pages; that of the passes only where satellites are looked out for."""
    passes = (("Passes", "/passes"),) if context.overhead.watches else ()
    return (*NAVIGATION[:2], *passes, *NAVIGATION[2:])


@cache
def _environment() -> Environment:
    return environment(PackageLoader("skyglint.web"))


def render_text(context: Context, template: str, **values: Any) -> str:
    """Return a template as text, for a part of a page that looks the same to everyone."""
    return _environment().get_template(template).render(site=context.site, context=context, **values)


def render(request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:
    """Return a page; everything from outside is escaped on its way in."""
    context = context_of(request)
    text = (
        _environment()
        .get_template(template)
        .render(
            site=context.site,
            context=context,
            path=request.url.path,
            session=session_of(request),
            navigation=navigation(context),
            files=addresses(),
            status=status,
            **values,
        )
    )
    return HTMLResponse(text, status)
