"""Errors as a person or a program meets them: one page, one JSON shape."""

from __future__ import annotations

import logging
import traceback
from http import HTTPStatus

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from skyglint.errors import RequestError, SkyglintError
from skyglint.web.archive import NothingYet
from skyglint.web.templates import render

log = logging.getLogger(__name__)


#: What the page of a problem is called, by status.
TITLES = {
    400: "not understood",
    401: "signed out",
    403: "refused",
    404: "not found",
    405: "not possible",
    413: "too much at once",
    415: "not understood",
    422: "not understood",
    429: "too often",
    500: "an error",
    503: "out of order",
}
DETAILS = {
    404: "there is nothing at this address",
    405: "this address takes no such request",
}


class Problem(BaseModel):
    """What was wrong."""

    status: int = Field(description="the HTTP status")
    message: str = Field(description="what was found and what was expected")
    where: list[str] = Field(default=[], description="names of the parameters at fault")


class ProblemAnswer(BaseModel):
    """The shape of every error of the interface."""

    error: Problem


def answer(request: Request, status: int, message: str, where: tuple[str, ...] = ()) -> Response:
    """Return an error as the interface's JSON, or as a page."""
    if request.url.path.startswith("/api/"):
        body = ProblemAnswer(error=Problem(status=status, message=message, where=list(where)))
        return JSONResponse(body.model_dump(), status)
    title = TITLES.get(status, "not possible")
    message = message if message.endswith(".") else f"{message}."
    return render(request, "problem.html.jinja", status=status, title=title, message=message)


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # registered for it alone
    detail = str(error.detail)
    # The framework's own details are no sentences.
    told = DETAILS.get(error.status_code, detail) if detail == HTTPStatus(error.status_code).phrase else detail
    made = answer(request, error.status_code, told)
    made.headers.update(error.headers or {})
    return made


def _validation(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # registered for it alone
    faults = error.errors()
    where = tuple(str(fault["loc"][-1]) for fault in faults)
    message = "; ".join(f"{name}: {fault['msg']}" for name, fault in zip(where, faults, strict=True))
    return answer(request, 422, message, where)


def _known(request: Request, error: Exception) -> Response:
    if isinstance(error, NothingYet):
        return answer(request, 404, f"{error}.")
    if isinstance(error, RequestError):
        return answer(request, 404, "not found")
    log.warning("%s %s: %s", request.method, request.url.path, error)
    return answer(request, 503, "The database cannot be read at the moment; the log of the pages says why.")


def _unforeseen(request: Request, error: Exception) -> Response:
    log.error("%s %s failed:\n%s", request.method, request.url.path, "".join(traceback.format_exception(error)))
    return answer(request, 500, "Something went wrong; the log of the pages says what.")


def explain_errors(app: FastAPI) -> None:
    """Give an application its error answers."""
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _validation)
    app.add_exception_handler(SkyglintError, _known)
    app.add_exception_handler(Exception, _unforeseen)
