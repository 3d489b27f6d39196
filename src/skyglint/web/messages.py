"""Messages of the live feed as server-sent events, encoded once for all viewers.

The format is that of the HTML Standard, section "Server-sent events": lines ``event:`` and ``data:``, and a blank line
after each event.
"""

from __future__ import annotations

import base64
import json
import math
from typing import Any

from skyglint.station.live import LiveEcho, LiveMessage
from skyglint.utc import format_utc
from skyglint.web.spectra import as_bytes

#: Sent to a new viewer first: how long to wait before connecting again.
HELLO = b"retry: 2000\n\n"
#: A comment, sent when nothing else is.
STILL_HERE = b": still here\n\n"


def event(name: str, data: dict[str, Any]) -> bytes:
    """Return one event; the data is JSON on one line."""
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return f"event: {name}\ndata: {text}\n\n".encode()


def reading(message: LiveMessage) -> bytes:
    """Return the event of a tenth of a second: every lane's power over its floor, null where not watched."""
    levels = {name: None if math.isnan(level) else round(level, 1) for name, level in message.power_db.items()}
    end = round(message.end_unix, 3)
    return event("reading", {"end_unix": end, "step_s": round(message.step_s, 3), "power_db": levels})


def station(message: LiveMessage) -> bytes:
    """Return the event of a change of the station's state."""
    return event("station", {"state": message.state, "sentence": message.sentence})


def echo_record(echo: LiveEcho) -> dict[str, Any]:
    """Return an echo that has just closed as JSON has it."""
    return {
        "channel": echo.channel,
        "start_utc": format_utc(echo.start_unix),
        "start_unix": round(echo.start_unix, 3),
        "duration_s": round(echo.duration_s, 3),
        "peak_snr_db": None if math.isnan(echo.peak_snr_db) else round(echo.peak_snr_db, 1),
        "class": echo.echo_class,
    }


def spectrum(message: LiveMessage, channel: str) -> bytes:
    """Return the event of a channel's spectrum: bytes in base 64, steps of 0.25 dB from 0 dB, lowest frequency first.

    Empty where the message holds none.
    """
    levels = message.spectra_db.get(channel)
    if levels is None or not len(levels):
        return b""
    text = base64.b64encode(as_bytes(levels).tobytes()).decode("ascii")
    return event("spectrum", {"end_unix": round(message.end_unix, 3), "channel": channel, "levels": text})
