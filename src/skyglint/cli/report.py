"""``skyglint report``: the page of one night, a month or a year."""

from __future__ import annotations

import re
import webbrowser
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from skyglint.cli.options import DatabaseArgument, ForceOption
from skyglint.errors import RequestError, SkyglintError

if TYPE_CHECKING:
    from skyglint.store.store import Store


def run(
    database: DatabaseArgument,
    to: Annotated[Path, typer.Option("--to", metavar="DIR", help="Folder for the page; made where it is missing.")],
    night: Annotated[
        str | None,
        typer.Option("--date", metavar="DATE", help="The evening's date, like 2026-08-12; default the latest night."),
    ] = None,
    month: Annotated[
        str | None, typer.Option("--month", metavar="MONTH", help="A month in place of a night, like 2026-08.")
    ] = None,
    year: Annotated[
        str | None, typer.Option("--year", metavar="YEAR", help="A year in place of a night, like 2026.")
    ] = None,
    figures: Annotated[
        bool,
        typer.Option("--figures", help="Also a folder of figures (SVG, PNG) and numbers (CSV, ECSV)."),
    ] = False,
    calibration: Annotated[
        float,
        typer.Option(metavar="FACTOR", help="True over modelled number of echoes, for the showers of a month or year."),
    ] = 1.0,
    site: Annotated[
        str | None, typer.Option(metavar="NAME", help="Which site, where the database holds several.")
    ] = None,
    open_page: Annotated[bool, typer.Option("--open", help="Open the page in a browser.")] = False,
    force: ForceOption = False,
) -> None:
    """Write the page of one night, a month or a year: one HTML file that needs nothing else.

    Example: `skyglint report night.db --date 2026-08-12 --to pages --open`

    A night belongs to the date on which its evening begins; it runs from noon to noon by the Sun.
    """
    from skyglint.store.store import Store

    if sum(choice is not None for choice in (night, month, year)) > 1:
        raise RequestError("--date, --month and --year: give one of them")
    season = month or year
    if season is None and calibration != 1.0:
        raise RequestError("--calibration goes with --month or --year")
    if not calibration > 0.0:
        raise RequestError(f"--calibration {calibration:g}: expected a factor above 0")
    _check_season(month, year)
    with Store.open(database, site_name=site) as store:
        if season is None:
            path = _night(store, _date(night), to, figures, force)
        else:
            path = _season(store, season, to, figures, calibration, force)
    if open_page and not webbrowser.open(path.resolve().as_uri()):
        typer.echo("No browser was found to open it.", err=True)


def _night(store: Store, wanted: date | None, to: Path, figures: bool, force: bool) -> Path:
    from skyglint.report.gather import gather_night
    from skyglint.report.page import render_night
    from skyglint.report.page_files import write_night_files

    page = gather_night(store, wanted)
    path = to / f"night-{page.date}.html"
    if wanted is None:
        typer.echo(f"The latest night in the database is that of {page.date}.")
    _write(path, render_night(page), force)
    typer.echo(f"{path}: {page.site_name}, night of {page.date}")
    if figures:
        folder = path.with_suffix("")
        typer.echo(f"{folder}: {write_night_files(page, store, folder)} files of figures and numbers")
    return path


def _season(store: Store, name: str, to: Path, figures: bool, calibration: float, force: bool) -> Path:
    from skyglint.cli.progress import progress
    from skyglint.report.page_files import write_season_files
    from skyglint.report.season_gather import gather_season
    from skyglint.report.season_page import render_season

    path = to / f"{'month' if '-' in name else 'year'}-{name}.html"
    _check_free(path, force)
    with progress("reading", 0.0, 1.0) as told:
        page = gather_season(store, name, calibration, told)
    folder = path.with_suffix("")
    _write(path, render_season(page, folder.name if figures else ""), force)
    typer.echo(f"{path}: {page.site_name}, {name}")
    if figures:
        typer.echo(f"{folder}: {write_season_files(page, folder)} files of figures and numbers")
    return path


def _check_season(month: str | None, year: str | None) -> None:
    if month is not None and not re.fullmatch(r"[12]\d{3}-(0[1-9]|1[0-2])", month):
        raise RequestError(f"--month {month}: expected a month like 2026-08")
    if year is not None and not re.fullmatch(r"[12]\d{3}", year):
        raise RequestError(f"--year {year}: expected a year like 2026")


def _date(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise RequestError(f"--date {text}: expected a date like 2026-08-12") from error


def _check_free(path: Path, force: bool) -> None:
    if path.exists() and not force:
        raise RequestError(f"{path}: is there already: give --force to overwrite it")


def _write(path: Path, text: str, force: bool) -> None:
    _check_free(path, force)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise SkyglintError(f"{path}: cannot be written: {error.strerror}") from error
