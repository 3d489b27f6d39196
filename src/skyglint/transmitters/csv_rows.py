"""Rows of a CSV file by the names in its header, whatever their order, case and blanks."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from skyglint.errors import RequestError


def plain(name: str) -> str:
    """Return a column's name without blanks, case and punctuation, so that small changes of a list do no harm.

    Examples
    --------
    >>> plain("In-Use ERP/VP"), plain("Frequency (MHz)")
    ('inuseerpvp', 'frequencymhz')
    """
    return re.sub(r"[^a-z0-9]", "", name.lower())


def rows(
    lines: Iterable[str], source: str, needed: Mapping[str, str], rename: Callable[[str], str] = plain
) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield line number and fields by renamed column; the header is the first row that has all needed columns.

    Parameters
    ----------
    needed
        Columns without which the file is of another kind, with the names to show in the message.

    Raises
    ------
    RequestError
        If no row among the first 50 is such a header.
    """
    reader = csv.reader(lines)
    header: list[str] | None = None
    best: set[str] = set()
    for fields in _records(reader, source):
        if header is None:
            names = [rename(name) for name in fields]
            found = set(names) & set(needed)
            if len(found) == len(needed):
                header = names
            elif reader.line_num > 50:
                break
            best = max(best, found, key=len)
        elif any(value.strip() for value in fields):
            yield reader.line_num, dict(zip(header, fields, strict=False))
    if header is None:
        missing = ", ".join(shown for name, shown in needed.items() if name not in best)
        raise RequestError(f"{source}: no header line with the columns {missing}")


def _records(reader: Any, source: str) -> Iterator[list[str]]:
    try:
        yield from reader
    except csv.Error as error:
        raise RequestError(f"{source}: line {reader.line_num}: not CSV: {error}") from error
