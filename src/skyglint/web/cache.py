"""Answers kept for a few seconds, so that a crowd costs no more than one viewer."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, TypeVar

Answer = TypeVar("Answer")


class Cache:
    """Keeps the latest answers; each is made by one thread while others that want it wait.

    Parameters
    ----------
    most
        How many answers are kept.
    monotonic
        A clock that is never set, in seconds.
    """

    def __init__(self, most: int = 64, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._most = most
        self._monotonic = monotonic
        self._kept: OrderedDict[Hashable, tuple[float, Any]] = OrderedDict()
        self._making: dict[Hashable, threading.Lock] = {}
        self._lock = threading.Lock()

    def get(self, key: Hashable, seconds: float, make: Callable[[], Answer]) -> Answer:
        """Return the answer to a key, made anew when the kept one is older than ``seconds``."""
        with self._lock:
            making = self._making.setdefault(key, threading.Lock())
        try:
            with making:
                kept = self._kept.get(key)
                if kept is not None and self._monotonic() - kept[0] < seconds:
                    answer: Answer = kept[1]
                    return answer
                made = make()
                with self._lock:
                    self._kept[key] = self._monotonic(), made
                    self._kept.move_to_end(key)
                    while len(self._kept) > self._most:
                        self._kept.popitem(last=False)
                return made
        finally:
            with self._lock:
                if not making.locked():
                    self._making.pop(key, None)

    def clear(self) -> None:
        """Forget everything, after something was changed."""
        with self._lock:
            self._kept.clear()
