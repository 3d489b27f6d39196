"""The folder beside a page: every figure as SVG and PNG, every table as CSV and ECSV."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from markupsafe import Markup

from skyglint.errors import SkyglintError
from skyglint.report import views
from skyglint.report.night import NightPage
from skyglint.report.png import png, standalone
from skyglint.report.season import SeasonPage
from skyglint.report.season_tables import season_tables
from skyglint.report.season_views import figures, file_word
from skyglint.report.table_files import Format, write_table
from skyglint.report.tables import TABLE_NAMES, Table, make_table
from skyglint.store.store import Store

_ENDINGS: tuple[Format, ...] = ("csv", "ecsv")


def write_season_files(page: SeasonPage, folder: Path) -> int:
    """Write the figures and tables of a month or year page into a folder, over what is there; return how many files.

    Raises
    ------
    SkyglintError
        If the folder or a file cannot be written.
    """
    return _write(figures(page), season_tables(page), folder)


def write_night_files(page: NightPage, store: Store, folder: Path) -> int:
    """Write the charts of a night page and the night's echoes, coverage and rates, as for a month."""
    tables = ((name, make_table(store, name, page.start_unix, page.end_unix)) for name in TABLE_NAMES)
    return _write(_night_figures(page), tables, folder)


def _night_figures(page: NightPage) -> Iterator[tuple[str, Markup]]:
    yield "solar-clock", views.clock_figure(page)
    if len(page.study.heights) >= views.FEWEST_HEIGHTS:
        yield "heights", views.heights_figure(page)
    for lane in views.windy(page):
        yield f"wind-{file_word(lane.channel.name)}", views.wind_figure(page, lane)


def _write(drawings: Iterable[tuple[str, Markup]], tables: Iterable[tuple[str, Table]], folder: Path) -> int:
    written = 0
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, drawing in drawings:
            (folder / f"{name}.svg").write_text(standalone(drawing), encoding="utf-8")
            (folder / f"{name}.png").write_bytes(png(drawing))
            written += 2
    except OSError as error:
        raise SkyglintError(f"{folder}: cannot be written: {error.strerror}") from error
    for name, table in tables:
        rows = list(table.rows)
        for ending in _ENDINGS:
            again = Table(table.columns, iter(rows), table.provenance)
            write_table(again, folder / f"{name}.{ending}", ending, overwrite=True)
            written += 1
    return written
