"""The folder beside a month or year page: every figure as SVG and PNG, every table as CSV and ECSV."""

from __future__ import annotations

from pathlib import Path

from skyglint.errors import SkyglintError
from skyglint.report.png import png, standalone
from skyglint.report.season import SeasonPage
from skyglint.report.season_tables import season_tables
from skyglint.report.season_views import figures
from skyglint.report.table_files import Format, write_table
from skyglint.report.tables import Table

_ENDINGS: tuple[Format, ...] = ("csv", "ecsv")


def write_season_files(page: SeasonPage, folder: Path) -> int:
    """Write the figures and tables of a page into a folder, over what is there; return the number of files.

    Raises
    ------
    SkyglintError
        If the folder or a file cannot be written.
    """
    written = 0
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, drawing in figures(page):
            (folder / f"{name}.svg").write_text(standalone(drawing), encoding="utf-8")
            (folder / f"{name}.png").write_bytes(png(drawing))
            written += 2
    except OSError as error:
        raise SkyglintError(f"{folder}: cannot be written: {error.strerror}") from error
    for name, table in season_tables(page):
        rows = list(table.rows)
        for ending in _ENDINGS:
            again = Table(table.columns, iter(rows), table.provenance)
            write_table(again, folder / f"{name}.{ending}", ending, overwrite=True)
            written += 1
    return written
