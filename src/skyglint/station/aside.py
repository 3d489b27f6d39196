"""Work on closed echoes in a thread of its own, so that neither the samples nor the live readings wait for it."""

from __future__ import annotations

import logging
import math
import threading
from collections.abc import Callable
from dataclasses import dataclass

from skyglint.echoes.echo import Echo

log = logging.getLogger(__name__)


@dataclass(slots=True)
class _Waiting:
    echo: Echo
    since_s: float


class Aside:
    """Does one thing with each echo, the strongest first; an echo that has waited too long goes on without it.

    So does one for which the work fails: the log says why, and neither the echo nor the night is lost for it.

    Parameters
    ----------
    work
        What to do: takes an echo and returns it with what it adds.
    name
        Of the thread.
    monotonic
        A clock that is never set.
    patience_s
        How long an echo may wait for its turn.
    """

    def __init__(
        self, work: Callable[[Echo], Echo], name: str, monotonic: Callable[[], float], patience_s: float
    ) -> None:
        self._work, self._monotonic, self._patience_s = work, monotonic, patience_s
        self._waiting: list[_Waiting] = []
        self._done: list[Echo] = []
        self._working = False
        self._closing = False
        self._changed = threading.Condition()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    def give(self, echo: Echo) -> None:
        """Hand an echo over."""
        with self._changed:
            self._waiting.append(_Waiting(echo, self._monotonic()))
            self._changed.notify_all()

    def take(self) -> list[Echo]:
        """Return the echoes that are done with, and those that have waited too long; never waits."""
        with self._changed:
            now = self._monotonic()
            late = [item for item in self._waiting if now - item.since_s > self._patience_s]
            self._waiting = [item for item in self._waiting if now - item.since_s <= self._patience_s]
            done, self._done = self._done, []
            return [*done, *(item.echo for item in late)]

    def close(self, timeout_s: float) -> list[Echo]:
        """End the thread when all is done or the time is up, and return the rest; what was not reached goes undone."""
        with self._changed:
            self._changed.wait_for(lambda: not (self._waiting or self._working), timeout_s)
            self._closing, self._patience_s = True, -math.inf
            self._changed.notify_all()
            # What the thread still works on when the time is up would be lost with it.
            self._changed.wait_for(lambda: not self._working, timeout_s)
        return self.take()

    def _run(self) -> None:
        while (echo := self._next()) is not None:
            try:
                result = self._work(echo)
            except Exception:
                log.exception("%s failed for the echo on %s at %.3f", self._thread.name, echo.channel, echo.start_unix)
                result = echo
            with self._changed:
                self._done.append(result)
                self._working = False
                self._changed.notify_all()

    def _next(self) -> Echo | None:
        with self._changed:
            self._changed.wait_for(lambda: self._waiting or self._closing)
            if self._closing:
                return None
            strongest = max(self._waiting, key=lambda item: _strength(item.echo))
            self._waiting.remove(strongest)
            self._working = True
            return strongest.echo


def _strength(echo: Echo) -> float:
    return -math.inf if math.isnan(echo.peak_snr_db) else echo.peak_snr_db
