"""Changing requests: read within bounds, and refused unless the operator sent them from these pages."""

from __future__ import annotations

import asyncio
import hmac
from urllib.parse import parse_qsl, urlsplit

from starlette.exceptions import HTTPException
from starlette.requests import Request

from skyglint.web.context import session_of

MOST_BYTES = 8_192
MOST_FIELDS = 16
BODY_S = 10.0
FORM = "application/x-www-form-urlencoded"


async def read_form(request: Request) -> dict[str, str]:
    """Return the fields of a form.

    Raises
    ------
    HTTPException
        If it is no form, too large, or too slow to arrive.
    """
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != FORM:
        raise HTTPException(415, f"expected a form ({FORM})")
    body = bytearray()
    try:
        async with asyncio.timeout(BODY_S):
            async for part in request.stream():
                body += part
                if len(body) > MOST_BYTES:
                    raise HTTPException(413, f"the form is larger than {MOST_BYTES} bytes")
    except TimeoutError as error:
        raise HTTPException(408, "the form took too long to arrive") from error
    try:
        text = body.decode("ascii")
        return dict(parse_qsl(text, keep_blank_values=True, max_num_fields=MOST_FIELDS, errors="strict"))
    except ValueError as error:
        raise HTTPException(400, "the form cannot be read") from error


def require_same_origin(request: Request) -> None:
    """Refuse a request that another site's page sent.

    Browsers state it in ``Sec-Fetch-Site`` (W3C Fetch Metadata) and ``Origin`` (RFC 6454).

    Raises
    ------
    HTTPException
        If either says so.
    """
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        raise HTTPException(403, "the request came from another site")
    origin = request.headers.get("origin")
    if origin is not None and urlsplit(origin).netloc != request.headers.get("host"):
        raise HTTPException(403, "the request came from another site")


async def operator_form(request: Request) -> dict[str, str]:
    """Return the fields of a form that the signed-in operator sent; a dependency of every route that changes anything.

    Raises
    ------
    HTTPException
        If nobody is signed in, or the form does not carry the session's word.
    """
    require_same_origin(request)
    session = session_of(request)
    if session is None:
        raise HTTPException(401, "only the operator may change anything: sign in first")
    fields = await read_form(request)
    if not hmac.compare_digest(fields.get("csrf", "").encode(), session.csrf.encode()):
        raise HTTPException(403, "the form is not from this session: load the page again")
    return fields
