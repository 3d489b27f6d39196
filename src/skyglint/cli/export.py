"""``skyglint export``: open data out."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated

import typer

from skyglint.cli.options import DatabaseArgument, ForceOption, utc_option
from skyglint.errors import RequestError


def run(
    database: DatabaseArgument,
    table: Annotated[str, typer.Option(help="echoes, coverage or rates (by clock hour).")],
    to: Annotated[str, typer.Option(metavar="FILE", help="File to write; - for standard output.")],
    file_format: Annotated[str, typer.Option("--format", help="csv, ecsv, parquet or jsonl.")] = "csv",
    start: Annotated[str | None, typer.Option("--from", metavar="UTC", help="Start of the span.")] = None,
    end: Annotated[str | None, typer.Option("--until", metavar="UTC", help="End of the span.")] = None,
    channel: Annotated[list[str] | None, typer.Option(metavar="NAME", help="Only this channel; repeatable.")] = None,
    site: Annotated[str | None, typer.Option(metavar="NAME", help="Only this site, where there are several.")] = None,
    force: ForceOption = False,
) -> None:
    """Write a table of a database as CSV, ECSV, Parquet or JSON lines.

    Example: `skyglint export night.db --table echoes --format csv --to echoes.csv`

    Times are UTC; what was not measured is empty, never zero.
    """
    from skyglint.report.table_files import FORMATS, write_table
    from skyglint.report.tables import TABLE_NAMES, make_table
    from skyglint.store.store import Store

    if table not in TABLE_NAMES:
        raise RequestError(f"--table {table}: expected {', '.join(TABLE_NAMES)}")
    if file_format not in FORMATS:
        raise RequestError(f"--format {file_format}: expected {', '.join(FORMATS)}")
    start_unix, end_unix = utc_option(start, "--from"), utc_option(end, "--until")
    start_unix = -math.inf if start_unix is None else start_unix
    end_unix = math.inf if end_unix is None else end_unix
    if not end_unix > start_unix:
        raise RequestError(f"--until {end}: expected a time after --from {start}")
    with Store.open(database, site_name=site) as store:
        rows = write_table(
            make_table(store, table, start_unix, end_unix, channel or None),
            None if to == "-" else Path(to),
            file_format,
            overwrite=force,
        )
    if to != "-":
        typer.echo(f"{to}: {rows} rows of {table}")
