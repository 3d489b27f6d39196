"""Rows on their way to the database: kept outside it until they are written all at once."""

from __future__ import annotations

import pickle
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from skyglint.errors import StoreError
from skyglint.store.records import Tag

#: Beyond this the rows wait in an unnamed file, which vanishes with the process.
_MEMORY_BYTES = 1_000_000

#: Table, channel and columns; for an echo, the columns of its picture and its tags too.
Row = tuple[str, str, dict[str, Any], dict[str, Any] | None, tuple[Tag, ...]]


@contextmanager
def open_spool(folder: Path | None) -> Iterator[Spool]:
    """Yield an empty spool, whose file is made in the folder (None for the system's own place for such files)."""
    place = tempfile.gettempdir() if folder is None else str(folder)
    with tempfile.SpooledTemporaryFile(max_size=_MEMORY_BYTES, dir=place) as file:
        yield Spool(file, place)


class Spool:
    """Rows in the order in which they came; memory stays flat however many there are."""

    def __init__(self, file: IO[bytes], place: str) -> None:
        self._file = file
        self._place = place

    def put(self, row: Row) -> None:
        """Add a row at the end.

        Raises
        ------
        StoreError
            If the disk is full.
        """
        try:
            self._file.seek(0, 2)
            pickle.dump(row, self._file)
        except OSError as error:
            raise StoreError(
                f"{self._place}: results cannot be kept until they are complete: {error.strerror}"
            ) from error

    def rows(self) -> Iterator[Row]:
        """Yield the rows from the first to the last."""
        self._file.seek(0)
        while True:
            try:
                row: Row = pickle.load(self._file)
            except EOFError:
                return
            yield row

    def clear(self) -> None:
        """Forget all rows."""
        self._file.seek(0)
        self._file.truncate()
