"""The time without samples between two openings of the receiver, or two lives of the engine."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from pathlib import Path

from skyglint.errors import RequestError, StoreError
from skyglint.site import Channel
from skyglint.store.records import CoverageSpan
from skyglint.store.store import Store
from skyglint.utc import format_utc

log = logging.getLogger(__name__)

#: A longer absence was a decision; the calendar shows it as nights without a recording.
LONGEST_S = 86_400.0
#: A clock may differ by this much from what is stored, without having been set.
CLOCK_S = 5.0


class Outage:
    """Remembers since when nothing was heard, and why, until samples come again."""

    def __init__(self) -> None:
        self._since_unix: float | None = None
        self._reason = ""

    def begin(self, unix: float, reason: str) -> bool:
        """Note that there are no samples; return whether that is news."""
        if self._since_unix is not None:
            return False
        self._since_unix, self._reason = unix, reason
        return True

    def lasts_s(self, unix: float) -> float:
        """Return for how long nothing was heard."""
        return 0.0 if self._since_unix is None else unix - self._since_unix

    def end(self, unix: float, channels: Sequence[Channel]) -> tuple[CoverageSpan, ...]:
        """Return the coverage of the outage that samples end; empty where there was none."""
        since, self._since_unix = self._since_unix, None
        if since is None or not unix > since:
            return ()
        return tuple(CoverageSpan(channel.name, since, unix, "lost", self._reason) for channel in channels)

    def account_for_absence(
        self, database: Path, site_name: str, now_unix: float, is_open: Callable[[float], bool]
    ) -> None:
        """Begin with an earlier engine's last word, where the station should have been watching."""
        if not database.exists():
            return
        try:
            with Store.open(database, site_name=site_name) as store:
                span = store.span()
        except RequestError:
            # Nothing of this site is in it yet.
            return
        except StoreError as error:
            log.warning("coverage before the start is not known: %s", error)
            return
        if span is not None and span[1] - now_unix > CLOCK_S:
            log.warning(
                "the database knows times until %s, which the computer's clock says is yet to come: was it set back? "
                "What is watched until then stands beside what was watched before",
                format_utc(span[1], 0),
            )
        if span is not None and 0 < now_unix - span[1] < LONGEST_S and is_open(span[1]):
            self.begin(span[1], "the engine was not running")
