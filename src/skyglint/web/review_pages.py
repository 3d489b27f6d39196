"""Reviewing doubtful echoes: everyone may look, the operator decides."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, RedirectResponse

from skyglint.echoes.echo import CLASSES, EchoClass
from skyglint.errors import RequestError
from skyglint.store import Verdict
from skyglint.web import echo_view, live_words, review
from skyglint.web.context import Context, context_of
from skyglint.web.echo_pages import EchoId, page_of
from skyglint.web.forms import operator_form
from skyglint.web.templates import render

router = APIRouter(prefix="/review", include_in_schema=False)

MOST_REMARK = 500
Form = Annotated[dict[str, str], Depends(operator_form)]


@router.get("")
def doubtful(
    request: Request,
    echo: Annotated[int | None, Query(ge=1, le=2**53)] = None,
    after: Annotated[int | None, Query(ge=1, le=2**53)] = None,
) -> HTMLResponse:
    """Show one echo to judge: a given one, or the next doubtful one."""
    context = context_of(request)
    standing = review.gather_review(context)
    number = echo if echo is not None else _next(standing.doubtful, after)
    page = page_of(context, number) if number is not None else None
    following = _next(standing.doubtful, number) if number is not None else None
    return render(
        request,
        "review.html.jinja",
        page=page,
        standing=standing,
        following=following if following != number else None,
        keys=review.KEYS,
        view=echo_view,
        live=live_words,
    )


def _next(waiting: tuple[int, ...], after: int | None) -> int | None:
    """Return the number that follows in the queue, from its start again after its end."""
    if not waiting:
        return None
    if after is None:
        return waiting[0]
    return next((number for number in waiting if number > after), waiting[0])


@router.post("/{echo_id}")
async def judge(request: Request, echo_id: EchoId, form: Form) -> RedirectResponse:
    """Store the operator's verdict on an echo, and lead to the next."""
    context = context_of(request)
    found: list[EchoClass] = [name for name in CLASSES if name == form.get("class")]
    if not found:
        raise HTTPException(422, "class: expected one of " + ", ".join(CLASSES))
    remark = form.get("remark", "").strip()[:MOST_REMARK]
    verdict = Verdict(found[0], "operator", remark, context.clock())
    await run_in_threadpool(_give, context, echo_id, verdict)
    return RedirectResponse(f"/review?after={echo_id}", 303)


@router.post("/{echo_id}/take-back")
async def take_back(request: Request, echo_id: EchoId, form: Form) -> RedirectResponse:
    """Take the operator's verdict on an echo back."""
    await run_in_threadpool(_give, context_of(request), echo_id, None)
    return RedirectResponse(f"/review?echo={echo_id}", 303)


def _give(context: Context, echo_id: int, verdict: Verdict | None) -> None:
    try:
        context.archive.give_verdict(echo_id, verdict)
    except RequestError as error:
        raise HTTPException(404, f"There is no echo {echo_id}.") from error
    context.cache.clear()
