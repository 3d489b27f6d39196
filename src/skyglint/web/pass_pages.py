"""The page of satellite passes, today and on the next days."""

from __future__ import annotations

import math
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import HTMLResponse

import skyglint
from skyglint.plan.reflection import LARGE_SPACECRAFT_M2
from skyglint.report import passes_page
from skyglint.report.passes_page import PassesPage
from skyglint.web.context import Context, context_of
from skyglint.web.templates import render

router = APIRouter(include_in_schema=False)

DAY_S = 86_400.0
#: The next 24 hours, and the two times 24 after them.
MOST_DAYS = 3


@router.get("/passes")
def passes(request: Request, day: Annotated[int, Query(ge=0, lt=MOST_DAYS)] = 0) -> HTMLResponse:
    """Show the passes of 24 hours, with their ways over the sky and their Doppler curves."""
    context = context_of(request)
    page = gather_passes(context, day)
    return render(
        request, "passes_page.html.jinja", page=page, views=passes_page, day=day, version=skyglint.__version__
    )


def gather_passes(context: Context, day: int) -> PassesPage:
    """Return the passes of the 24 hours that begin ``day`` times 24 hours from now."""
    start = math.floor(context.now() / 60.0) * 60.0 + day * DAY_S
    found = context.overhead.passes(start, start + DAY_S)
    # One that began before the span stands on the page of the 24 hours before it, unless it is on now.
    own = tuple(one for one in found if day == 0 or one.when.start_unix >= start)
    return PassesPage(context.site, start, start + DAY_S, own, math.nan, LARGE_SPACECRAFT_M2)
