"""Tables into files of open formats: CSV, ECSV, Parquet and JSON lines all hold the same cells."""

from __future__ import annotations

import csv
import itertools
import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any, Literal, get_args

from skyglint.errors import RequestError, SkyglintError
from skyglint.report.tables import Cell, Column, Table, as_text

Format = Literal["csv", "ecsv", "parquet", "jsonl"]
FORMATS: tuple[Format, ...] = get_args(Format)

#: Rows that a Parquet file gets at a time.
_BATCH_ROWS = 20_000


def write_table(table: Table, to: Path | None, file_format: Format, overwrite: bool = False) -> int:
    """Write a table to a file, or to standard output where there is none; return the number of rows.

    The file appears when it is complete.

    Raises
    ------
    RequestError
        If the file is there already, its folder is missing, or Parquet is to go to standard output.
    SkyglintError
        If the file cannot be written.
    """
    write = _WRITERS[file_format]
    counter = itertools.count()
    counted = Table(table.columns, _counting(table.rows, counter), table.provenance)
    if to is None:
        if file_format == "parquet":
            raise RequestError("a Parquet file cannot go to standard output: give --to a file")
        write(counted, sys.stdout)
    else:
        with _new_file(to, file_format, overwrite) as file:
            write(counted, file)
    return next(counter)


def _counting(rows: Iterator[tuple[Cell, ...]], counter: Iterator[int]) -> Iterator[tuple[Cell, ...]]:
    for row in rows:
        next(counter)
        yield row


@contextmanager
def _new_file(path: Path, file_format: Format, overwrite: bool) -> Iterator[IO[Any]]:
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        _check_free(path, overwrite)
        if file_format == "parquet":
            with unfinished.open("wb") as binary:
                yield binary
        else:
            with unfinished.open("w", encoding="utf-8", newline="") as text:
                yield text
        unfinished.replace(path)
    except OSError as error:
        raise SkyglintError(f"{path}: cannot be written: {error.strerror or error}") from error
    finally:
        with suppress(OSError):
            unfinished.unlink()


def _check_free(path: Path, overwrite: bool) -> None:
    if path.is_dir():
        raise RequestError(f"{path}: is a folder: expected a file to write")
    if not path.parent.is_dir():
        raise RequestError(f"{path}: there is no folder {path.parent}")
    if path.exists() and not overwrite:
        raise RequestError(f"{path}: is there already: --force overwrites it")


def _write_csv(table: Table, file: IO[str]) -> None:
    lines = csv.writer(file, lineterminator="\n")
    lines.writerow(column.name for column in table.columns)
    for row in table.rows:
        lines.writerow(map(as_text, table.columns, row))


def _write_jsonl(table: Table, file: IO[str]) -> None:
    names = [column.name for column in table.columns]
    for row in table.rows:
        cells = dict(zip(names, map(as_text, table.columns, row), strict=True))
        file.write(json.dumps(cells, ensure_ascii=False, allow_nan=False) + "\n")


def _write_ecsv(table: Table, file: IO[str]) -> None:
    import numpy as np
    from astropy.table import MaskedColumn
    from astropy.table import Table as AstropyTable

    kinds: dict[str, Any] = {"integer": np.int64, "number": np.float64, "text": str, "time": str}
    out = AstropyTable(meta=table.provenance)
    cells = list(table.rows)
    for place, column in enumerate(table.columns):
        values = [as_text(column, row[place]) for row in cells]
        blank: Cell = 0 if column.type in ("integer", "number") else ""
        out[column.name] = MaskedColumn(
            np.array([blank if value is None else value for value in values], dtype=kinds[column.type]),
            mask=[value is None for value in values],
            unit=column.unit or None,
            description=column.description,
        )
    out.write(file, format="ascii.ecsv", delimiter=",")


def _write_parquet(table: Table, file: IO[bytes]) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds = {
        "integer": pa.int64(),
        "number": pa.float64(),
        "text": pa.string(),
        "time": pa.timestamp("ms", tz="UTC"),
    }
    schema = pa.schema(
        [
            pa.field(
                column.name,
                kinds[column.type],
                metadata={"unit": column.unit, "description": column.description},
            )
            for column in table.columns
        ],
        metadata={"provenance": json.dumps(table.provenance)},
    )
    with pq.ParquetWriter(file, schema) as writer:
        for rows in iter(lambda: list(itertools.islice(table.rows, _BATCH_ROWS)), []):
            arrays = [
                pa.array(map(_as_milliseconds, itertools.repeat(column), cells), type=schema.field(column.name).type)
                for column, cells in zip(table.columns, zip(*rows, strict=True), strict=True)
            ]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))


def _as_milliseconds(column: Column, cell: Cell) -> Cell:
    return round(float(cell) * 1000) if column.type == "time" and cell is not None else cell


_WRITERS: dict[Format, Callable[[Table, IO[Any]], None]] = {
    "csv": _write_csv,
    "ecsv": _write_ecsv,
    "parquet": _write_parquet,
    "jsonl": _write_jsonl,
}
