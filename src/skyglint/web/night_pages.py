"""The calendar, any past night, and its channels compared."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse

from skyglint.report.gather import gather_night
from skyglint.report.night import NightPage
from skyglint.report.page import FIRST_ROWS
from skyglint.web import calendar as months
from skyglint.web.comparison import Comparison, compare
from skyglint.web.context import Context, context_of
from skyglint.web.templates import render

router = APIRouter(prefix="/nights", include_in_schema=False)

MONTH = r"^(19|20|21)\d\d-(0[1-9]|1[0-2])$"
#: A night is gathered anew after this; the present one may still grow.
FRESH_S = 20.0


def night(context: Context, evening: date) -> NightPage:
    """Return the record of a night.

    Raises
    ------
    HTTPException
        If nothing is known of it.
    """
    if evening not in months.known_nights(context):
        raise HTTPException(404, f"Nothing is known of the night of {evening}.")

    def make() -> NightPage:
        with context.archive.reading() as store:
            return gather_night(store, evening)

    return context.cache.get(("night", evening), FRESH_S, make)


@router.get("")
def calendar(request: Request, month: Annotated[str, Query(pattern=MONTH)] = "") -> HTMLResponse:
    """Show a month of nights."""
    found = months.gather_month(context_of(request), month)
    return render(request, "nights.html.jinja", month=found)


@router.get("/{evening}")
def one_night(request: Request, evening: date) -> HTMLResponse:
    """Show a night."""
    context = context_of(request)
    page = night(context, evening)
    before, after = months.neighbours(context, evening)
    return render(
        request,
        "night_page.html.jinja",
        page=page,
        first_rows=FIRST_ROWS,
        echo_pages="/echoes/",
        before=before,
        after=after,
    )


@router.get("/{evening}/channels")
def channels(request: Request, evening: date) -> HTMLResponse:
    """Show the channels of a night beside each other."""
    context = context_of(request)
    page = night(context, evening)

    def make() -> Comparison:
        with context.archive.reading() as store:
            return compare(store, page)

    comparison = context.cache.get(("channels", evening), FRESH_S, make)
    return render(request, "channels.html.jinja", page=page, comparison=comparison)
