"""Notices to a webhook: strong echoes, a silent receiver, a changed level, a full disk; at most so many an hour.

Sending happens in a thread of its own with a bounded queue. A notice that cannot be sent is logged and dropped: nothing
here may ever hold up the engine.
"""

from __future__ import annotations

import json
import logging
import queue
import threading
import urllib.error
import urllib.request
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from skyglint.utc import format_utc

Occasion = Literal["strong-echo", "receiver-silent", "level-changed", "disk-full", "too-slow"]

log = logging.getLogger(__name__)

DEFAULT_TEMPLATE = '{"site": "{site}", "time": "{time}", "occasion": "{occasion}", "text": "{text}"}'
TIMEOUT_S = 10.0


@dataclass(frozen=True, slots=True)
class Notice:
    """Something that a person should hear of now."""

    unix: float
    occasion: Occasion
    text: str


def body_of(notice: Notice, site_name: str, template: str = DEFAULT_TEMPLATE) -> bytes:
    """Return the JSON to send: the template with its placeholders filled, each as the inside of a JSON string."""
    values = {
        "site": site_name,
        "time": format_utc(notice.unix),
        "occasion": notice.occasion,
        "text": notice.text,
    }
    for name, value in values.items():
        template = template.replace("{" + name + "}", json.dumps(value, ensure_ascii=False)[1:-1])
    return template.encode()


def post(url: str, body: bytes) -> None:
    """Send one notice.

    Raises
    ------
    OSError
        If it does not arrive.
    """
    request = urllib.request.Request(url, data=body, headers={"Content-Type": "application/json"}, method="POST")
    with urllib.request.urlopen(request, timeout=TIMEOUT_S) as answer:
        answer.read(1024)


class Notifier:
    """Sends notices, limited in rate; the same occasion at most once in ten minutes, strong echoes excepted."""

    QUIET_S = 600.0

    def __init__(
        self, send: Callable[[bytes], None], site_name: str, template: str | None = None, most_per_hour: int = 12
    ) -> None:
        self._send = send
        self._site_name = site_name
        self._template = template or DEFAULT_TEMPLATE
        self._most_per_hour = most_per_hour
        self._sent: deque[float] = deque()
        self._last: dict[str, float] = {}
        self._queue: queue.Queue[Notice | None] = queue.Queue(maxsize=64)
        self._thread = threading.Thread(target=self._work, name="notices", daemon=True)
        self._thread.start()

    def tell(self, notice: Notice) -> bool:
        """Queue a notice unless there have been too many; return whether it will be sent."""
        while self._sent and notice.unix - self._sent[0] > 3600.0:
            self._sent.popleft()
        repeated = notice.unix - self._last.get(notice.occasion, float("-inf")) < self.QUIET_S
        if len(self._sent) >= self._most_per_hour or (repeated and notice.occasion != "strong-echo"):
            return False
        try:
            self._queue.put_nowait(notice)
        except queue.Full:
            return False
        self._sent.append(notice.unix)
        self._last[notice.occasion] = notice.unix
        return True

    def close(self, timeout_s: float = 2.0) -> None:
        """Send what is queued, as far as the time allows."""
        self._queue.put(None)
        self._thread.join(timeout_s)

    def _work(self) -> None:
        while (notice := self._queue.get()) is not None:
            try:
                self._send(body_of(notice, self._site_name, self._template))
            except (OSError, ValueError, urllib.error.URLError) as error:
                log.warning("notice not sent: %s", error)
