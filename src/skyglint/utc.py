"""Time at the edges: ISO 8601 UTC text and ``datetime`` to and from POSIX seconds.

Inside, all times are POSIX seconds as float64, named ``*_unix``; a double resolves 0.24 microseconds today, and sample
offsets carry anything finer. POSIX time does not count leap seconds: 23:59:60 is the same number as 00:00:00 after it.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime

_LEAP_SECOND = re.compile(r"^(?P<minute>.*T\d{2}:?\d{2}:?)60(?P<rest>.*)$")


def parse_utc(text: str) -> float:
    """Return the POSIX seconds of an ISO 8601 time, which must state its offset (``Z`` or ``+hh:mm``).

    A leap second (``23:59:60``) is taken as the first second of the next minute, as POSIX time has it. Digits beyond
    the microsecond are kept.

    Raises
    ------
    ValueError
        If the text is not such a time or states no offset.

    Examples
    --------
    >>> parse_utc("2026-08-13T02:00:00Z")
    1786586400.0
    >>> parse_utc("2016-12-31T23:59:60Z") == parse_utc("2017-01-01T00:00:00Z")
    True
    """
    expected = f"{text!r} is not a UTC time like 2026-08-13T02:00:00Z"
    body, leap = text.strip(), 0.0
    if found := _LEAP_SECOND.match(body):
        body, leap = f"{found['minute']}59{found['rest']}", 1.0
    fraction = 0.0
    if found := re.match(r"^(.*:\d{2})[.,](\d+)(.*)$", body):
        body, fraction = found[1] + found[3], float("0." + found[2])
    try:
        moment = datetime.fromisoformat(body)
    except ValueError as error:
        raise ValueError(expected) from error
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} states no offset from UTC: end it with Z, like 2026-08-13T02:00:00Z")
    return moment.timestamp() + leap + fraction


def format_utc(unix: float, decimals: int = 3) -> str:
    """Return POSIX seconds as ISO 8601 UTC with the given decimals and a ``Z``; NaN gives an empty string.

    Examples
    --------
    >>> format_utc(1786586400.0449)
    '2026-08-13T02:00:00.045Z'
    >>> format_utc(1786586399.9996, decimals=0)
    '2026-08-13T02:00:00Z'
    >>> format_utc(float("nan"))
    ''
    """
    if math.isnan(unix):
        return ""
    scale = 10**decimals
    ticks = round(unix * scale)
    seconds, part = divmod(ticks, scale)
    text = datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%S")
    return f"{text}.{part:0{decimals}d}Z" if decimals else f"{text}Z"


def to_datetime(unix: float) -> datetime:
    """Return POSIX seconds as a timezone-aware ``datetime`` in UTC."""
    return datetime.fromtimestamp(unix, UTC)
