"""The database as the pages see it: it may not exist yet, may be replaced under way, and is only ever read."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from skyglint.errors import RequestError
from skyglint.store import Store, Verdict

#: How long a verdict waits for the engine to finish writing.
PATIENCE_S = 8.0


class NothingYet(RequestError):
    """There is no database yet, or nothing of this site in it."""


class Archive:
    """Gives a store to read from, opened once and again when the file was replaced.

    Parameters
    ----------
    path
        The database's file.
    site_name
        Whose results are shown.
    """

    def __init__(self, path: Path, site_name: str) -> None:
        self._path = path
        self._site_name = site_name
        self._lock = threading.Lock()
        self._store: Store | None = None
        self._inode = -1

    @property
    def path(self) -> Path:
        """The database's file."""
        return self._path

    @contextmanager
    def reading(self) -> Iterator[Store]:
        """Give the store.

        Raises
        ------
        NothingYet
            If there is nothing to read yet.
        StoreError
            If it cannot be read.
        """
        yield self._opened()

    def give_verdict(self, echo_id: int, verdict: Verdict | None) -> None:
        """Put the operator's verdict beside an echo, or take it back with None."""
        with Store.open(self._path, "write", self._site_name, PATIENCE_S) as store:
            store.give_verdict(echo_id, verdict)

    def close(self) -> None:
        """Close the store."""
        with self._lock:
            if self._store is not None:
                self._store.close()
            self._store = None

    def _opened(self) -> Store:
        with self._lock:
            try:
                inode = self._path.stat().st_ino
            except OSError as error:
                raise NothingYet("nothing has been recorded yet: the engine makes the database") from error
            if self._store is not None and inode == self._inode:
                return self._store
            if self._store is not None:
                self._store.close()
                self._store = None
            try:
                store = Store.open(self._path, "read", self._site_name)
            except RequestError as error:
                raise NothingYet("nothing of this site has been recorded yet") from error
            self._store, self._inode = store, inode
            return store
