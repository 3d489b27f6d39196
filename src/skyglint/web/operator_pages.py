"""Signing in and out as the operator."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, RedirectResponse, Response

from skyglint.web.context import SESSION_COOKIE, context_of
from skyglint.web.forms import operator_form, read_form, require_same_origin
from skyglint.web.operator import SESSION_S
from skyglint.web.templates import render

router = APIRouter(prefix="/operator", include_in_schema=False)

Form = Annotated[dict[str, str], Depends(operator_form)]


@router.get("")
def sign_in_page(request: Request) -> HTMLResponse:
    """Show the form to sign in, or out."""
    return render(request, "operator.html.jinja", wrong=False)


@router.post("/sign-in")
async def sign_in(request: Request) -> Response:
    """Begin a session for whoever knows the token."""
    require_same_origin(request)
    context = context_of(request)
    fields = await read_form(request)
    address = request.client.host if request.client else ""
    if not context.attempts.allow(address):
        raise HTTPException(429, "too many attempts: wait a minute", {"Retry-After": "60"})
    if not await run_in_threadpool(context.token.accepts, fields.get("token", "").strip()):
        return render(request, "operator.html.jinja", 403, wrong=True)
    answer = RedirectResponse("/review", 303)
    answer.set_cookie(
        SESSION_COOKIE,
        context.sessions.begin(),
        max_age=round(SESSION_S),
        httponly=True,
        samesite="strict",
        secure="https" in (request.url.scheme, request.headers.get("x-forwarded-proto")),
    )
    return answer


@router.post("/sign-out")
async def sign_out(request: Request, form: Form) -> RedirectResponse:
    """End the session."""
    context_of(request).sessions.end(request.cookies.get(SESSION_COOKIE))
    answer = RedirectResponse("/operator", 303)
    answer.delete_cookie(SESSION_COOKIE, httponly=True, samesite="strict")
    return answer
